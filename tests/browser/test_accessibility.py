"""axe-core finds nothing serious or critical in this project's own content, on every page, light and dark.

Rules: WCAG 2.0, 2.1 and 2.2, levels A and AA, as axe-core checks them. Nothing is let pass: neither the framework's
own parts nor the content has a serious or critical violation.
"""

from __future__ import annotations

import re

import pytest
from serving import settle

from dashboard.serve import APP

axe_of = pytest.importorskip("axe_playwright_python.sync_playwright")

pytestmark = pytest.mark.browser

_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
_OPTIONS = {"runOnly": {"type": "tag", "values": _TAGS}, "resultTypes": ["violations"]}
_PATHS = {"vehicle": "/vehicle?unit=V101"}
"""Pages that show more with something asked for."""

PAGES = re.findall(r'^    _Task\("[^"]+", "([^"]+)"', APP.read_text(encoding="utf-8"), flags=re.MULTILINE)
"""The pages that are registered; importing the app would run it."""


@pytest.fixture(scope="module")
def views(chromium):
    """Return one browser context a theme, so high that nothing lies below its edge and goes unjudged."""
    made = {theme: chromium.new_context(viewport={"width": 1280, "height": 6000}, color_scheme=theme)
            for theme in ("light", "dark")}  # fmt: skip
    yield made
    for context in made.values():
        context.close()


def serious(page):
    """Return the serious and critical violations: rule, node, what to mend."""
    found = axe_of.Axe().run(page, options=_OPTIONS).response["violations"]
    return [
        (violation["id"], node["html"][:160], node["failureSummary"][:200])
        for violation in found
        if violation["impact"] in ("serious", "critical")
        for node in violation["nodes"]
    ]


def test_every_registered_page_is_looked_at():
    assert len(PAGES) == APP.read_text(encoding="utf-8").count("    _Task(")
    assert "vehicle" in PAGES


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", [_PATHS.get(path, f"/{path}") for path in PAGES])
def test_no_serious_violation(views, address, path, theme):
    page = views[theme].new_page()
    page.goto(address + path)
    settle(page)
    assert serious(page) == []
    page.close()


def test_a_violation_would_be_seen(views, address):
    page = views["light"].new_page()
    page.goto(address)
    settle(page)
    page.evaluate(
        """() => document.querySelector('[data-testid="stMain"] .fw-caution').insertAdjacentHTML('beforebegin',
        '<img src="data:,"><p style="color:#ccc;background:#fff">faint</p><button></button>')"""
    )
    assert {rule for rule, _, _ in serious(page)} == {"image-alt", "color-contrast", "button-name"}
    page.close()
