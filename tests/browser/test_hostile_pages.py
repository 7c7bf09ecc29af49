"""Hostile text on the pages is read and never carried out."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from hostile_fleet import UNIT, make
from serving import served, settle

pytestmark = pytest.mark.browser

_MADE = """() => ({
  hit: window.__hit === undefined,
  images: [...document.querySelectorAll('[data-testid="stMain"] img')].map(i => i.src),
  scripts: [...document.querySelectorAll('[data-testid="stMain"] script')].length,
  own: document.getElementById('own') === null,
  links: [...document.querySelectorAll('[data-testid="stMain"] a')].map(a => a.href),
  formulas: document.querySelectorAll('.katex').length,
  text: document.querySelector('[data-testid="stMain"]').innerText,
})"""


@pytest.fixture(scope="module")
def hostile_address(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    with served(make(folder), log=folder / "log.txt") as where:
        yield where


@pytest.mark.parametrize("width", [390, 1440])
def test_text_makes_no_element_runs_no_script_and_asks_no_address(chromium, hostile_address, width):
    paths = ["/", "/vehicle", f"/vehicle?unit={quote(UNIT, safe='')}", "/model-check",
             f"/?sought={quote('<img src=x onerror=window.__hit=1>')}"]  # fmt: skip
    context = chromium.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    said = ""
    for path in paths:
        page.goto(hostile_address + path)
        settle(page)
        for tip in page.locator(
            '[data-testid="stVegaLiteChart"] svg path, [data-testid="stVegaLiteChart"] canvas'
        ).all()[:6]:
            tip.hover(force=True, timeout=1000, trial=False) if tip.is_visible() else None
        found = page.evaluate(_MADE)
        assert found["hit"]
        assert found["own"]
        assert (found["images"], found["scripts"], found["formulas"]) == ([], 0, 0)
        assert all(link.startswith(hostile_address) for link in found["links"]), found["links"]
        assert not set(found["text"]) & {"\u202e", "\u2066", "\x1b"}
        said += found["text"]
    context.close()
    assert [url for url in asked if not url.startswith((hostile_address, "data:", "blob:"))] == []
    assert "<img src=x onerror" in said
    assert "<b id=own>V</b>" in said
    assert "[a](http://x.example/) ![p](http://x.example/p.png)" in said
