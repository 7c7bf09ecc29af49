from __future__ import annotations

from datetime import date, datetime, time

import pytest
import xlsxwriter

from fleetwear.errors import InputError
from fleetwear.intake.sheets import read_sheets


def rows(sheet):
    columns = [column.to_pylist() for column in sheet.cells.columns]
    return list(zip(sheet.row_numbers.to_pylist(), *columns, strict=True))


def csv_sheet(tmp_path, data):
    path = tmp_path / "x.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    (sheet,) = read_sheets(path)
    return sheet


def test_row_numbers_are_those_of_a_spreadsheet(tmp_path):
    sheet = csv_sheet(tmp_path, '﻿a,b\r\n1,"two\nlines"\r\n\r\n,,\r\n3,4\r\n')
    assert sheet.header == ("a", "b")
    assert rows(sheet) == [(2, "1", "two\nlines"), (5, "3", "4")]


def test_semicolons_are_sniffed_from_the_header(tmp_path):
    assert rows(csv_sheet(tmp_path, "a;b\n1,5;2\n")) == [(2, "1,5", "2")]


def test_rows_with_other_numbers_of_cells_are_kept_apart(tmp_path):
    sheet = csv_sheet(tmp_path, "a,b\n1,2,3\n1\n1,2,\n")
    assert rows(sheet) == [(4, "1", "2")]
    assert [(row.number, row.cells) for row in sheet.broken] == [(2, ("1", "2", "3")), (3, ("1",))]
    assert "3 cells, more than the header's 2" in sheet.broken[0].reason
    assert "1 cells, fewer than" in sheet.broken[1].reason
    assert sheet.rows_read == 3


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the file is empty"),
        (b"\n\n,,\n", "the file is blank"),
        (b"a,b\n1,\xe9\n", "line 2 are not UTF-8"),
        (b"a,b\n1,\x00\n", "not a text file"),
        (b"a,A\n1,2\n", "stands twice, in columns 1 and 2"),
        (b'a,b\n1,2\n3,"4\n5,6\n', "begins in line 3"),
        (b'a,b\n1,"2"x\n', "begins in line 2"),
    ],
)
def test_unreadable_files_say_what_and_where(tmp_path, data, says):
    with pytest.raises(InputError, match=says) as caught:
        csv_sheet(tmp_path, data)
    assert caught.value.mend
    assert "x.csv" in caught.value.where


@pytest.mark.parametrize("name", ["x.pdf", "x.xls", "x"])
def test_other_kinds_of_files_are_refused(tmp_path, name):
    (tmp_path / name).write_text("a")
    with pytest.raises(InputError, match="are not read"):
        read_sheets(tmp_path / name)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_sheets(tmp_path / "x.csv")


def test_a_workbook_gives_text_without_losing_digits(tmp_path):
    path = tmp_path / "x.xlsx"
    with xlsxwriter.Workbook(path) as book:
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        stamp = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        book.add_worksheet("blank")
        hidden = book.add_worksheet("hidden")
        hidden.write_row(0, 0, ["not", "a", "table"])
        hidden.hide()
        sheet = book.add_worksheet("data")
        sheet.write_row(2, 0, ["a", "b", "c", "d", "e"])
        sheet.write_row(4, 0, [12.0, 0.123456789012345, "007", True, ""])
        sheet.write_datetime(5, 0, datetime(2024, 3, 2), day)
        sheet.write_datetime(5, 1, datetime.combine(date(2024, 3, 2), time(14, 30)), stamp)
        sheet.write(5, 2, 123456789012)
    (found,) = read_sheets(path)
    assert (found.name, found.header_row) == ("data", 3)
    assert rows(found) == [
        (5, "12", "0.123456789012345", "007", "yes", ""),
        (6, "2024-03-02", "2024-03-02 14:30:00", "123456789012", "", ""),
    ]


def test_a_damaged_workbook_is_refused(tmp_path):
    (tmp_path / "x.xlsx").write_bytes(b"PK not really")
    with pytest.raises(InputError, match="cannot be read"):
        read_sheets(tmp_path / "x.xlsx")
