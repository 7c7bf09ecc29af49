"""Tables written as CSV, Parquet and XLSX read back equal, inert, with their dictionary and what they are as of."""

from __future__ import annotations

import dataclasses
import datetime
import io
import zipfile

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import python_calamine

from fleetwear import __version__
from fleetwear.errors import InputError
from fleetwear.planning.tidy_tables import read_tidy
from fleetwear.reports import tidy_workbook
from fleetwear.reports.sheet_text import as_it_was, for_sheet
from fleetwear.reports.tidy_files import about_table, archive, csv_frame, tidy_files, workbook_name, write_tidy
from fleetwear.store import open_snapshot

HOSTILE = [
    "=1+1",
    "+A1",
    "-2+3",
    "@x",
    "\tx",
    "\rx",
    "'=1",
    "'",
    "plain",
    'a "b", c\nd',
    "https://a.test/x",
    None,
    "0012",
]


@pytest.fixture(scope="module")
def tidy(demo_store):
    con = open_snapshot(demo_store.folder)
    yield read_tidy(con, depot="Hill")
    con.close()


@pytest.fixture(scope="module")
def sheets(tidy):
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(tidy_files(tidy, "xlsx")[workbook_name(tidy)]))
    return {name: book.get_sheet_by_name(name).to_python() for name in book.sheet_names}


@pytest.fixture(scope="module")
def texts(tidy):
    return tidy_files(tidy, "csv")


@pytest.fixture(scope="module")
def columns(tidy):
    return {name: pq.read_table(io.BytesIO(data)) for name, data in tidy_files(tidy, "parquet").items()}


def small(tidy, values):
    """Return one table of one column of text, with the dictionary of the column ``unit``."""
    dictionary = tidy.dictionary[
        (tidy.dictionary["table_name"] == "vehicles") & (tidy.dictionary["column_name"] == "unit")
    ]
    table = pa.table({"unit": pa.array(values, pa.string())})
    return dataclasses.replace(tidy, tables={"vehicles": table}, dictionary=dictionary, fleet_wide=())


def from_csv(data):
    """Return what is read back, every cell as text, empty ones None."""
    frame = as_it_was(pd.read_csv(io.BytesIO(data), dtype=str, keep_default_na=False)).astype(object)
    return frame.where(frame != "", None)


def test_csv_reads_back_as_the_table(tidy, texts):
    for name, table in tidy.tables.items():
        back = from_csv(texts[f"{name}.csv"])
        assert list(back.columns) == table.column_names
        for column in table.column_names:
            cells, wanted = back[column].tolist(), table.column(column).to_pylist()
            kind = table.schema.field(column).type
            if pa.types.is_floating(kind):
                got = [None if cell is None else float(cell) for cell in cells]
            elif pa.types.is_integer(kind):
                got = [None if cell is None else int(cell) for cell in cells]
            elif pa.types.is_boolean(kind):
                got = [{"true": True, "false": False, None: None}[cell] for cell in cells]
            elif pa.types.is_date(kind):
                got = [None if cell is None else datetime.date.fromisoformat(cell) for cell in cells]
            else:
                got = cells
            assert got == wanted, f"{name}.{column}"


def test_parquet_reads_back_as_the_table_with_its_metadata(tidy, columns):
    for name, table in tidy.tables.items():
        back = columns[f"{name}.parquet"]
        assert back.equals(table), name
        said = {key.decode(): value.decode() for key, value in back.schema.metadata.items()}
        assert said["as_of"] == "2026-11-01"
        assert (said["forecast_number"], said["fit_number"], said["program_version"]) == ("1", "1", __version__)
        assert said["depot"] == "Hill"
        for field in back.schema:
            assert field.metadata[b"meaning"], f"{name}.{field.name}"
    play = columns["readings.parquet"].schema.field("play_mm")
    assert play.metadata[b"unit"] == b"mm"


def test_xlsx_reads_back_as_the_table(tidy, sheets):
    assert list(sheets) == ["about", "dictionary", *tidy.tables]
    for name, table in tidy.tables.items():
        head, *rows = sheets[name]
        assert head == table.column_names
        assert len(rows) == table.num_rows
        for at, column in enumerate(table.column_names):
            wanted = table.column(column).to_pylist()
            got = [None if row[at] == "" else row[at] for row in rows]
            if pa.types.is_floating(table.schema.field(column).type):
                # a workbook keeps 16 digits
                np.testing.assert_allclose(
                    np.array(got, dtype=float), np.array(wanted, dtype=float), rtol=1e-15, err_msg=f"{name}.{column}"
                )
            else:
                assert got == wanted, f"{name}.{column}"


def test_every_kind_comes_with_its_dictionary_and_what_it_is_as_of(tidy, texts, columns, sheets):
    about = about_table(tidy)
    assert {"as_of", "forecast_number", "fit_number", "program_version", "written_by", "text", "caution"} <= set(
        about["name"]
    )
    from_text = from_csv(texts["about.csv"])
    assert from_text["name"].tolist() == about["name"].tolist()
    assert [value or "" for value in from_text["value"]] == about["value"].tolist()
    assert columns["about.parquet"].to_pandas()["value"].tolist() == about["value"].tolist()
    assert [row[1] for row in sheets["about"][1:]] == about["value"].tolist()
    described = list(zip(tidy.dictionary["table_name"], tidy.dictionary["column_name"], strict=True))
    there = [(name, column) for name, table in tidy.tables.items() for column in table.column_names]
    assert described == there
    for frame in (from_csv(texts["dictionary.csv"]), columns["dictionary.parquet"].to_pandas()):
        assert list(zip(frame["table_name"], frame["column_name"], strict=True)) == there
    assert [(row[0], row[1]) for row in sheets["dictionary"][1:]] == there


def test_hostile_cells_are_inert_and_come_back_as_they_were(tidy):
    hostile = small(tidy, HOSTILE)
    text = tidy_files(hostile, "csv")["vehicles.csv"]
    raw = pd.read_csv(io.BytesIO(text), dtype=str, keep_default_na=False)["unit"].tolist()
    assert not [cell for cell in raw if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    assert from_csv(text)["unit"].tolist() == HOSTILE
    assert pq.read_table(io.BytesIO(tidy_files(hostile, "parquet")["vehicles.parquet"])).equals(
        hostile.tables["vehicles"]
    )
    data = tidy_files(hostile, "xlsx")[workbook_name(hostile)]
    sheet = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_name("vehicles")
    assert [row[0] for row in sheet.to_python()[1:]] == [cell or "" for cell in HOSTILE]
    with zipfile.ZipFile(io.BytesIO(data)) as pack:
        assert not [name for name in pack.namelist() if b"<f>" in pack.read(name) or b"hyperlink" in pack.read(name)]


def test_inert_leaves_numbers_alone_and_is_undone():
    frame = pd.DataFrame({"text": HOSTILE, "number": np.linspace(-6.0, 6.0, len(HOSTILE))})
    made = for_sheet(frame)
    pd.testing.assert_series_equal(made["number"], frame["number"])
    pd.testing.assert_frame_equal(as_it_was(made), frame)


def test_the_same_tables_give_the_same_bytes(tidy):
    some = small(tidy, ["A", "B"])
    for kind in ("csv", "parquet"):
        assert archive(some, kind) == archive(some, kind)
    assert tidy_files(some, "xlsx") == tidy_files(some, "xlsx")


def test_what_a_workbook_cannot_hold_is_told(tidy, monkeypatch):
    with pytest.raises(InputError, match=r"table vehicles, column unit, row 1: .*32,768 characters"):
        tidy_files(small(tidy, ["x" * 32_768]), "xlsx")
    monkeypatch.setattr(tidy_workbook, "ROWS", 2)
    with pytest.raises(InputError, match="3 rows, and a sheet holds 2"):
        tidy_files(small(tidy, ["a", "b", "c"]), "xlsx")
    assert csv_frame(small(tidy, ["x" * 32_768]).tables["vehicles"])["unit"].str.len().tolist() == [32_768]


def test_a_day_that_a_workbook_has_no_number_for_is_text(tidy):
    dictionary = tidy.dictionary[
        (tidy.dictionary["table_name"] == "vehicles") & (tidy.dictionary["column_name"] == "in_service_date")
    ]
    days = [datetime.date(1899, 5, 5), datetime.date(1900, 2, 28), datetime.date(1901, 1, 1)]
    table = pa.table({"in_service_date": pa.array(days, pa.date32())})
    old = dataclasses.replace(tidy, tables={"vehicles": table}, dictionary=dictionary, fleet_wide=())
    data = tidy_files(old, "xlsx")[workbook_name(old)]
    sheet = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_name("vehicles").to_python()
    assert [row[0] for row in sheet[1:]] == ["1899-05-05", "1900-02-28", days[2]]


def test_files_are_written_where_they_are_asked_for(tidy, tmp_path):
    some = small(tidy, ["A"])
    folder = tmp_path / "deep" / "folder"
    assert write_tidy(some, folder) == {"vehicles": folder / "vehicles.csv"}
    assert sorted(file.name for file in folder.iterdir()) == ["about.csv", "dictionary.csv", "vehicles.csv"]
    assert write_tidy(some, folder, "xlsx") == {"vehicles": folder / "fleetwear_2026-11-01.xlsx"}
    write_tidy(some, tmp_path / "a.zip", "parquet")
    with zipfile.ZipFile(tmp_path / "a.zip") as pack:
        assert pack.namelist() == ["vehicles.parquet", "about.parquet", "dictionary.parquet"]
    write_tidy(some, tmp_path / "book.xlsx")
    book = python_calamine.CalamineWorkbook.from_path(str(tmp_path / "book.xlsx"))
    assert book.sheet_names == ["about", "dictionary", "vehicles"]


@pytest.mark.parametrize(
    ("name", "kind", "words"),
    [
        ("one.csv", None, "Name a folder"),
        ("book.xlsx", "csv", "is a workbook"),
        ("pack.zip", "xlsx", "is an archive"),
        ("folder", "ods", "no 'ods' files"),
    ],
)
def test_what_does_not_go_together_is_told(tidy, tmp_path, name, kind, words):
    with pytest.raises(InputError, match=words):
        write_tidy(small(tidy, ["A"]), tmp_path / name, kind)


def test_a_place_that_cannot_be_written_is_told(tidy, tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(InputError, match="cannot be written"):
        write_tidy(small(tidy, ["A"]), tmp_path / "file" / "folder")
