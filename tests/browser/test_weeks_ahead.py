"""The page of the weeks ahead: the slider, a download read back, an action recorded and seen at once."""

import io
import re
import shutil
from datetime import date
from pathlib import Path

import pytest
import python_calamine
from icalendar import Calendar
from serving import served, settle

pytestmark = pytest.mark.browser

_OVERFLOW = """() => {
  const main = document.querySelector('[data-testid="stMain"]');
  const edge = main.getBoundingClientRect().right + 0.5;
  const out = [...main.querySelectorAll('p, td, dd, h1, h3, button, input, svg, label')]
    .filter(e => e.getClientRects().length && getComputedStyle(e).clipPath === 'none')
    .filter(e => !e.closest('thead') && e.getBoundingClientRect().right > edge)
    .map(e => e.tagName + ' ' + e.textContent.slice(0, 40));
  return {wide: main.scrollWidth - main.clientWidth, out};
}"""


@pytest.fixture(scope="module")
def own(demo_store, tmp_path_factory):
    """Serve a copy of the demo store that this module may write to."""
    folder = tmp_path_factory.mktemp("weeks") / "store"
    shutil.copytree(demo_store.folder, folder)
    with served(folder, log=folder / "served.log") as where:
        yield where


@pytest.fixture
def page(chromium, own):
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, accept_downloads=True)
    opened = context.new_page()
    opened.goto(own + "/weeks-ahead")
    settle(opened)
    yield opened
    context.close()


def numbers(page):
    """Return how many joints press, and how many are expected over."""
    words = page.get_by_text("are expected to be over their limit").inner_text()
    found = re.match(r"(\d+) joints? press, (\d+) of them in these weeks; ([\d.]+) joints", words)
    return int(found[1]), float(found[3]), words


def test_the_slider_moves_every_service_and_what_follows_from_it(page):
    pressing, expected, _ = numbers(page)
    handle = page.get_by_role("slider", name="Move every service by, days")
    handle.focus()
    for _ in range(25):
        page.keyboard.press("ArrowRight")
    page.get_by_text("With services as forecast:").wait_for()
    settle(page)
    moved_pressing, moved, words = numbers(page)
    assert moved > expected
    assert moved_pressing >= pressing
    assert f"With services as forecast: {pressing} press, {expected:.2f} expected over" in words
    assert "every service is moved by +25 days" in page.inner_text('[data-testid="stMain"]')


def test_downloads_are_read_back(page):
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download workbook (XLSX)").click()
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(Path(waiting.value.path()).read_bytes()))
    rows = book.get_sheet_by_name("by week").to_python()
    shown = page.get_by_role("table", name="Joints that press, by week").locator("tbody tr")
    assert [row[2] for row in rows[1:]] == shown.locator("a").all_inner_texts()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download calendar (ICS)").click()
    events = Calendar.from_ical(Path(waiting.value.path()).read_bytes()).walk("VEVENT")
    assert sum(str(event["summary"]).startswith(f"{rows[1][2]}: ") for event in events) >= 1


def test_an_action_is_recorded_and_seen_at_once_and_by_the_next_reader(page, own):
    page.get_by_text("Record what was done").click()
    page.get_by_label("By", exact=True).fill("T3")
    page.get_by_role("button", name="Record", exact=True).click()
    page.get_by_text("It is in everybody's list after the next publication").wait_for()
    settle(page)
    first = page.get_by_role("table", name="Joints that press, by week").locator("tbody tr").first
    assert f"ordered on {date.today():%Y-%m-%d}" in first.inner_text()
    assert "over limit" in first.inner_text()
    other = page.context.new_page()
    other.goto(own + "/weeks-ahead")
    settle(other)
    rows = other.get_by_role("table", name="Joints that press, by week").locator("tbody tr")
    assert f"ordered on {date.today():%Y-%m-%d}" in rows.first.inner_text()
    assert "nothing recorded" in rows.nth(1).inner_text()


def test_nothing_is_cut_off_on_a_narrow_screen(page):
    page.set_viewport_size({"width": 390, "height": 900})
    page.get_by_text("Record what was done").click()
    page.wait_for_timeout(600)
    assert page.evaluate(_OVERFLOW) == {"wide": 0, "out": []}
