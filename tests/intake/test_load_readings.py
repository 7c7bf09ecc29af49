from __future__ import annotations

import csv
import json
from datetime import date, datetime

import pytest
import xlsxwriter

from fleetwear.errors import InputError
from fleetwear.intake import answer, load_files, open_questions

HEAD = "unit,visit date,odometer,joint,direction,play,play unit,result,timing,session,stroke,method\n"
JOINT = "left front lower ball joint"


def row(**cells):
    """Return a good reading as a CSV line, with the cells that a test wants otherwise."""
    good = {
        "unit": "A1",
        "visit date": "2022-03-01",
        "odometer": "20000 km",
        "joint": JOINT,
        "direction": "in-out",
        "play": "20",
        "play unit": "thou",
    }
    good |= {name.replace("_", " "): text for name, text in cells.items()}
    return ",".join(f'"{good.get(name, "")}"' if name in good else "" for name in HEAD.strip().split(",")) + "\n"


TECHNICIAN_HEAD = HEAD.replace(",method\n", ",method,technician\n")


def line(*, technician, **cells):
    """Return a good reading as a CSV line that also says who took it."""
    return row(**cells).rstrip("\n") + f",{technician}\n"


PLAYS = "select play_mm, play_written, play_unit from readings order by reading_id"


@pytest.mark.parametrize(
    ("header", "cell", "unit_cell", "expected"),
    [
        ("play (thou)", "20", "", (0.508, "20", "thou")),
        ("play", "20", "thou", (0.508, "20", "thou")),
        ("play", "20 thou", "", (0.508, "20", "thou")),
        ("play [mm]", "20", "thou", (0.508, "20", "thou")),
        ("play (mm)", "0.02 in", "thou", (0.508, "0.02", "in")),
        ("play", "508µm", "", (0.508, "508", "um")),
        ("play", "5.08e-1 MM", "", (0.508, "5.08e-1", "mm")),
    ],
)
def test_the_unit_stands_beside_or_in_a_column_or_in_the_header(bench, header, cell, unit_cell, expected):
    text = f"unit,visit date,odometer (km),joint,direction,{header},play unit\n"
    bench.load("r.csv", text + f"A1,2022-03-01,20000,{JOINT},in-out,{cell},{unit_cell}\n")
    ((play_mm, written, unit),) = bench.rows(PLAYS)
    assert (round(play_mm, 9), written, unit) == expected


REFUSED = [
    ({"unit": "A9"}, 'unit "A9" is not a known vehicle; nearest is "A'),
    ({"unit": ""}, "unit is empty"),
    (
        {"joint": "left front lowr ball joint"},
        'not a joint of model "Alpha"; nearest is "left front lower ball',
    ),
    ({"joint": "left 1 upper kingpin"}, 'not a joint of model "Alpha"'),
    ({"joint": ""}, "joint is empty"),
    ({"direction": "sideways"}, 'direction "sideways" is not known; nearest is "'),
    ({"method": "crowbar"}, 'method "crowbar" is not known; nearest is "pry bar"'),
    ({"timing": "later"}, 'timing "later" is not known'),
    ({"result": "fine"}, 'result "fine" is not known'),
    ({"visit_date": ""}, "visit date is empty"),
    ({"visit_date": "01/03/2022"}, 'visit date "01/03/2022" is not a date: write it as yyyy-mm-dd'),
    ({"visit_date": "2022-02-30"}, 'visit date "2022-02-30" is not a date'),
    ({"visit_date": "2024-06-02"}, "visit date 2024-06-02 lies in the future (today is 2024-06-01)"),
    ({"visit_date": "1949-12-31"}, "visit date 1949-12-31 lies before 1950"),
    ({"play": "-1"}, 'play "-1" is negative'),
    ({"play": "nan"}, 'play "nan" is not a plain number'),
    ({"play": "inf"}, 'play "inf" is not a plain number'),
    ({"play": "1e999"}, 'play "1e999" is not a plain number'),
    ({"play": "0x10"}, 'play "0x10" is not a plain number'),
    ({"play": "1_000"}, 'play "1_000" is not a plain number'),
    ({"play": "1,000"}, 'play "1,000" is not a plain number: write it like 1250'),
    ({"play": "20 furlongs"}, 'play "20 furlongs" is not a known play unit; known: thou, in, mm, um'),
    ({"play_unit": "km"}, 'play unit "km" is not a known play unit'),
    ({"play_unit": ""}, 'play "20" has no unit: write it beside the number, like 20 thou'),
    ({"odometer": "20000"}, 'odometer "20000" has no unit'),
    ({"odometer": "-5 km"}, 'odometer "-5 km" is negative'),
    ({"odometer": "20000 mm"}, 'odometer "20000 mm" is not a known distance unit; known: km, mi'),
    ({"odometer": ""}, "odometer is empty and no visit of unit"),
    ({"play": "", "result": ""}, "neither play nor result"),
    ({"play": "", "result": "measured"}, "the result is measured but there is no play"),
    ({"play": "none seen", "result": "measured"}, "the result is measured but there is no play"),
    ({"play": "20", "result": "none seen"}, 'the result is "none seen" but the play is "20"'),
    (
        {"play": "20", "result": "seen, not measured"},
        'the result is "seen, not measured" but the play is "20"',
    ),
    ({"play": "none seen", "result": "seen"}, 'but the play says "none seen"'),
    ({"session": "0"}, 'session "0" is below 1'),
    ({"stroke": "1.5"}, 'stroke "1.5" is not a whole number'),
    ({"stroke": "-1"}, 'stroke "-1" is below 1'),
]


@pytest.fixture(scope="module")
def refused(module_bench):
    """The quarantined rows of one file with every case, by row number."""
    text = HEAD + "".join(row(**cells) for cells, _ in REFUSED)
    summary = module_bench.load("r.csv", text)
    assert (summary.rows_in, summary.rows_quarantined) == (0, len(REFUSED))
    assert sum(summary.reasons.values()) == len(REFUSED)
    query = "select source_row, reasons, cells::varchar from quarantine order by source_row"
    return {source_row: (reasons, json.loads(cells)) for source_row, reasons, cells in module_bench.rows(query)}


@pytest.mark.parametrize("case", range(len(REFUSED)), ids=[says for _, says in REFUSED])
def test_a_row_is_refused_with_the_reason_and_kept_as_it_was(refused, case):
    cells, says = REFUSED[case]
    reasons, kept = refused[case + 2]
    assert len(reasons) == 1
    assert says in reasons[0]
    written = next(csv.reader([row(**cells)]))
    assert list(kept.items()) == list(zip(HEAD.strip().split(","), written, strict=True))


def test_every_reason_against_a_row_is_given_at_once(bench):
    bench.load("r.csv", HEAD + row(unit="A9", visit_date="soon", play="-1", direction="up"))
    (reasons,) = bench.reasons()
    assert len(reasons) == 4


def test_ragged_rows_go_to_quarantine_too(bench):
    summary = bench.load("r.csv", HEAD + "A1,2022-03-01\n" + row())
    assert (summary.rows_in, summary.rows_quarantined) == (1, 1)
    ((cells,),) = bench.rows("select cells::varchar from quarantine")
    assert json.loads(cells) == {"unit": "A1", "visit date": "2022-03-01"}


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ({"play": "none seen", "play_unit": ""}, ("none seen", None)),
        ({"play": "", "play_unit": "", "result": "None Seen"}, ("none seen", None)),
        ({"play": "0", "result": "none seen"}, ("none seen", None)),
        ({"play": "Seen, not measured", "play_unit": ""}, ("seen, not measured", None)),
        ({"play": "0"}, ("measured", 0.0)),
        ({"play": "0.5", "play_unit": "mm", "result": "measured"}, ("measured", 0.5)),
    ],
)
def test_results_are_understood(bench, cells, expected):
    bench.load("r.csv", HEAD + row(**cells))
    assert bench.rows("select result, play_mm from readings") == [expected]


def test_words_and_names_match_whatever_their_case_and_spacing(bench):
    bench.load(
        "r.csv",
        HEAD + row(unit=" a1 ", joint="Left  FRONT lower Ball Joint", direction="Up_Down", method="PRY BAR"),
    )
    assert bench.rows("select direction, method, position_id from readings") == [("up-down", "pry bar", 1)]


def test_numbers_follow_each_other_past_rows_that_are_refused_or_known(bench):
    days = [f"2022-03-{day:02}" for day in range(1, 7)]
    good = [row(visit_date=day, odometer=f"{20000 + i} km") for i, day in enumerate(days)]
    bench.load("r.csv", HEAD + good[0] + row(play="?") + good[1])
    summary = bench.load("s.csv", HEAD + good[2] + good[0] + row(play="?") + good[3] + good[1] + good[4])
    assert (summary.rows_in, summary.rows_known, summary.rows_quarantined) == (3, 2, 1)
    found = bench.rows("select reading_id, source_row, load_id from readings order by reading_id")
    assert [number for number, _, _ in found] == list(range(1, 6))
    assert [place for _, place, _ in found] == [2, 4, 2, 5, 7]


def test_a_reading_repeated_with_its_visit_on_record_or_not_is_counted_alike(two_benches):
    both = HEAD + row() + row() + row(play="21")
    for bench, first in zip(two_benches, (HEAD + row(play="19"), None), strict=True):
        if first:
            bench.load("a.csv", first)
        assert bench.load("r.csv", both).rows_in == 3
        assert bench.load("again.csv", both).rows_known == 3
        assert bench.load("more.csv", both + row()).rows_in == 1
    keys = "select row_key from readings where play_written <> '19' order by reading_id"
    assert two_benches[0].rows(keys) == two_benches[1].rows(keys)
    strokes = "select stroke from readings where play_written <> '19' order by reading_id"
    assert two_benches[0].rows(strokes) == [(2,), (3,), (4,), (5,)]
    assert two_benches[1].rows(strokes) == [(1,), (2,), (3,), (4,)]


def test_strokes_are_numbered_and_repeats_told_apart(bench):
    lines = [row(play="20"), row(play="21"), row(play="20"), row(play="22", direction="fore-aft")]
    lines += [row(play=p, stroke=s, timing="after work") for p, s in [("1", "1"), ("2", "2"), ("3", "1"), ("4", "2")]]
    bench.load("r.csv", HEAD + "".join(lines))
    got = bench.rows("select play_written, session, stroke from readings order by reading_id")
    assert got == [
        ("20", 1, 1), ("21", 1, 2), ("20", 1, 3), ("22", 1, 1),
        ("1", 1, 1), ("2", 1, 2), ("3", 2, 1), ("4", 2, 2),
    ]  # fmt: skip
    assert bench.load("more.csv", HEAD + "".join([*lines, row(play="23")])).rows_in == 1
    assert bench.rows("select session, stroke from readings where play_written = '23'") == [(1, 4)]


def test_readings_make_their_visits_and_join_them_within_50_metres(bench):
    bench.load("r.csv", HEAD + row() + row(odometer="20000.04 km", play="3") + row(odometer="20001 km", play="4"))
    assert bench.rows("select visit_id, count(*) from readings group by 1 order by 1") == [(1, 2), (2, 1)]
    assert bench.rows("select odometer_km, odometer_written, odometer_unit from visits order by visit_id") == [
        (20000.0, "20000", "km"),
        (20001.0, "20001", "km"),
    ]


def test_without_an_odometer_a_reading_joins_the_only_visit_of_its_day(bench):
    head = "unit,visit date,joint,direction,play (thou)\n"
    bench.load(
        "v.csv",
        "unit,visit date,odometer (km)\nA1,2022-03-01,20000\nA2,2022-03-01,5000\nA2,2022-03-01,5100\n",
    )
    summary = bench.load("r.csv", head + f"A1,2022-03-01,{JOINT},in-out,5\nA2,2022-03-01,{JOINT},in-out,5\n")
    assert (summary.rows_in, summary.rows_quarantined) == (1, 1)
    assert bench.reasons()[0][0].startswith('2 visits of unit "A2" are on record for 2022-03-01')
    assert bench.load("r.csv").rows_known == 1


def test_a_vehicle_without_distance_has_visits_without_odometer(bench):
    head = "unit,visit date,joint,direction,play (thou)\n"
    bench.load(
        "r.csv",
        head + "N1,2022-03-01,left 1 upper kingpin,in-out,5\nN1,2022-03-01,left 1 upper kingpin,up-down,5\n",
    )
    assert bench.rows("select odometer_km from visits") == [(None,)]
    assert bench.load("r.csv").rows_known == 2


def test_the_joint_is_one_of_the_model_valid_on_that_day(bench):
    bench.load("v.csv", "unit,model,valid from\nA2,Beta,2023-01-01\n")
    cells = {"unit": "A2", "joint": "left 1 upper kingpin"}
    bench.load("r.csv", HEAD + row(**cells) + row(**cells, visit_date="2023-01-01", odometer="21000 km"))
    assert bench.rows("select source_row from readings") == [(3,)]


def test_an_implausible_play_is_taken_in_and_asked_about(bench):
    summary = bench.load("r.csv", HEAD + row(play="20", play_unit="mm") + row(play="6.3", play_unit="mm"))
    assert (summary.rows_in, summary.questions) == (2, 1)
    with bench.store.writer() as con:
        (asked,) = open_questions(con).to_dict("records")
        assert asked["question"] == (
            f"Is 20 mm right for the {JOINT} of unit A1 on 2022-03-01? It is 16 times the largest limit on "
            "record for such a joint. Should it say thou or um instead of mm?"
        )
        with pytest.raises(InputError, match="'perhaps' is not an answer"):
            answer(con, asked["question_id"], "perhaps", "me")
        with pytest.raises(InputError, match="no such question"):
            answer(con, 99, "mistake", "me")
        answer(con, asked["question_id"], "mistake", "me")
        assert open_questions(con).empty
        with pytest.raises(InputError, match="already answered"):
            answer(con, asked["question_id"], "mistake", "me")


def test_without_a_limit_25_mm_is_asked_about(bench):
    cells = {"joint": "left front tie rod end", "play_unit": "mm"}
    bench.load("r.csv", HEAD + row(**cells, play="25") + row(**cells, play="25.1"))
    assert bench.rows("select r.play_mm from questions join readings as r using (reading_id)") == [(25.1,)]


def test_a_workbook_in_inches_and_miles(bench):
    path = bench.folder / "r.xlsx"
    with xlsxwriter.Workbook(path) as book:
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        for name, unit, played in (("march", "A1", 0.02), ("april", "A2", 0.04)):
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, ["Unit", "Visit date", "Odometer (mi)", "Joint", "Direction", "Play (in)"])
            sheet.write_row(1, 0, [unit, "", 10000, JOINT, "in-out", played])
            sheet.write_datetime(1, 1, datetime(2022, 3, 1), day)
            sheet.write_row(2, 0, [unit, "2022-03-01", 10000, JOINT, "nowhere", played])
    summaries = load_files(bench.store, [path], today=date(2024, 6, 1))
    assert [(s.sheet, s.rows_in, s.rows_quarantined) for s in summaries] == [("march", 1, 1), ("april", 1, 1)]
    got = bench.rows(
        "select r.play_mm, r.play_written, r.play_unit, v.odometer_km, v.odometer_unit "
        "from readings as r join visits as v using (visit_id) order by reading_id"
    )
    assert got == [(0.508, "0.02", "in", 16093.44, "mi"), (1.016, "0.04", "in", 16093.44, "mi")]
    assert bench.rows("select sheet, source_row from quarantine order by all") == [("april", 3), ("march", 3)]


def test_the_same_reading_on_two_sheets_of_a_file_counts_twice_once_only(bench):
    path = bench.folder / "r.xlsx"
    with xlsxwriter.Workbook(path) as book:
        for name in ("one", "two"):
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, ["unit", "visit date", "odometer (mi)", "joint", "direction", "play (in)"])
            sheet.write_row(1, 0, ["A1", "2022-03-01", 10000, JOINT, "in-out", 0.02])
    today = date(2024, 6, 1)
    assert [s.rows_in for s in load_files(bench.store, [path], today=today)] == [1, 1]
    assert [s.rows_known for s in load_files(bench.store, [path], today=today)] == [1, 1]
    assert bench.rows("select stroke from readings order by reading_id") == [(1,), (2,)]


@pytest.mark.parametrize(
    "edited",
    [
        {"play": "12"},
        {"play": "none seen", "play_unit": ""},
        {"technician": "Kim"},
        {"direction": "fore-aft"},
        {"joint": "right front lower ball joint"},
        {"visit_date": "2022-03-02"},
        {"odometer": "20010 km", "play": "12"},
        {"unit": "A2"},
    ],
    ids=str,
)
def test_an_edited_row_is_taken_in_and_told_as_changed(bench, edited):
    before = {"play": "20", "technician": "Jo"}
    lines = [line(**before), line(**before), line(**before)]
    assert bench.load("r.csv", TECHNICIAN_HEAD + "".join(lines)).changed == 0
    lines[0] = line(**before | edited)
    summary = bench.load("r.csv", TECHNICIAN_HEAD + "".join(lines))
    assert (summary.rows_in, summary.rows_known, summary.changed) == (1, 2, 1)
    assert bench.rows("select count(*) from readings") == [(4,)]
    again = bench.load("r.csv")
    assert (again.rows_in, again.changed) == (0, 0)


def test_rows_that_moved_or_stand_in_another_export_are_not_changed(bench):
    lines = [row(play=play) for play in ("20", "21", "22")]
    bench.load("r.csv", HEAD + "".join(lines))
    moved = bench.load("r.csv", HEAD + "".join([row(play="19"), *lines]))
    assert (moved.rows_in, moved.changed) == (1, 0)
    copied = bench.load("copy.csv", HEAD + row(play="12"))
    assert (copied.rows_in, copied.changed) == (1, 0)
    next_month = [row(visit_date="2022-04-01", odometer="21000 km", play=play) for play in ("20", "21", "23")]
    export = bench.load("r.csv", HEAD + "".join(next_month))
    assert (export.rows_in, export.changed) == (3, 0)


def test_the_correction_of_a_row_set_aside_is_settled_and_not_told_as_changed(bench):
    head = "unit,visit date,odometer (km),joint,direction,play (thou)\n"
    bench.load("r.csv", head + f"A2,2022-03-01,230000,{JOINT},in-out,20\n")
    odometer = "unit,entry date,odometer\nA2,2022-04-01,24000 km\nA2,2022-05-01,25000 km\n"
    assert bench.load("o.csv", odometer).set_aside == 1
    corrected = bench.load("r.csv", head + f"A2,2022-03-01,23000,{JOINT},in-out,20\n")
    assert (corrected.rows_in, corrected.settled, corrected.changed) == (1, 1, 0)
