"""A visit recorded in the bay with real clicks and keys, on a phone and on a wide screen."""

from __future__ import annotations

import re
from datetime import date

import numpy as np
import pytest
from bay_store import JOINTS, make_bay_store, odometer_on
from serving import served, settle

from fleetwear.recording import Drafts
from fleetwear.store import Store
from fleetwear.store.inbox import Inbox

pytestmark = pytest.mark.browser

K, P, B, M = 0.28, 1.1, 0.2, 1.35
"""Seconds for a key (an average non-secretary typist), pointing at a target, pressing it, and thinking of the next
step: keystroke-level model, Card, Moran & Newell 1980, Communications of the ACM 23, 396-410; from memory."""
_COUNTERS = """() => {
  for (const [kind, name] of [['keydown', 'keys'], ['pointerdown', 'clicks']])
    document.addEventListener(kind, e => {
      if (e.isTrusted) sessionStorage[name] = Number(sessionStorage[name] || 0) + 1;
    }, true);
}"""
_SMALL = """() => [...document.querySelectorAll(
    '[data-testid="stMain"] :is(button, input, a, summary, textarea, [data-testid="stCheckbox"] label)')]
  .filter(e => e.getClientRects().length && !e.closest('[aria-hidden="true"]') && e.type !== 'checkbox')
  .map(e => [e, e.getBoundingClientRect()])
  .filter(([e, b]) => b.height < 44 || b.width < 44)
  .map(([e, b]) => `${e.tagName} ${e.textContent.slice(0, 30)} ${e.ariaLabel} ${b.width}x${b.height}`)"""
_FOCUSED = """() => {
  const e = document.activeElement;
  return e.querySelector('input, button') ? '' : e.ariaLabel || e.textContent;  // not what holds the page
}"""
_OUT = """() => {
  const main = document.querySelector('[data-testid="stMain"]');
  const edge = main.getBoundingClientRect().right + 0.5;
  return [main.scrollWidth - main.clientWidth, ...[...main.querySelectorAll('p, li, td, h1, h3, button, input, label')]
    .filter(e => e.getClientRects().length && e.getBoundingClientRect().right > edge).map(e => e.textContent)];
}"""


@pytest.fixture(scope="module")
def bay(tmp_path_factory):
    return make_bay_store(tmp_path_factory.mktemp("bay"))


@pytest.fixture(scope="module")
def bay_address(bay, tmp_path_factory):
    with served(bay, log=tmp_path_factory.mktemp("served_bay") / "log.txt") as where:
        yield where


@pytest.fixture
def open_bay(chromium, bay_address):
    contexts = []

    def go(path="/record", *, width=390):
        context = chromium.new_context(viewport={"width": width, "height": 844})
        context.add_init_script(f"({_COUNTERS})()")
        contexts.append(context)
        context.set_default_timeout(20_000)
        page = context.new_page()
        page.goto(path if path.startswith("http") else bay_address + path)
        settle(page)
        return page

    yield go
    for context in contexts:
        context.close()


def rows(folder, query):
    with Store(folder).reader() as con:
        return con.execute(query).fetchall()


def kept(page, folder, name):
    """Return a field of the draft that the page's address names, as it is on the disk."""
    return Drafts(folder).read(re.search(r"draft=(\w+)", page.url)[1]).fields.get(name)


def until_kept(page, folder, name, value):
    for _ in range(200):
        if kept(page, folder, name) == value:
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"{name} is {kept(page, folder, name)!r} and not {value!r}")


def press(page, name):
    page.get_by_role("button", name=name).click()


def type_into(page, label, text, *, nth=0, then="Tab"):
    box = page.get_by_label(label, exact=True).nth(nth)
    box.click()
    page.keyboard.type(text)
    if then:
        page.keyboard.press(then)


def begin(page, unit):
    type_into(page, "Vehicle: unit number, VIN or plate", unit, then="Enter")
    page.wait_for_url("**draft=*")
    page.get_by_label("Odometer, km", exact=True).wait_for()


def series_of(folder, unit):
    """Return what the store holds of a unit's visit today: joint, direction, stroke, play."""
    return rows(
        folder,
        "select joint, direction, stroke, coalesce(play_mm::varchar, result) from readings "
        "join visits using (visit_id) join positions using (position_id) "
        f"join (select distinct vehicle_id, unit from vehicles) v on v.vehicle_id = visits.vehicle_id "
        f"where unit = '{unit}' and visit_date = '{date.today()}' order by reading_id",
    )


def straight_lines(folder, unit):
    """Return where a straight line through each joint's readings stands today, by joint and direction, mm."""
    km = odometer_on(date.today(), date.today())
    read = rows(
        folder,
        "select joint, direction, list(odometer_km), list(play_mm) from readings "
        "join visits using (visit_id) join positions using (position_id) "
        "join (select distinct vehicle_id, unit from vehicles) v on v.vehicle_id = visits.vehicle_id "
        f"where unit = '{unit}' group by joint, direction",
    )
    return {(joint, direction): np.polyval(np.polyfit(x, y, 1), km) for joint, direction, x, y in read}


def test_a_visit_with_four_joints_is_recorded_in_under_two_minutes(open_bay, bay):
    page = open_bay()
    begin(page, "R101")
    type_into(page, "Odometer, km", str(odometer_on(date.today(), date.today())))
    page.get_by_role("radio", name="T2", exact=True).click()
    for words in ("Wheels chocked", "Parking brake set", "Brakes held", "Supported at"):
        press(page, words)
    settle(page)
    foretold, given = straight_lines(bay, "R101"), []
    for number in range(len(JOINTS)):
        name = open_joint(page)
        for at, direction in enumerate(JOINTS[name]):
            play = foretold[name, direction]
            strokes = [f"{play + extra:.2f}" for extra in ((0.0,) if number else (-0.01, 0.01))]
            box = page.get_by_label("Stroke 1, mm", exact=True).nth(at)
            box.click()
            for stroke in strokes:
                page.keyboard.type(stroke)
                page.keyboard.press("Tab")
            given += [(name, direction, i, stroke) for i, stroke in enumerate(strokes, start=1)]
        page.get_by_role("status").nth(len(JOINTS[name]) - 1).wait_for()
        assert page.get_by_role("status").count() == len(JOINTS[name])
        if number == 1:
            page.reload()  # in the middle: every field is there again
            settle(page)
            assert page.get_by_label("Odometer, km", exact=True).input_value() == "108000"
            assert page.get_by_label("Stroke 1, mm", exact=True).nth(0).input_value() == given[-2][3]
            assert page.get_by_role("radio", name="T2", exact=True).is_checked()
        press(page, re.compile("^Next: |^Close: "))
        until_other(page, name)
    elsewhere = open_bay(page.url, width=1440)  # the same address on another tablet goes on
    assert elsewhere.get_by_label("Odometer, km", exact=True).input_value() == "108000"
    said = page.get_by_role("table", name="What was read").inner_text()
    assert said.count("in line with its history") == 6
    page.get_by_role("button", name="Record the visit", disabled=False).wait_for()
    press(page, "Record the visit")
    page.get_by_text("The visit of R101 is recorded").wait_for()
    clicks, keys = (int(page.evaluate(f"() => sessionStorage.{name}")) for name in ("clicks", "keys"))
    took = clicks * (P + B) + keys * K + (clicks + 1) * M
    print(f"{clicks} clicks, {keys} keys: {took:.0f} s by the keystroke-level model")
    assert (clicks, keys) == (18, 52)
    assert took < 120.0
    assert "is in the store" in page.inner_text('[data-testid="stMain"]')
    stored = [
        (joint, direction, stroke, f"{float(play):g}") for joint, direction, stroke, play in series_of(bay, "R101")
    ]
    assert sorted(stored) == sorted((joint, direction, i, f"{float(play):g}") for joint, direction, i, play in given)

    entries = Inbox(bay).names()
    page.reload()
    settle(page)
    page.get_by_text("The visit of R101 is recorded").wait_for()
    press(elsewhere, "Record the visit")  # the other tablet, which does not know yet
    elsewhere.get_by_text("The visit of R101 is recorded").wait_for()
    assert Inbox(bay).names() == entries
    assert len(series_of(bay, "R101")) == len(given)


def test_a_number_of_an_indicator_is_typed_once_and_kept(open_bay, bay):
    page = open_bay()
    begin(page, "R103")
    type_into(page, "Number of the indicator", "D7", then="Enter")
    until_kept(page, bay, "instrument", "D7")
    page.reload()
    settle(page)
    assert page.get_by_label("Number of the indicator", exact=True).input_value() == "D7"
    type_into(page, "Odometer, km", str(odometer_on(date.today(), date.today())))
    page.get_by_role("radio", name="T1", exact=True).click()
    type_into(page, "Stroke 1, mm", "0.45")
    page.get_by_text("with the dial indicator D7").first.wait_for()
    page.get_by_text("Read with indicator D7.").wait_for()
    page.get_by_role("button", name="Record the visit", disabled=False).wait_for()
    press(page, "Record the visit")
    page.get_by_text("The visit of R103 is recorded").wait_for()
    assert rows(bay, "select distinct instrument from readings where instrument is not null") == [("D7",)]


def test_a_joint_replaced_in_the_bay_is_read_again_and_a_reload_loses_nothing(open_bay, bay):
    page, unit = open_bay(), "R104"
    begin(page, unit)
    type_into(page, "Odometer, km", str(odometer_on(date.today(), date.today())))
    page.get_by_role("radio", name="T1", exact=True).click()
    name = open_joint(page)
    assert "tie rod end" in name or "ball joint" in name
    type_into(page, "Stroke 1, mm", "1.30")
    page.get_by_role("status").wait_for()
    assert "Over limit" in page.get_by_role("status").inner_text()
    page.get_by_role("radio", name="Replaced", exact=True).click()
    type_into(page, "Part number", "P-77")
    type_into(page, "Reason", "over its limit")
    directions = JOINTS[name]
    type_into(page, "Stroke 1, mm", "0.05", nth=len(directions))
    page.get_by_role("status").nth(1).wait_for()
    said = page.get_by_role("status").nth(1).inner_text()
    assert "Nothing to compare it with yet" in said
    assert "begins a new life" in said
    until_kept(page, bay, f"{position(bay, name)}/work/reason", "over its limit")
    page.reload()
    settle(page)
    assert page.get_by_label("Part number", exact=True).input_value() == "P-77"
    assert page.get_by_label("Stroke 1, mm", exact=True).nth(len(directions)).input_value() == "0.05"
    for width in (1440, 390):
        page.set_viewport_size({"width": width, "height": 844})
        settle(page)
        assert page.evaluate(_SMALL) == []
        assert page.evaluate(_OUT) == [0]
    page.get_by_text(f"Replaced: {name} (part P-77; over its limit).").wait_for()
    page.get_by_role("button", name="Record the visit", disabled=False).wait_for()
    press(page, "Record the visit")
    page.get_by_text(f"The visit of {unit} is recorded").wait_for()
    found = [row for row in series_of(bay, unit) if row[0] == name]
    assert [(row[2], float(row[3])) for row in found] == [(1, 1.3), (1, 0.05)]
    again = open_bay()
    begin(again, unit)
    if open_joint(again) != name:
        again.get_by_role("button", name=re.compile(f"^{name}", re.IGNORECASE)).click()
        again.wait_for_function(
            "n => document.querySelector('.fw-series b').textContent.toLowerCase().startsWith(n)", arg=name
        )
    type_into(again, "Odometer, km", str(odometer_on(date.today(), date.today())))
    type_into(again, "Stroke 1, mm", "0.06")
    again.get_by_role("status").wait_for()
    assert "which this forecast does not count yet" in again.get_by_role("status").inner_text()


def position(folder, joint):
    return rows(folder, f"select position_id from positions where joint = '{joint}'")[0][0]


def until_other(page, name):
    """Wait until another joint than this one is open, or none."""
    same = "n => !document.querySelector('.fw-series b')?.textContent.toLowerCase().startsWith(n)"
    page.wait_for_function(same, arg=name)


def open_joint(page):
    return page.locator(".fw-series b").first.inner_text().partition(", loaded")[0].lower()


def focus(page, label, *, most=60):
    """Go forward with the tab key until the field or button of that label has the focus."""
    for _ in range(most):
        at = page.evaluate(_FOCUSED)
        if re.search(label, at):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"no {label!r} is reached with the tab key; the last was {at!r}")


def test_the_keyboard_alone_records_and_what_was_not_tested_is_said(open_bay, bay):
    page = open_bay(width=1440)
    focus(page, "Vehicle: unit number")
    page.keyboard.type("vinr102")
    page.keyboard.press("Enter")
    page.get_by_label("Odometer, km", exact=True).wait_for()
    settle(page)
    focus(page, "^Odometer, km")
    page.keyboard.type("1080000")  # a digit too many
    page.keyboard.press("Tab")
    page.get_by_role("alert").wait_for()
    assert "90,000 km on" in page.get_by_role("alert").inner_text()
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Control+a")
    page.keyboard.type("108000")
    page.keyboard.press("Tab")
    page.get_by_role("alert").wait_for(state="detached")
    focus(page, "^Another technician")
    page.keyboard.type("T9")
    page.keyboard.press("Enter")
    until_kept(page, bay, "technician_other", "T9")
    focus(page, "Wheels chocked")
    page.keyboard.press("Space")
    focus(page, "^Stroke 1, mm")
    page.keyboard.type("1.25")
    page.keyboard.press("Tab")
    page.get_by_role("status").wait_for()
    assert "Over limit" in page.get_by_role("status").inner_text()
    assert "measure again" in page.get_by_role("status").inner_text()
    page.get_by_role("button", name="Record the visit", disabled=False).wait_for()  # else the tab key passes it by
    focus(page, "^Record the visit")
    page.keyboard.press("Enter")
    page.get_by_text("The visit of R102 is recorded").wait_for()
    said = page.inner_text('[data-testid="stMain"]')
    assert re.search(r"Not tested at this visit: (left|right) front lower ball joint, fore-aft", said)
    assert "Not read at all: 3 joints of 4" in said
    assert "Not confirmed: parking brake set, brakes held while levering" in said
    assert len(series_of(bay, "R102")) == 1


@pytest.mark.parametrize("width", [390, 1440])
def test_targets_are_large_and_nothing_is_cut_off(open_bay, bay, width):
    page = open_bay(width=width)
    begin(page, "R110")
    name = open_joint(page)
    assert "ball joint" in name  # a load direction never tested comes first
    assert "not tested" in page.get_by_role("button", name=re.compile(name, re.IGNORECASE)).first.inner_text()
    type_into(page, "Odometer, km", "20")
    page.get_by_role("alert").wait_for()
    page.get_by_text(re.compile(r"^How \(in-out\)")).click()
    type_into(page, "Stroke 1, mm", "0.5")
    page.get_by_role("status").wait_for()
    page.get_by_role("radio", name="Confirmed", exact=True).click()
    page.get_by_label("At which joint", exact=True).wait_for()
    settle(page)
    assert page.evaluate(_SMALL) == []
    assert page.evaluate(_OUT) == [0]
