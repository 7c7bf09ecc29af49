"""Real clicks in the real dashboard."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
import python_calamine
from serving import OVERFLOW, choose, served, settle

from fleetwear.planning.flags import read_flags
from fleetwear.store import open_snapshot

pytestmark = pytest.mark.browser

_UNITS = """() => {
  const table = document.querySelector('.fw-table');
  return table ? [...table.querySelectorAll('tbody tr')].map(r => r.querySelector('a')?.textContent) : [];
}"""
_CUT_WORDS = """() => [...document.querySelectorAll('[data-testid="stVegaLiteChart"] svg')].flatMap(svg => {
  const box = svg.getBoundingClientRect();
  return [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
    .map(t => [t, t.getBoundingClientRect()])
    .filter(([t, b]) => b.left < box.left - 1 || b.right > box.right + 1)
    .map(([t]) => t.textContent);
})"""


@pytest.fixture(scope="module")
def flags(demo_store):
    con = open_snapshot(demo_store.folder)
    yield read_flags(con)
    con.close()


def test_filter_by_depot(open_page, flags):
    page = open_page()
    expected = flags.vehicles.loc[flags.vehicles["depot"] == "Harbour", "unit"].tolist()
    choose(page, "Depot", "Harbour")
    page.get_by_text(f"{len(expected)} vehicles").first.wait_for()
    page.wait_for_function(f"units => ({_UNITS})().join() === units", arg=",".join(expected[:25]))
    assert f"{len(expected)} vehicles" in page.inner_text('[data-testid="stMain"]')
    assert "depot=Harbour" in page.url


def test_open_a_vehicle_from_the_list(open_page, flags):
    page = open_page()
    first = flags.vehicles.iloc[0]
    page.get_by_role("link", name=first["unit"], exact=True).click()
    page.wait_for_url("**/vehicle?unit=*")
    page.get_by_role("heading", name=f"Vehicle {first['unit']}").wait_for()
    settle(page)
    assert first["reason"] in page.inner_text('[data-testid="stMain"]')
    assert page.locator('[data-testid="stVegaLiteChart"] svg').count() >= 1
    page.get_by_role("link", name="All vehicles").click()
    page.get_by_role("heading", name="Joints that press").wait_for()


def test_downloads_hold_what_the_page_lists(open_page, flags, tmp_path):
    page = open_page()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download CSV").click()
    text = Path(waiting.value.path()).read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["unit"] for row in rows] == flags.vehicles["unit"].tolist()
    assert {"odometer_now_km", "odometer_now_mi"} <= rows[0].keys()
    assert float(rows[0]["odometer_now_km"]) == pytest.approx(flags.vehicles["odometer_now"][0], abs=0.51)

    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download XLSX").click()
    file = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(file)
    sheet = python_calamine.CalamineWorkbook.from_path(str(file)).get_sheet_by_index(0).to_python()
    assert [row[0] for row in sheet[1:]] == flags.vehicles["unit"].tolist()
    assert sheet[0][0] == "unit"


def test_unknown_unit_is_told_on_both_pages(open_page):
    page = open_page()
    box = page.get_by_label("Vehicle", exact=True)
    box.fill("V9999")
    box.press("Enter")
    page.get_by_text("No vehicle has the unit number, VIN or plate 'V9999'.").wait_for()
    other = open_page("/vehicle?unit=V9999")
    assert "No vehicle has the unit number" in other.inner_text('[data-testid="stMain"]')


def test_a_unit_is_found_by_its_plate(open_page, flags):
    vehicle = flags.vehicles.dropna(subset=["plate"]).iloc[3]
    page = open_page("/vehicle")
    box = page.get_by_label("Unit number, VIN or plate", exact=True)
    box.fill(vehicle["plate"].lower())
    box.press("Enter")
    page.get_by_role("heading", name=f"Vehicle {vehicle['unit']}").wait_for()


@pytest.mark.parametrize("width", [390, 1440])
def test_nothing_is_cut_off(open_page, flags, width):
    for path in ("/", f"/vehicle?unit={flags.vehicles['unit'][0]}&all=true"):
        page = open_page(path, width=width)
        assert page.evaluate(OVERFLOW) == {"wide": 0, "out": []}
        assert page.evaluate(_CUT_WORDS) == []


def test_no_address_but_this_machine_is_asked(chromium, address):
    asked = []
    context = chromium.new_context()
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    settle(page)
    context.close()
    elsewhere = [url for url in asked if not url.startswith((address, "data:", "blob:"))]
    assert asked
    assert elsewhere == []


@pytest.fixture(scope="module")
def checked_address(checked_store, tmp_path_factory):
    with served(checked_store.folder, log=tmp_path_factory.mktemp("served_check") / "log.txt") as where:
        yield where


@pytest.mark.parametrize("width", [390, 1440])
def test_the_model_check_is_reached_whole_and_its_cases_can_be_taken_away(chromium, checked_address, width):
    context = chromium.new_context(viewport={"width": width, "height": 900}, accept_downloads=True)
    page = context.new_page()
    page.goto(checked_address + "/model-check")
    settle(page)
    page.get_by_role("heading", name="Model check").wait_for()
    page.get_by_text("The same as a table").click()
    page.get_by_role("table", name="Calibration, bin by bin").wait_for()
    assert page.evaluate(OVERFLOW) == {"wide": 0, "out": []}
    assert page.evaluate(_CUT_WORDS) == []
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download cases (CSV)").click()
    rows = list(csv.DictReader(io.StringIO(Path(waiting.value.path()).read_text(encoding="utf-8-sig"))))
    assert f"{len(rows):,} next readings" in page.inner_text('[data-testid="stMain"]')
    assert {"unit", "joint", "p_over", "observed_mm"} <= rows[0].keys()
    context.close()
