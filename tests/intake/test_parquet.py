from __future__ import annotations

import datetime
from decimal import Decimal

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleetwear.errors import InputError
from fleetwear.intake.parquet import _digits
from fleetwear.intake.sheets import read_sheets


def written(tmp_path, columns, **kinds):
    path = tmp_path / "readings.parquet"
    pq.write_table(pa.table({name: pa.array(cells, kinds.get(name)) for name, cells in columns.items()}), path)
    return path


def cells_of(path):
    (sheet,) = read_sheets(path)
    return sheet, [tuple(row.values()) for row in sheet.cells.to_pylist()]


def test_cells_are_what_a_person_would_have_written(tmp_path):
    day, moment = datetime.date(2026, 3, 4), datetime.datetime(2026, 3, 4)
    path = written(
        tmp_path,
        {
            "unit": ["V101", None], "visit date": [day, None], "done date": [moment, None], "play": [0.1, 12.0],
            "stroke": [2, None], "symptom confirmed": [True, False], "odometer": [Decimal("12.50"), None],
        },
    )  # fmt: skip
    sheet, rows = cells_of(path)
    assert sheet.header == ("unit", "visit date", "done date", "play", "stroke", "symptom confirmed", "odometer")
    assert rows == [
        ("V101", "2026-03-04", "2026-03-04", "0.1", "2", "yes", "12.50"),
        ("", "", "", "12", "", "no", ""),
    ]
    assert sheet.row_numbers.to_pylist() == [1, 2]


def test_categories_are_their_texts_and_blank_rows_keep_the_count(tmp_path):
    path = tmp_path / "visits.parquet"
    pd.DataFrame({"unit": pd.Categorical(["V1", None, "V2"]), "note": [None, " ", "x"]}).to_parquet(path)
    sheet, rows = cells_of(path)
    assert rows == [("V1", ""), ("V2", "x")]
    assert sheet.row_numbers.to_pylist() == [1, 3]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_comes_back_as_it_was(value):
    text = _digits(value)
    assert float(text) == value
    assert "e" not in text


def test_what_is_no_number_stays_to_be_refused(tmp_path):
    _, rows = cells_of(written(tmp_path, {"play": [float("nan"), float("inf")]}))
    assert rows == [("nan",), ("inf",)]


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"visit date": [datetime.datetime(2026, 3, 4, 12, 30)]}, "time of day in row 1: 2026-03-04 12:30"),
        ({"play": [[1.0, 2.0]]}, "the column 'play' holds list"),
        ({"unit": [b"\xff\xfe"]}, "the column 'unit' holds binary"),
        ({"unit": []}, "has no rows"),
        ({"note": ["x" * 40_000]}, "'note' has 40,000 characters"),
    ],
)
def test_what_is_no_cell_of_a_table_is_refused(tmp_path, columns, words):
    with pytest.raises(InputError, match=r"readings\.parquet") as caught:
        read_sheets(written(tmp_path, columns))
    assert words in str(caught.value)


def test_a_file_that_was_cut_off_or_is_something_else_is_refused(tmp_path):
    path = written(tmp_path, {"unit": ["V1"] * 100})
    path.write_bytes(path.read_bytes()[:-20])
    with pytest.raises(InputError, match="cannot be read as Parquet"):
        read_sheets(path)
    path.write_bytes(b"unit,play\nV1,3\n")
    with pytest.raises(InputError, match="cannot be read as Parquet"):
        read_sheets(path)


def test_a_file_that_says_it_expands_too_far_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("fleetwear.intake.sizes.MAX_EXPANDED_BYTES", 10_000)
    path = written(tmp_path, {"unit": ["V" * 1_000] * 9 + [str(i) * 900 for i in range(30)]})
    with pytest.raises(InputError, match="expands to"):
        read_sheets(path)
