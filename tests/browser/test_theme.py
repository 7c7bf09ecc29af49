"""A page that is open while its reader's theme changes: everything on it follows, and nothing typed is lost."""

from __future__ import annotations

import json

import pytest
from serving import settle

from fleetwear.reports.looks import DARK, LIGHT

pytestmark = pytest.mark.browser

_SHOWN = """() => {
  const of = (name, what) => {
    const at = document.querySelector(name);
    return at && getComputedStyle(at)[what].match(/\\d+/g).map(Number);
  };
  const words = [...(document.querySelector('[data-testid="stVegaLiteChart"] svg')?.querySelectorAll('text') ?? [])]
    .filter(one => one.textContent === 'next service').map(one => one.getAttribute('fill'));
  return [of('.fw-caution', 'color'), of('[data-testid="stApp"]', 'backgroundColor'), words.at(-1)];
}"""
"""The colours of the page's own words, of what is behind them, and of the words in a chart, over their halo."""


def channels(colour):
    return [int(colour[at : at + 2], 16) for at in (1, 3, 5)]


def test_words_and_charts_follow_the_theme_of_the_system(open_page):
    page = open_page("/vehicle?unit=V101")
    page.emulate_media(color_scheme="light")
    for look, scheme in ((LIGHT, "light"), (DARK, "dark"), (LIGHT, "light")):
        page.emulate_media(color_scheme=scheme)
        told = [channels(look.muted), channels(look.paper), look.ink]
        page.wait_for_function(
            f"told => JSON.stringify(({_SHOWN})()) === told",
            arg=json.dumps(told, separators=(",", ":")),
            timeout=20_000,
        )


def test_what_is_being_typed_stays_when_the_theme_changes(open_page):
    page = open_page("/record")
    page.emulate_media(color_scheme="light")
    settle(page)
    box = page.get_by_label("Vehicle: unit number, VIN or plate", exact=True)
    box.click()
    page.keyboard.type("V10")
    page.emulate_media(color_scheme="dark")
    muted = f"rgb({', '.join(map(str, channels(DARK.muted)))})"
    page.wait_for_function(
        "muted => getComputedStyle(document.querySelector('.fw-caution')).color === muted", arg=muted, timeout=20_000
    )
    page.keyboard.type("1")
    assert box.input_value() == "V101"
