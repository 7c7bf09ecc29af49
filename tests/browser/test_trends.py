"""The page Trends in a real browser: filters, nothing cut off, and reports that are downloaded and read back."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from pypdf import PdfReader
from serving import settle

from fleetwear.reports.trend_tables import TrendUnits, growth_table
from fleetwear.store import open_snapshot
from fleetwear.trends import answer, read_trends

pytestmark = pytest.mark.browser

_MAIN = '[data-testid="stMain"]'
_LEVELS = """() => [...document.querySelector('.fw-table').querySelectorAll('tbody tr')]
  .map(r => r.querySelector('b').textContent)"""
_WIDE = "() => { const m = document.querySelector('[data-testid=\"stMain\"]'); return m.scrollWidth - m.clientWidth; }"
_CUT_WORDS = """() => [...document.querySelectorAll('[data-testid="stVegaLiteChart"] svg')].flatMap(svg => {
  const box = svg.getBoundingClientRect();
  return [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
    .map(t => [t, t.getBoundingClientRect()])
    .filter(([t, b]) => b.left < box.left - 1 || b.right > box.right + 1)
    .map(([t]) => t.textContent);
})"""


@pytest.fixture(scope="module")
def drag_links(demo_store):
    con = open_snapshot(demo_store.folder)
    yield answer(read_trends(con), by="depot", kind="drag link end")
    con.close()


def choose(page, label, option):
    page.get_by_label(label, exact=True).click()
    page.get_by_role("option", name=option, exact=True).click()
    settle(page)


def downloaded(page, label):
    with page.expect_download() as waiting:
        page.get_by_role("button", name=label).click()
    return Path(waiting.value.path()), waiting.value.suggested_filename


def test_a_kind_and_a_factor_are_chosen_and_what_is_shown_is_taken_away(open_page, chromium, drag_links):
    page = open_page("/trends")
    choose(page, "Kind", "drag link end")
    page.wait_for_function(f"({_LEVELS})().length === 1")
    assert page.evaluate(_LEVELS) == ["drag link end"]
    choose(page, "By", "Depot")
    page.wait_for_function(f"({_LEVELS})().length === 3")
    assert page.evaluate(_LEVELS) == drag_links.growth["level"].tolist()
    assert "kind=drag" in page.url
    assert page.evaluate(_WIDE) == 0
    assert page.evaluate(_CUT_WORDS) == []
    rates = growth_table(drag_links.growth, by="depot", units=TrendUnits("thou", "mi")).iloc[:, 1].tolist()
    assert all(rate in page.inner_text(_MAIN) for rate in rates)

    file, name = downloaded(page, "Download report, PDF")
    assert name == "trends_by_depot_drag_link_end.pdf"
    text = " ".join(" ".join(one.extract_text().split()) for one in PdfReader(file).pages)
    assert "Trends of drag link ends, by depot" in text
    assert all(rate in text for rate in rates)

    file, _ = downloaded(page, "Download report, HTML")
    asked = []
    other = chromium.new_page()
    other.on("request", lambda request: asked.append(request.url))
    other.set_content(file.read_text(encoding="utf-8"))
    assert all(rate in other.inner_text("body") for rate in rates)
    assert other.locator("svg").count() == 1 + 4 + len(drag_links.crossing)
    for width in (390, 1440):
        other.set_viewport_size({"width": width, "height": 900})
        assert other.evaluate("document.documentElement.scrollWidth") <= width
    assert asked == []
    other.close()

    file, _ = downloaded(page, "Download table, CSV")
    rows = list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8-sig"))))
    assert {row["level"] for row in rows} == {"Harbour", "Hill", "North yard"}


def test_nothing_is_cut_off_on_a_narrow_screen(open_page):
    page = open_page("/trends?kind=kingpin&by=Duty", width=390)
    page.get_by_text("H60 truck, long haul, in-out").wait_for()
    assert page.evaluate(_WIDE) == 0
    assert page.evaluate(_CUT_WORDS) == []
