"""The plan taken away: a workbook that holds no formula, and a calendar that other programs read."""

import io
from dataclasses import replace
from datetime import date, datetime, timedelta

import pandas as pd
import pytest
import python_calamine
from icalendar import Calendar

from fleetwear.planning.ahead import PlanSettings, make_plan, read_material
from fleetwear.reports.charts import bay_chart
from fleetwear.reports.flag_files import to_workbook
from fleetwear.reports.looks import DARK
from fleetwear.reports.plan_calendar import to_calendar
from fleetwear.reports.plan_tables import (
    assumption_lines,
    check_table,
    crossing_table,
    order_table,
    plan_sheets,
    worth_listing,
)
from fleetwear.store import open_snapshot
from fleetwear.vocabulary import CAUTION


@pytest.fixture(scope="module")
def plan(demo_store):
    con = open_snapshot(demo_store.folder)
    made = make_plan(read_material(con), PlanSettings(weeks=30))
    con.close()
    return made


def test_the_workbook_says_what_the_tables_say_and_runs_nothing(plan):
    sheets = plan_sheets(plan)
    sheets["parts to order"] = sheets["parts to order"].assign(note='=HYPERLINK("http://example.org")')
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(to_workbook(sheets)))
    assert book.sheet_names == list(sheets)
    for name, frame in sheets.items():
        rows = book.get_sheet_by_name(name).to_python()
        assert rows[0] == list(frame.columns)
        assert len(rows) == len(frame) + 1
    rows = book.get_sheet_by_name("parts to order").to_python()
    assert rows[1][-1] == '=HYPERLINK("http://example.org")'
    crossing = pd.DataFrame(book.get_sheet_by_name("by week").to_python()[1:], columns=list(crossing_table(plan)))
    assert crossing["unit"].tolist() == plan.crossing["unit"].tolist()
    assert crossing["probability"].astype(float).tolist() == plan.crossing["p_over_next"].round(3).tolist()


def test_the_calendar_keeps_to_the_standard(plan):
    """RFC 5545: lines of 75 octets at most end in CRLF (3.1); UID and DTSTAMP in every event (3.6.1)."""
    told = 'knock, left; "loose"\\ or so — ' + "ß" * 80
    crossing = plan.crossing.assign(reason=[told, *plan.crossing["reason"][1:]])
    raw = to_calendar(replace(plan, crossing=crossing))
    assert raw.endswith(b"\r\n")
    lines = raw.split(b"\r\n")
    assert all(b"\n" not in line and b"\r" not in line for line in lines)
    assert max(len(line) for line in lines) <= 75
    assert any(line.startswith(b" ") for line in lines)
    assert b'knock\\, left\\; "loose"\\\\ or so' in raw.replace(b"\r\n ", b"")
    calendar = Calendar.from_ical(raw)
    assert calendar["version"] == "2.0"
    events = calendar.walk("VEVENT")
    assert len({str(event["uid"]) for event in events}) == len(events)
    made_at = plan.flags.run.made_at
    for event in events:
        assert event.decoded("dtstamp").replace(tzinfo=None) == made_at
        assert type(event.decoded("dtstart")) is date
        assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(days=1)
        assert event.decoded("dtstart") > plan.flags.run.as_of
        assert str(event["description"]).endswith(CAUTION)
    said = {str(event["summary"]): event for event in events}
    first = plan.crossing.iloc[0]
    assert told in str(said[f"{first['unit']}: {first['joint']}, {first['outcome']}"]["description"])
    orders = plan.orders[plan.orders["to_order"] > 0]
    assert sum(name.startswith("Order ") for name in said) == len(orders) > 0


def test_events_keep_their_uid_from_forecast_to_forecast(plan):
    later = replace(plan.flags, run=replace(plan.flags.run, forecast_id=9, made_at=datetime(2027, 1, 1)))
    uids = [
        {str(event["summary"]): (str(event["uid"]), int(event["sequence"])) for event in Calendar.from_ical(
            to_calendar(one)).walk("VEVENT")}
        for one in (plan, replace(plan, flags=later))
    ]  # fmt: skip
    assert {name: uid for name, (uid, _) in uids[0].items()} == {name: uid for name, (uid, _) in uids[1].items()}
    assert {number for _, number in uids[1].values()} == {9}


def test_tables_speak_the_vehicles_units_and_say_what_is_assumed(plan):
    checks = check_table(plan.checks)
    miles = plan.checks["distance_unit"] == "mi"
    known = miles & plan.checks["check_odometer"].notna()
    assert known.any()
    assert (
        checks.loc[known, "by_odometer"] - plan.checks.loc[known, "check_odometer"] / 1.609344
    ).abs().max() <= 0.5 + 1e-6
    orders = order_table(plan)
    listed = worth_listing(orders)
    assert set(listed["part_number"]) >= set(orders.loc[orders["to_order"] > 0, "part_number"])
    moved = replace(plan, settings=PlanSettings(shift_days=-14.0, stretch=1.2))
    words = " ".join(assumption_lines(moved))
    assert "every service is moved by -14 days, every interval is 1.2 times as long" in words
    assert "assumptions, without a source" in words


def test_the_bay_chart_has_a_bar_a_week(plan, valid_chart):
    rows = plan.bays[plan.bays["depot"] == plan.bays["depot"].iloc[0]]
    spec = valid_chart(bay_chart(rows, starts=plan.starts, most_hours=10.0, look=DARK))
    (data,) = {len(values) for values in spec["datasets"].values()}
    assert data == len(plan.starts)
    assert {layer["mark"]["type"] for layer in spec["layer"]} == {"bar", "tick", "text"}
