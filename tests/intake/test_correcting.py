"""Corrections: a new row supersedes the old, both stay, and what was known before is as it was."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date, datetime

import pytest

from fleetwear.intake import load_files, open_questions
from fleetwear.intake.explained import EXAMPLES
from fleetwear.intake.rewriting import ID_COLUMNS
from fleetwear.planning.history import read_history
from fleetwear.store import sql
from fleetwear.store.known import prepare
from fleetwear.store.verifying import verify

TODAY = date(2024, 6, 1)
BEFORE, AFTER = datetime(2024, 6, 1, 12), datetime(2024, 6, 2, 12)
JOINT = "left front lower ball joint"
READINGS = f"""unit,visit date,odometer (km),technician,joint,direction,play
A1,2024-01-10,1000,T1,{JOINT},in-out,10 thou
A1,2024-02-10,2000,T1,{JOINT},in-out,20 thou
A1,2024-02-10,2000,T1,{JOINT},in-out,22 thou
A1,2024-03-10,3000,T1,{JOINT},in-out,30 thou
"""
HEAD = "table,number,change,why,by\n"


def loaded(bench, name, text, when=AFTER, today=TODAY):
    (summary,) = load_files(bench.store, [bench.write(name, text)], today=today, loaded_at=when)
    return summary


def correct(bench, *rows, name="corrections.csv", when=AFTER):
    return loaded(bench, name, HEAD + "".join(f"{row},slip,T2\n" for row in rows), when)


def known(bench, query, known_by=None):
    with bench.store.reader() as con:
        prepare(con, as_of=TODAY, known_by=known_by)
        return con.execute(query).fetchall()


PLAYS = "select visit_date, round(play_mm / 0.0254, 3) from known_readings order by visit_date, play_mm"


def plays(bench, known_by=None):
    return [(str(day), play) for day, play in known(bench, PLAYS, known_by)]


@pytest.fixture
def filled(bench):
    assert loaded(bench, "readings.csv", READINGS, BEFORE).rows_in == 4
    return bench


ALL = [("2024-01-10", 10), ("2024-02-10", 20), ("2024-02-10", 22), ("2024-03-10", 30)]
MENDED = [("2024-01-10", 10), ("2024-02-10", 18), ("2024-02-10", 22), ("2024-03-10", 30)]


def test_a_reading_is_superseded_and_what_was_known_before_stays(filled):
    summary = correct(filled, "reading,2,play=18 thou")
    assert (summary.rows_in, summary.rows_quarantined) == (1, 0)
    assert plays(filled) == MENDED
    assert plays(filled, BEFORE) == ALL
    rows = filled.rows("select reading_id, session, stroke, play_written from readings order by 1")
    assert rows[1][1:] == (1, 1, "20")
    assert rows[-1] == (5, 1, 1, "18"), "the new one is the same stroke"
    assert not verify(filled.store.folder).wrong
    with filled.store.reader() as con:
        told = read_history(con, "a1")
    told = told[(told["row"] == "reading") & (told["by"] != "")].set_index("number")
    assert told.loc[2, "state"] == "superseded by reading 5"
    assert (told.loc[5, "state"], told.loc[5, "supersedes"]) == ("stands", 2)
    assert list(told[["changes", "by", "why"]].loc[5]) == ["play=18 thou", "T2", "slip"]


def test_loading_again_leaves_superseded_rows_superseded(filled):
    correct(filled, "reading,2,play=18 thou", "visit,3,odometer=3500 km", "reading,1,withdraw")
    before = filled.dump()
    for again in (READINGS, READINGS.replace("20 thou", "18 thou")):
        summary = loaded(filled, "readings.csv", again)
        assert (summary.rows_in, summary.rows_known) == (0, 4), "the mended file says what the correction says"
    assert correct(filled, "reading,2,play=18 thou").rows_known == 1
    assert filled.dump() == before


def test_corrections_are_corrected_and_put_back(filled):
    correct(filled, "reading,2,play=18 thou")
    summary = correct(filled, "reading,2,play=19 thou")
    assert summary.rows_quarantined == 1
    (reason,) = filled.reasons()[-1]
    assert "already corrected by T2 on 2024-06-02" in reason
    assert "reading 5 stands in its place" in reason
    correct(filled, "reading,5,play=20 thou", name="again.csv")
    assert plays(filled) == ALL
    assert loaded(filled, "readings.csv", READINGS).rows_in == 0
    assert plays(filled) == ALL
    assert not verify(filled.store.folder).wrong


def test_withdrawing_a_visit_takes_its_readings_and_reinstating_brings_them_back(filled):
    correct(filled, "visit,2,withdraw")
    assert plays(filled) == [ALL[0], ALL[3]]
    late = READINGS.splitlines()[0] + f"\nA1,2024-02-10,2000,T1,{JOINT},in-out,44 thou\n"
    assert loaded(filled, "late.csv", late).rows_quarantined == 1
    assert "was withdrawn (visit number 2): reinstate it first" in filled.reasons()[-1][0]
    summary = correct(filled, "visit,1,reinstate", name="wrong.csv")
    assert "not withdrawn" in next(iter(summary.reasons))
    correct(filled, "visit,2,reinstate", name="back.csv", when=datetime(2024, 6, 3))
    assert plays(filled) == ALL
    assert plays(filled, AFTER) == [ALL[0], ALL[3]]
    assert plays(filled, BEFORE) == ALL
    assert loaded(filled, "late.csv", late).rows_in == 1
    assert ("2024-02-10", 44) in plays(filled)
    assert not verify(filled.store.folder).wrong


def test_a_corrected_odometer_is_checked_against_history_and_moves_the_readings(filled):
    summary = correct(filled, "visit,2,odometer=9000 km")
    assert "lies above 3,000 km on 2024-03-10" in next(iter(summary.reasons))
    assert filled.rows("select count(*) from corrections") == [(0,)]
    correct(filled, "visit,2,odometer=2500 km; technician=T7")
    query = "select distinct running_km from known_readings where play_mm between 0.5 and 0.56"
    assert known(filled, query) == [(2500.0,)]
    assert known(filled, query, BEFORE) == [(2000.0,)]
    assert known(filled, "select technician from known_visits order by visit_date") == [("T1",), ("T7",), ("T1",)]
    visits = "unit,visit date,odometer (km),technician\nA1,2024-02-10,2000,T1\n"
    assert loaded(filled, "visits.csv", visits).rows_known == 1, "what a corrected visit said is known"
    assert known(filled, "select technician from known_visits order by visit_date")[1] == ("T7",)


def test_what_a_row_may_not_say_a_correction_may_not_say(filled):
    summary = correct(
        filled,
        "reading,2,play=-3 thou",
        "reading,2,play=18",
        "reading,2,plai=18 thou",
        "reading,2,joint=left rear wheel",
        "reading,99,play=18 thou",
        "reading,2,play",
        "position,1,kind=kingpin",
        "reading,x,withdraw",
        "reading,2,play=20 thou",
        "visit,2,visit date=2031-01-01",
        "vehicle,1,unit=Z9",
    )
    assert summary.rows_in == 0
    told = [" ".join(reasons) for reasons in filled.reasons()]
    for words, reason in zip(
        (
            "is negative",
            'play "18" has no unit',
            'nearest is "play"',
            "is not a joint",
            "there is no reading 99",
            "write column=value",
            "no rows that can be corrected",
            "not a whole number",
            "says just that already",
            "lies in the future",
            "tells vehicles apart",
        ),
        told,
        strict=True,
    ):
        assert words in reason
    assert plays(filled) == ALL
    summary = correct(filled, "reading,2,play=18 thou")
    assert summary.settled == 1, "the correction of the first row"


EACH = {
    "readings": "play=18 thou", "visits": "complaint=a knock", "work": "reason=worn", "services": "interval months=7",
    "limits": "limit=40 thou", "odometer": "odometer=46950 km", "vehicles": "depot=Harbour", "parts": "cost=50",
}  # fmt: skip
LATE = date(2026, 1, 1)
LATER = ("odometer unit", "limit unit", "interval unit", "play unit", "shop", "technician")
"""Columns that stand beside their number, or, of a reading, with its visit."""


def row_of(con, table, number):
    """Return the cells of a row as its file would have them, and the number of the row in its place."""
    key = {"table_name": table, "row_id": number, "vehicle_id": None}
    found = con.execute(sql("history/rows"), key)
    names = [column[0] for column in found.description]
    row = dict(zip(names, found.fetchall()[-1], strict=True))
    return json.loads(row["cells"]), row["new_row_id"]


@pytest.mark.parametrize("table", sorted(ID_COLUMNS))
def test_a_correction_of_one_cell_keeps_every_other(bench, table):
    order = ["vehicles", "positions", "limits", "visits", table]
    for name in dict.fromkeys(order):
        row = {head: cell for head, cell in EXAMPLES[name].items() if cell}
        cells = ",".join(f'"{cell}"' for cell in row.values())
        assert loaded(bench, f"{name}.csv", f"{','.join(row)}\n{cells}\n", BEFORE, LATE).rows_quarantined == 0
    with bench.store.reader() as con:
        number = con.execute(f"select max({ID_COLUMNS[table]}) from {table}").fetchall()[0][0]
        before, _ = row_of(con, table, number)
    head = EACH[table].partition("=")[0]
    expected = {name for name, cell in EXAMPLES[table].items() if cell} - set(LATER)
    assert {name for name, cell in before.items() if cell is not None} >= expected - {"play unit", "limit unit"}
    summary = loaded(bench, "c.csv", f"{HEAD}{table},{number},{EACH[table]},slip,T2\n", today=LATE)
    assert summary.rows_in == 1, bench.reasons()
    with bench.store.reader() as con:
        _, new = row_of(con, table, number)
        after, _ = row_of(con, table, new)
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {head}
    assert not verify(bench.store.folder).wrong


def test_parts_are_corrected_withdrawn_and_reinstated_and_what_was_known_stays(bench):
    text = "part number,kind,lead days,cost\nP-1,ball joint,3,40\n"
    loaded(bench, "parts.csv", text, BEFORE)
    loaded(bench, "stale.csv", text.replace("3,40", "9,45"), datetime(2024, 6, 1, 13))

    def ordered(known_by=None):
        query = sql("ahead/parts").replace("$forecast_id and", "1 and")
        with bench.store.reader() as con:
            con.execute("create temp table forecasts as select 1 as forecast_id, $at::timestamp as known_by",
                        {"at": known_by})  # fmt: skip
            return [(row[0], row[5], row[6]) for row in con.execute(query, {}).fetchall()]

    assert ordered() == [("P-1", 45, 9)]
    assert correct(bench, "part,1,cost=41").rows_in == 1, bench.reasons()
    assert ordered() == [("P-1", 45, 9)], "the correction of an older row is no newer than it"
    assert correct(bench, "part,2,lead days=5", name="c2.csv").rows_in == 1
    assert ordered() == [("P-1", 45, 5)]
    assert correct(bench, "part,4,withdraw", name="c3.csv").rows_in == 1
    assert ordered() == [("P-1", 41, 3)]
    (summary,) = load_files(
        bench.store, [bench.write("s.csv", "part number,depot,on hand,counted on\nP-1,Hill,2,2024-05-01\n")],
        today=TODAY, loaded_at=AFTER,
    )  # fmt: skip
    assert summary.rows_in == 1
    assert correct(bench, "part,4,reinstate", name="c4.csv").rows_in == 1
    assert ordered() == [("P-1", 45, 5)]
    assert ordered(datetime(2024, 6, 1, 14)) == [("P-1", 45, 9)]
    assert loaded(bench, "parts.csv", text).rows_known == 1
    assert not verify(bench.store.folder).wrong
    with bench.store.reader() as con:
        told = read_history(con, "A1")
    told = told[told["row"] == "part"].set_index("number")
    assert (told.loc[1, "state"], told.loc[1, "date"]) == ("superseded by part 3", "")
    assert (told.loc[3, "by"], told.loc[3, "why"], told.loc[3, "changes"]) == ("T2", "slip", "cost=41")


def test_limits_work_services_vehicles_and_odometer_values_are_corrected(filled):
    loaded(
        filled, "work.csv", f"unit,work date,odometer (km),joint,work\nA1,2024-03-01,2900,{JOINT},replaced\n", BEFORE
    )
    loaded(filled, "services.csv", "unit,service date,interval (km),interval months\nA1,2024-03-05,10000,6\n", BEFORE)
    loaded(filled, "odometer.csv", "unit,entry date,odometer (km)\nA1,2024-04-05,4000\n", BEFORE)
    summary = correct(
        filled,
        "replacement,1,work date=2024-02-20; odometer=2800 km",
        "service,1,interval=12000 km",
        "odometer,1,odometer=4100 km",
        "limit,1,limit=40 thou",
        "vehicle,1,depot=Harbour",
    )
    assert summary.rows_in == 5, filled.reasons()
    for query, now, then in (
        ("select work_date, running_km from known_work", (date(2024, 2, 20), 2800), (date(2024, 3, 1), 2900)),
        ("select interval_km from known_services", (12000,), (10000,)),
        ("select odometer_km from known_entries where table_name = 'odometer'", (4100,), (4000,)),
        ("select depot from known_vehicles where unit = 'A1'", ("Harbour",), (None,)),
        (
            "select round(limit_mm, 3) from limits join known_loads using (load_id) "
            "anti join known_superseded as s on s.table_name = 'limits' and s.row_id = limit_id",
            (1.016,),
            (1.27,),
        ),
    ):
        assert known(filled, query) == [now]
        assert known(filled, query, BEFORE) == [then]
    assert not verify(filled.store.folder).wrong
    before = filled.dump()
    for name in ("work.csv", "services.csv", "odometer.csv", "vehicles.csv", "limits.csv"):
        if (filled.folder / name).exists():
            filled.load(name)
    assert filled.dump() == before


def test_a_vehicles_file_loaded_again_leaves_its_correction(filled, template):
    correct(filled, "vehicle,1,depot=Harbour")
    before = filled.dump()
    summary = loaded(filled, "vehicles.csv", (template / "vehicles.csv").read_text())
    assert (summary.rows_known, summary.rows_quarantined) == (4, 0)
    assert filled.dump() == before


def test_a_visit_set_aside_is_corrected_and_its_readings_count_again(filled):
    more = READINGS.splitlines()[0] + f"\nA1,2024-04-10,20000,T1,{JOINT},in-out,34 thou\n"
    loaded(filled, "april.csv", more, BEFORE)
    odometer = "unit,entry date,odometer (km)\nA1,2024-05-01,5000\nA1,2024-05-02,5001\n"
    loaded(filled, "odometer.csv", odometer, BEFORE)
    (visit,) = filled.rows("select row_id from set_aside where table_name = 'visits'")[0]
    assert len(plays(filled)) == 4
    summary = correct(filled, f"visit,{visit},odometer=4000 km")
    assert (summary.rows_in, summary.settled) == (1, 1), filled.reasons()
    assert ("2024-04-10", 34) in plays(filled)
    assert not verify(filled.store.folder).wrong


def test_a_question_about_a_corrected_reading_is_closed(filled):
    more = READINGS.splitlines()[0] + f"\nA1,2024-04-10,4000,T1,{JOINT},in-out,34 mm\n"
    assert loaded(filled, "april.csv", more, BEFORE).questions == 1
    summary = correct(filled, "reading,5,play=34 in")
    assert summary.questions == 1
    correct(filled, "reading,6,play=34 thou", name="again.csv")
    with filled.store.reader() as con:
        assert open_questions(con).empty


WRITER = """
import sys
from datetime import date
from pathlib import Path
from pipelines import load
(one,) = load.run(Path(sys.argv[1]), [Path(sys.argv[2])], date(2024, 6, 3))
print(one.rows_in, list(one.reasons))
"""


def test_of_two_at_the_same_time_the_second_is_told(filled):
    files = [filled.write(f"c{i}.csv", HEAD + f"reading,2,play={15 + i} thou,slip,T{i}\n") for i in range(2)]
    both = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(filled.store.folder), str(file)], stdout=subprocess.PIPE)
        for file in files
    ]
    told = sorted(one.communicate(timeout=60)[0].decode() for one in both)
    assert "already corrected by T" in told[0]
    assert told[1] == "1 []\n"


VIN, OTHER_VIN = "1M8GDM9AXKP042788", "2G1WF52E859355243"
OF_VEHICLE = "select unit, vin from known_visits join known_vehicles using (vehicle_id) order by visit_date, unit"


def test_a_corrected_vin_leaves_no_visit_behind(filled):
    text = f"unit,model,vin,valid from,depot\nC1,Alpha,{VIN},2020-01-01,N\nC1,Alpha,{VIN},2023-01-01,S\n"
    loaded(filled, "v.csv", text, BEFORE)
    loaded(filled, "s.csv", "unit,visit date,odometer\nC1,2023-05-01,1000 km\n", BEFORE)
    rows = [row for (row,) in filled.rows("select vehicle_row_id from vehicles where unit = 'C1' order by 1")]
    summary = correct(filled, *(f"vehicle,{row},vin={OTHER_VIN}" for row in rows))
    assert (summary.rows_in, summary.rows_quarantined) == (2, 0)
    assert known(filled, OF_VEHICLE)[0] == ("C1", OTHER_VIN)
    assert known(filled, OF_VEHICLE, BEFORE)[0] == ("C1", VIN)
    loaded(filled, "v.csv", text)
    loaded(filled, "t.csv", "unit,visit date,odometer\nC1,2023-09-01,2000 km\n")
    assert known(filled, OF_VEHICLE)[:2] == [("C1", OTHER_VIN)] * 2


def test_a_row_is_not_corrected_into_another_vehicle_on_record(filled):
    text = f"unit,model,vin,valid from\nC1,Alpha,{VIN},2020-01-01\nD7,Alpha,{OTHER_VIN},2021-01-01\n"
    loaded(filled, "v.csv", text, BEFORE)
    ((row,),) = filled.rows("select vehicle_row_id from vehicles where unit = 'C1'")
    assert correct(filled, f"vehicle,{row},vin={OTHER_VIN}").rows_quarantined == 1
    assert f'vin "{OTHER_VIN}" is that of unit "D7", which is another vehicle on record' in filled.reasons()[0][0]
    assert filled.rows("select count(*) from corrections") == [(0,)]


def test_a_vin_that_tied_two_units_by_mistake_ties_them_no_more_once_corrected(filled):
    loaded(
        filled, "v.csv", f"unit,model,vin,valid from\nC1,Alpha,{VIN},2020-01-01\nD7,Alpha,{VIN},2021-01-01\n", BEFORE
    )
    ((row,),) = filled.rows("select vehicle_row_id from vehicles where unit = 'D7'")
    assert correct(filled, f"vehicle,{row},vin={OTHER_VIN}").rows_in == 1
    loaded(filled, "w.csv", "unit,model,depot,valid from\nC1,Alpha,S,2022-01-01\n")
    found = filled.rows(
        "select unit, min(vehicle_id), max(vehicle_id) from vehicles "
        "anti join superseded as gone on gone.table_name = 'vehicles' and gone.row_id = vehicle_row_id "
        "where unit in ('C1', 'D7') group by unit order by unit"
    )
    (_, one, also_one), (_, two, _) = found
    assert one == also_one != two


@pytest.mark.parametrize("unit", ["A2", "B1"])
def test_a_visit_with_readings_does_not_become_another_vehicles(filled, unit):
    summary = correct(filled, f"visit,2,unit={unit}")
    assert summary.rows_quarantined == 1
    ((reason,),) = filled.reasons()
    assert reason.startswith(
        f'2 readings were taken at this visit of unit "A1", and they do not go over to unit "{unit}"'
    )
    assert plays(filled) == ALL
    assert correct(filled, "visit,2,withdraw", f"visit,2,unit={unit}", "visit,2,reinstate", name="d.csv").rows_in == 2


def test_a_visit_without_readings_may_become_another_vehicles(filled):
    loaded(filled, "s.csv", "unit,visit date,odometer\nA1,2023-05-01,100 km\n", BEFORE)
    ((visit,),) = filled.rows("select visit_id from visits where odometer_km = 100")
    assert correct(filled, f"visit,{visit},unit=A2").rows_in == 1
    assert not verify(filled.store.folder).wrong


def test_verify_tells_of_readings_at_another_vehicles_visit(filled):
    with filled.store.writer() as con:
        con.execute("update reading_rows set vehicle_id = 2 where reading_id = 1")
    (told,) = verify(filled.store.folder).wrong
    assert told.startswith("1 readings, from number 1 to 1, are of another vehicle than their visit 1: withdraw")


@pytest.mark.parametrize("least_rows", [0, 10_000])
def test_the_mended_file_of_a_moved_visit_doubles_no_reading(filled, monkeypatch, least_rows):
    """Whether its rows are put together or checked one by one; a visit moved twice, with a reading said twice."""
    monkeypatch.setattr("fleetwear.intake.readings_load.LEAST_ROWS", least_rows)
    monkeypatch.setattr("fleetwear.intake.readings_load.ROWS_EACH", 0)
    twice = READINGS + f"A1,2024-02-10,2000,T1,{JOINT},in-out,22 thou\n"
    assert loaded(filled, "readings.csv", twice).rows_in == 1
    for number, change in ((2, "visit date=2024-02-11"), (4, "visit date=2024-02-12; odometer=2010 km")):
        assert correct(filled, f"visit,{number},{change}", name=f"c{number}.csv").rows_in == 1
    before = known(filled, "select * from known_readings order by reading_id")
    mended = twice.replace("2024-02-10,2000", "2024-02-12,2010")
    for text in (mended, twice):
        summary = loaded(filled, "readings.csv", text)
        assert (summary.rows_in, summary.rows_known) == (0, 5)
    assert known(filled, "select * from known_readings order by reading_id") == before
    more = mended + f"A1,2024-02-12,2010,T1,{JOINT},in-out,22 thou\nA1,2024-02-12,2010,T1,{JOINT},in-out,24 thou\n"
    assert loaded(filled, "readings.csv", more).rows_in == 2, "a third stroke that reads the same is a new one"
    assert len(known(filled, "select 1 from known_readings where stroke > 0")) == len(before) + 2


def test_the_mended_file_of_a_moved_visit_doubles_no_wheel_check(filled):
    checks = (
        "unit,visit date,odometer (km),technician,axle,side,wheel part,read at,play\n"
        "A1,2024-02-10,2000,T1,front,left,steering linkage,tyre tread,0.25 in\n"
    )
    assert loaded(filled, "wheel_checks.csv", checks).rows_in == 1
    assert correct(filled, "visit,2,visit date=2024-02-11").rows_in == 1
    for text in (checks.replace("2024-02-10", "2024-02-11"), checks):
        summary = loaded(filled, "wheel_checks.csv", text)
        assert (summary.rows_in, summary.rows_known) == (0, 1)
    assert filled.rows("select count(*) from wheel_checks") == [(1,)]
