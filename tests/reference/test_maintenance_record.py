"""The maintenance record against 49 CFR 396.3: each field that (b) names, and the retention of (c), counted exactly.

Source: 49 CFR 396.3, Inspection, repair, and maintenance, paragraphs (b) Required records and (c) Record retention.
Status: (b)(1) to (b)(3) and (c) read; (b)(4) from memory. How a year and a month end on a day that the calendar lacks
is not said there: the rule of ``planning.retention`` is the careful reading, and so is that the later of the two days
counts.
"""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta

import pytest

from fleetwear.errors import InputError
from fleetwear.planning import maintenance
from fleetwear.planning.maintenance import BUSES, NOTES, read_maintenance
from fleetwear.planning.retention import after_months, keep_through
from fleetwear.reports.maintenance_files import record_table
from fleetwear.store import open_snapshot

NAMED = {
    "Company number": "(b)(1), company number, if so marked",
    "Make": "(b)(1), make",
    "Serial number (VIN)": "(b)(1), serial number",
    "Year": "(b)(1), year",
    "Tyre size": "(b)(1), tire size",
    "Owner, if not the motor carrier": "(b)(1), the person furnishing the vehicle, if not owned by the motor carrier",
}


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


@pytest.fixture(scope="module")
def record(con):
    return read_maintenance(con, "V102")


def test_each_field_that_paragraph_b1_names_is_there(record):
    shown = {field.name: field.shown for field in record.identification}
    assert NAMED.keys() <= shown.keys()
    assert shown["Company number"] == "V102"


def test_a_field_that_is_not_on_record_is_shown_as_such(record):
    vehicle = record.vehicle.vehicle.copy()
    vehicle["tyre_size"] = vehicle["owner"] = vehicle["vin"] = None
    fields = maintenance._identification(dataclasses.replace(record.vehicle, vehicle=vehicle))
    shown = {field.name: field.shown for field in fields}
    assert NAMED.keys() <= shown.keys()
    for name in ("Serial number (VIN)", "Tyre size", "Owner, if not the motor carrier"):
        assert shown[name] == "not on record"


def test_paragraph_b2_nature_and_due_date_of_every_operation(record):
    assert {due.what.split(",")[0] for due in record.due if due.nature != "Service"} == {
        joint.capitalize() for joint in record.vehicle.joints["joint"].unique()
    }
    assert [due.nature for due in record.due].count("Service") == 1
    assert all(due.when and due.nature in ("Repair", "Inspection", "Service") for due in record.due)
    assert record.due[0].when == "now", "what is over its limit comes before all else"


def test_paragraph_b2_the_service_is_due_by_its_interval(con, record):
    """V102: every 16,000 km or 6 months; six calendar months after the last service."""
    service = next(due for due in record.due if due.nature == "Service")
    last = con.execute(
        "select done_date, odometer_km, interval_km, interval_months from tidy.services where unit = 'V102' "
        "order by done_date desc limit 1"
    ).fetchall()[0]
    assert (last[2], last[3]) == (16_000.0, 6.0)
    assert service.by == after_months(last[0], 6)
    assert service.odometer_km == pytest.approx(last[1] + 16_000.0)
    assert str(service.by) in service.when


def test_paragraph_b3_every_visit_service_and_work_has_its_date_and_nature(con, record):
    for unit in ("V102", "B110"):
        done = read_maintenance(con, unit).done
        counts = con.execute(
            "select (select count(*) from tidy.visits where unit = $u), "
            "(select count(*) from tidy.services where unit = $u), (select count(*) from tidy.work where unit = $u)",
            {"u": unit},
        ).fetchall()[0]
        natures = [entry.nature for entry in done]
        assert natures.count("Inspection") == counts[0]
        assert len(done) == sum(counts)
        assert [entry.day for entry in done] == sorted((entry.day for entry in done), reverse=True)
    repairs = [entry for entry in read_maintenance(con, "B110").done if entry.nature == "Repair"]
    assert repairs
    assert all("replaced" in entry.what for entry in repairs)


def test_paragraph_b3_every_reading_of_a_visit_is_in_its_entry(con, record):
    visit = record.vehicle.visits.iloc[0]
    entry = next(entry for entry in record.done if entry.nature == "Inspection")
    own = record.vehicle.readings[record.vehicle.readings["visit_id"] == visit["visit_id"]]
    for joint, direction in own[["joint", "direction"]].drop_duplicates().itertuples(index=False):
        assert joint in entry.what
        assert direction in entry.what


def test_paragraph_b4_is_said_not_to_be_kept(record):
    table = record_table(record)
    assert table.loc[table["paragraph"] == "49 CFR 396.3(b)(4)", "what"].tolist() == [BUSES]
    for words in ("pushout windows", "emergency doors", "marking lights", "not kept by this program"):
        assert words in BUSES


def test_what_the_record_does_not_claim():
    said = " ".join(NOTES)
    assert "not legal advice" in said
    assert "not the report of a periodic inspection" in said
    assert "49 CFR 396.17" in said
    assert "appendix to part 396" in said


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2026, 7, 7), 12, date(2027, 7, 7)),
        (date(2024, 2, 29), 12, date(2025, 3, 1)),
        (date(2023, 2, 28), 12, date(2024, 2, 28)),
        (date(2020, 2, 29), 48, date(2024, 2, 29)),
        (date(2026, 8, 31), 6, date(2027, 3, 1)),
        (date(2023, 8, 31), 6, date(2024, 3, 1)),
        (date(2023, 8, 29), 6, date(2024, 2, 29)),
        (date(2026, 8, 29), 6, date(2027, 3, 1)),
        (date(2026, 12, 31), 6, date(2027, 7, 1)),
        (date(2026, 5, 31), 6, date(2026, 12, 1)),
        (date(2026, 6, 30), 6, date(2026, 12, 30)),
        (date(2026, 6, 15), 0, date(2026, 6, 15)),
    ],
)
def test_months_by_the_calendar(day, months, expected):
    assert after_months(day, months) == expected


def test_months_beside_a_plain_walk_through_the_calendar():
    """Every day of a leap year and of the year before it, 6 and 12 months on: walk month by month."""
    day = date(2023, 1, 1)
    while day < date(2025, 1, 1):
        for months in (6, 12):
            year, month = day.year, day.month
            for _ in range(months):
                year, month = (year + 1, 1) if month == 12 else (year, month + 1)
            last = (date(year + month // 12, month % 12 + 1, 1) - timedelta(days=1)).day
            walked = date(year, month, day.day) if day.day <= last else date(year, month, last) + timedelta(days=1)
            assert after_months(day, months) == walked
        day += timedelta(days=1)


def test_paragraph_c_one_year_and_six_months_after_leaving():
    assert keep_through(date(2026, 7, 7), None) == date(2027, 7, 7)
    assert keep_through(date(2026, 7, 7), date(2026, 8, 1)) == date(2027, 7, 7)
    assert keep_through(date(2026, 7, 7), date(2027, 3, 31)) == date(2027, 10, 1)
    assert keep_through(date(2020, 1, 1), date(2026, 8, 31)) == date(2027, 3, 1)


def test_paragraph_c_of_a_whole_record(con, record):
    newest = record.done[0].day
    assert record.left is None
    assert record.keep_through == after_months(newest, 12)
    late = date(2027, 5, 31)
    left = read_maintenance(con, "V102", left=late)
    assert left.keep_through == date(2027, 12, 1)
    assert dataclasses.replace(left, done=()).keep_through == date(2027, 12, 1)
    assert dataclasses.replace(record, done=()).keep_through is None
    with pytest.raises(InputError, match=f"left on 2026-01-01, and has a record of {newest}"):
        read_maintenance(con, "V102", left=date(2026, 1, 1))
