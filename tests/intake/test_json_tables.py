"""JSON files of tables: the same rows, checks, quarantine and messages as CSV, all tables in one entry."""

from __future__ import annotations

import csv
import io
import json
from datetime import date, datetime

import pytest

from fleetwear.errors import InputError
from fleetwear.intake import take_files
from fleetwear.intake.loading import handed, load_files, read_file

TODAY = date(2024, 6, 1)
LOADED_AT = datetime(2024, 6, 1, 12, 0)

VISIT = {
    "unit": "A1",
    "visit date": "2024-05-20",
    "odometer": "12000 km",
    "technician": "T1",
    "complaint": "clunk",
    "symptom confirmed": True,
    "symptom joint": "left front lower ball joint",
    "note": "heard over the ramp",
}
STROKE = {
    "unit": "A1",
    "visit date": "2024-05-20",
    "odometer": "12000 km",
    "joint": "left front lower ball joint",
    "direction": "in-out",
    "play": "20 thou",
    "stroke": 1,
}
STROKES = [
    STROKE,
    STROKE | {"play": "22 thou", "stroke": 2},
    STROKE | {"direction": "fore-aft", "play": None, "stroke": None, "result": "none seen"},
]


def write(bench, said, name="visit.json"):
    return bench.write(name, said if isinstance(said, str) else json.dumps(said))


def load(bench, said, name="visit.json"):
    return load_files(bench.store, [write(bench, said, name)], today=TODAY, loaded_at=LOADED_AT)


def as_csv(rows):
    header = list(dict.fromkeys(key for row in rows for key in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, header, restval="")
    writer.writeheader()
    writer.writerows([{key: "yes" if cell is True else cell for key, cell in row.items()} for row in rows])
    return out.getvalue()


def test_a_visit_with_its_readings_is_one_file_and_says_what_csv_says(two_benches):
    one, other = two_benches
    summaries = load(one, {"readings": STROKES, "visits": [VISIT]})
    assert [(s.table, s.rows_in, s.rows_quarantined) for s in summaries] == [("visits", 1, 0), ("readings", 3, 0)]
    other.load("visits.csv", as_csv([VISIT]))
    other.load("readings.csv", as_csv(STROKES))
    for table, columns in (
        ("visit_details", "vehicle_id, visit_date, odometer_km, technician, complaint, symptom_confirmed, note"),
        ("readings", "position_id, direction, session, stroke, result, play_mm, play_written, play_unit, row_key"),
    ):
        query = f"select {columns} from {table} order by all"
        assert one.rows(query) == other.rows(query)
    assert one.rows("select note from visit_details") == [("heard over the ramp",)]
    assert one.rows("select play_mm from readings where stroke = 2") == [(pytest.approx(22 * 0.0254),)]


def test_loading_again_changes_nothing(bench):
    load(bench, {"visits": [VISIT], "readings": STROKES})
    before = bench.dump()
    again = load(bench, {"visits": [VISIT], "readings": STROKES})
    assert [(s.rows_in, s.rows_known) for s in again] == [(0, 1), (0, 3)]
    assert bench.dump() == before


def test_a_later_note_joins_its_visit_and_rows_without_one_keep_their_key(bench):
    bare = {key: value for key, value in VISIT.items() if key != "note"}
    load(bench, {"visits": [bare]})
    key = bench.rows("select row_key from visit_notes")
    load(bench, {"visits": [bare | {"note": None}]})
    assert bench.rows("select row_key from visit_notes") == key
    (added,) = load(bench, {"visits": [VISIT]})
    assert added.rows_in == 1
    assert bench.rows("select count(*), any_value(note) from visit_details") == [(1, "heard over the ramp")]


def test_bad_rows_stand_in_quarantine_with_their_number_and_the_good_ones_go_in(bench):
    summaries = load(bench, {"visits": [VISIT], "readings": [STROKE, STROKE | {"play": 20}, [1], {"play": {"a": 1}}]})
    assert [(s.rows_in, s.rows_quarantined) for s in summaries] == [(1, 0), (1, 3)]
    rows = bench.rows("select sheet, source_row, reasons[1] from quarantine order by source_row")
    assert [(sheet, row) for sheet, row, _ in rows] == [("readings", 2), ("readings", 3), ("readings", 4)]
    assert "play 20 has no unit" in rows[0][2].replace('"', "")
    assert "not an object" in rows[1][2]
    assert "'play'" in rows[2][2]


def test_numbers_keep_the_digits_that_are_written(bench):
    text = '{"odometer": [{"unit": "A1", "entry date": "2024-05-20", "odometer (km)": 12000.0500}]}'
    (sheet,) = [sheet for sheet, _ in read_file(handed(write(bench, text))).sheets]
    assert sheet.cells.column(2).to_pylist() == ["12000.0500"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[]", "not an object of tables"),
        ('{"visit": []}', "'visit' is no table.*Tables are: vehicles"),
        ('{"visits": {}}', "'visits' is not a list"),
        ('{"visits": [], "readings": []}', "no table has a row"),
        ('{"visits": [], "Visits": []}', "stands twice"),
        ('{"visits": [{"unit": "A1", "unit": "A2"}]}', "'unit' stands twice"),
        ('{"visits": [{"unit": NaN}]}', "NaN is not a number"),
        ('{"visits": [', "cannot be read as JSON"),
        ('{"visits": [{"unit": "A1"}]}', "nearest is visits.*'visit date'"),
        ('{"visits": [{"unit": "A1", "joint": "x", "visit date": "2024-05-20", "Unit": "A2"}]}', "stands twice"),
    ],
)
def test_a_file_of_another_form_is_refused_in_words(bench, text, says):
    with pytest.raises(InputError, match=says):
        read_file(handed(write(bench, text)))


def test_bytes_that_are_no_text_are_refused(bench):
    path = bench.folder / "visit.json"
    path.write_bytes(b'{"visits": [\n{"unit": "\xff"}]}')
    with pytest.raises(InputError, match="line 2 are not UTF-8"):
        read_file(handed(path))


def test_a_hand_over_is_one_entry_of_the_inbox(bench):
    path = write(bench, {"visits": [VISIT], "readings": STROKES})
    take_files(bench.store.folder, [path], today=TODAY, loaded_at=LOADED_AT)
    take_files(bench.store.folder, [path], today=TODAY, loaded_at=LOADED_AT)
    assert bench.rows("select original_name, len(load_ids) from inbox_entries") == [("visit.json", 2)]
    assert bench.rows("select count(*) from readings") == [(3,)]
