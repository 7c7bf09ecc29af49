"""Readings put together from combinations of cells, against the checks of every row."""

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleetwear.intake import loading, readings_load
from fleetwear.intake.columns import BY_NAME
from fleetwear.intake.sheet_loading import SheetLoad

HEADER = (
    "unit,visit date,odometer,odometer unit,joint,direction,technician,shop,session,stroke,result,play,play unit,"
    "method,support,read at,indicator,instrument,timing,resolution"
)
LEFT, RIGHT, ROD = "left front lower ball joint", "right front lower ball joint", "left front tie rod end"

GOOD = st.tuples(
    st.sampled_from(["A1", "a1", "A2", "B1"]),
    st.integers(0, 4),
    st.sampled_from([0, 0, 0, 1, -30]),
    st.sampled_from(["km", "mi"]),
    st.sampled_from([0, 1]),
    st.sampled_from(["in-out", "fore-aft"]),
    st.sampled_from(["", "T1", "T2"]),
    st.sampled_from(["", "North"]),
    st.sampled_from(["", "", "1"]),
    st.sampled_from(["", "", "1", "2"]),
    st.sampled_from([("", "0.5", "mm"), ("", "20", "thou"), ("measured", "0.25", "mm"), ("none seen", "", ""),
                     ("", "none seen", "")]),
    st.tuples(
        *(st.sampled_from(["", "", cell])
          for cell in ("lever under tyre", "hanging", "ball stud", "dial indicator", "D7", "after work", "0.01 mm"))
    ),
)  # fmt: skip
BAD = st.sampled_from([(10, ("none seen", "0.5", "mm")), (9, "0"), (1, 900), (0, "Z9"), (4, 2), (10, ("", "x", "mm"))])
JOINTS = {"A": (LEFT, RIGHT, ROD), "B": ("left 1 upper kingpin", "left 1 upper kingpin", ROD)}


def line(reading):
    unit, turn, off, mile, joint, direction, technician, shop, session, stroke, (result, play, play_unit), way = reading
    day = date(2022, 1, 1) + timedelta(days=90 * turn)
    odometer = "" if off == 1 else str(5_000 + 6_000 * turn + off)
    joint = JOINTS.get(unit[0].upper(), JOINTS["A"])[joint]
    cells = [unit, day.isoformat(), odometer, mile, joint, direction, technician, shop, session, stroke]
    return ",".join([*cells, result, play, play_unit, *way])


def told(summary):
    return {name: value for name, value in vars(summary).items() if name != "elapsed_seconds"}


def spoil(readings, spoilt):
    for place, (cell, value) in spoilt:
        if place < len(readings):
            readings[place] = (*readings[place][:cell], value, *readings[place][cell + 1 :])
    return readings


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    first=st.lists(GOOD, min_size=1, max_size=12),
    second=st.lists(GOOD, min_size=1, max_size=12),
    again=st.integers(0, 12),
    spoilt=st.lists(st.tuples(st.integers(0, 40), BAD), max_size=1),
)
def test_readings_put_together_are_those_of_the_checks_of_every_row(bench_in, tmp_path, first, second, again, spoilt):
    sheets = [first, spoil([*first[:again], *second, *second[: again // 4]], spoilt)]
    ways = []
    for each in (readings_load.ReadingsLoad, SheetLoad):
        bench = bench_in(tmp_path / each.__name__)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(readings_load, "LEAST_ROWS", 0)
            patch.setattr(readings_load, "ROWS_EACH", 0)
            patch.setitem(loading._LOADS, "readings", each)
            said = [
                told(bench.load(f"r{number}.csv", "\n".join([HEADER, *map(line, readings)]) + "\n"))
                for number, readings in enumerate(sheets)
            ]
        ways.append((said, bench.dump()))
    assert ways[0] == ways[1]


def rows_of_a_large_sheet(rows):
    for n in range(rows):
        visit, joint = divmod(n, 4)
        unit, turn = ("A1", "A2")[visit % 2], visit // 2
        day = date(2020, 1, 2) + timedelta(days=turn)
        side, direction = (LEFT, RIGHT)[joint // 2], ("in-out", "fore-aft")[joint % 2]
        yield f"{unit},{day},{1_000 + 10 * turn},km,{side},{direction},T1,,,,,0.{n % 90 + 10},mm,,,,,,,"


def test_large_clean_sheets_are_put_together(bench, monkeypatch):
    monkeypatch.setattr(SheetLoad, "_check_cells", lambda *_: pytest.fail("every row was checked"))
    monkeypatch.setattr(SheetLoad, "_write", lambda *_: pytest.fail("the rows were joined to be written"))
    rows = list(rows_of_a_large_sheet(readings_load.LEAST_ROWS))
    monkeypatch.setattr(readings_load, "ROWS_EACH", 1)
    assert bench.load("r.csv", "\n".join([HEADER, *rows]) + "\n").rows_in == len(rows)


def test_one_refused_row_has_every_row_checked(bench):
    rows = list(rows_of_a_large_sheet(readings_load.LEAST_ROWS))
    rows[7] = rows[7].replace("A2", "Z9")
    summary = bench.load("r.csv", "\n".join([HEADER, *rows]) + "\n")
    assert (summary.rows_in, summary.rows_quarantined) == (len(rows) - 1, 1)
    assert bench.rows("select source_row from quarantine") == [(9,)]


def test_the_cells_of_a_combination_are_columns_of_the_contract():
    names = {column.name for column in BY_NAME["readings"].columns}
    assert {*readings_load._OF_VISIT, *readings_load._OF_PLAY} <= names
