from __future__ import annotations

from datetime import date

import pytest
import xlsxwriter

from fleetwear.errors import InputError
from fleetwear.intake import list_quarantine, load_files
from fleetwear.intake.quarantine import resembles

HEAD = "unit,entry date,odometer (km),quarantine number\n"


def listed(bench, **options):
    with bench.store.reader() as con:
        return list_quarantine(con, **options)


def test_the_list_says_where_a_row_stood_and_what_is_wrong(bench):
    bench.load("o.csv", HEAD + "A1,2022-01-01,20000,\nA1,soon,-5,\n")
    (row,) = listed(bench).to_dict("records")
    assert (row["number"], row["file"], row["row"], row["table"], row["settled"]) == (
        1,
        "o.csv",
        3,
        "odometer",
        False,
    )
    assert len(row["reasons"]) == 2
    assert row["cells"] == '{"unit": "A1", "entry date": "soon", "odometer (km)": "-5", "quarantine number": ""}'


def test_a_corrected_row_in_the_same_place_settles(bench):
    bench.load("o.csv", HEAD + "A1,2022-01-01,x,\nA1,2022-02-01,y,\n")
    summary = bench.load("o.csv", HEAD + "A1,2022-01-01,20000,\nA1,2022-02-01,y,\n")
    assert (summary.rows_in, summary.rows_quarantined, summary.rows_quarantined_before, summary.settled) == (
        1,
        0,
        1,
        1,
    )
    assert listed(bench)["number"].tolist() == [2]
    assert listed(bench, include_settled=True)["settled"].tolist() == [True, False]


def test_another_row_in_the_same_place_does_not(bench):
    bench.load("o.csv", HEAD + "A1,2022-01-01,x,\n")
    assert bench.load("o.csv", HEAD + "B1,2022-02-05,300,\n").settled == 0


def test_a_row_that_names_the_number_settles_from_any_file(bench):
    bench.load("o.csv", HEAD + "A1,2022-01-01,x,\n")
    assert bench.load("mended.csv", HEAD + "A2,2022-01-02,20000,1\n").settled == 1
    assert listed(bench).empty
    again = bench.load("mended.csv")
    assert (again.rows_known, again.settled) == (1, 0)


def test_a_row_that_is_still_wrong_settles_nothing(bench):
    bench.load("o.csv", HEAD + "A1,2022-01-01,x,\n")
    summary = bench.load("mended.csv", HEAD + "A1,2022-01-01,-1,1\n")
    assert (summary.rows_quarantined, summary.settled) == (1, 0)
    assert listed(bench)["number"].tolist() == [1, 2]


def test_what_was_refused_for_want_of_its_vehicle_settles_when_loaded_again(bench):
    bench.load("o.csv", HEAD + "C1,2022-01-01,20000,\n")
    bench.load("v.csv", "unit,model\nC1,Alpha\n")
    assert bench.load("o.csv").settled == 1


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ({"a": "1", "b": "2", "c": "9", "d": ""}, True),
        ({"a": "1", "b": "2", "c": "9"}, True),
        ({"a": "1", "b": "8", "c": "9"}, False),
        ({}, False),
    ],
)
def test_half_the_cells_make_a_correction(row, expected):
    assert resembles('{"a": "1", "b": " 2", "c": "3", "d": ""}', row) is expected


def test_an_unknown_table_loads_nothing_of_any_file(bench):
    good = bench.write("o.csv", HEAD + "A1,2022-01-01,20000,\n")
    bad = [bench.write("x.csv", "what,is,this\n1,2,3\n"), bench.folder / "missing.csv"]
    before = bench.dump()
    with pytest.raises(InputError, match=r"(?s)2 files cannot be loaded.*x.csv.*missing.csv.*Nothing was loaded, nor"):
        load_files(bench.store, [good, *bad], today=date(2024, 6, 1))
    assert bench.dump() == before


def test_one_sheet_that_is_no_table_is_told_how_to_leave_out_by_its_kind(bench):
    good = bench.write("o.csv", HEAD + "A1,2022-01-01,20000,\n")
    notes = bench.folder / "o.xlsx"
    with xlsxwriter.Workbook(notes) as book:
        book.add_worksheet("o").write_row(0, 0, HEAD.strip().split(","))
        book.add_worksheet("notes").write(0, 0, "remember the grease")
    loose = bench.write("x.csv", "what,is,this\n1,2,3\n")
    before = bench.dump()
    for path, hint in ((notes, "hide it in the workbook"), (loose, "load the other files without it")):
        with pytest.raises(InputError) as refusal:
            load_files(bench.store, [good, path], today=date(2024, 6, 1))
        assert hint in str(refusal.value)
        assert ("hid" in str(refusal.value)) == (path is notes)
        assert str(refusal.value).endswith(" Nothing was loaded, nor anything from the other files.")
        assert refusal.value.where.startswith(str(path))
    with pytest.raises(InputError, match=r"without it\. Nothing was loaded\.$"):
        load_files(bench.store, [loose], today=date(2024, 6, 1))
    assert bench.dump() == before
