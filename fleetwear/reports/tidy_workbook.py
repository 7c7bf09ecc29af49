"""Tables to take away as one XLSX workbook: what they are as of, their dictionary, and a sheet each."""

from __future__ import annotations

import io
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from fleetwear.errors import InputError
from fleetwear.planning.tidy_tables import ABOUT, DICTIONARY

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from fleetwear.planning.tidy_tables import Tidy

ROWS = 1_048_575
"""Rows that a sheet holds under its headers (ISO/IEC 29500 leaves the limit to the program; spreadsheets have 2^20)."""
LONGEST = 32_767
"""Characters that a cell holds."""
_FIRST_YEAR = 1901
"""Days before it are written as text: workbooks have none before 1900, and count that as a leap year."""
_WIDEST, _NARROWEST = 60, 11
_LOOKED_AT = 400
"""Rows that set the width of a column."""


def workbook(tidy: Tidy, about: pd.DataFrame) -> bytes:
    """Return the workbook; no cell is ever a formula or a link, and the same tables give the same bytes.

    Raises
    ------
    InputError
        If a table has more rows than a sheet, or a cell more characters than a cell, can hold.
    """
    import xlsxwriter

    buffer = io.BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "in_memory": True}
    with xlsxwriter.Workbook(buffer, plain) as book:
        book.set_properties({"created": tidy.made_at, "title": "fleetwear", "comments": _as_of(tidy)})
        forms = {
            "head": book.add_format({"bold": True, "text_wrap": True, "valign": "top"}),
            "date": book.add_format({"num_format": "yyyy-mm-dd", "align": "left"}),
            "moment": book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss", "align": "left"}),
            "wrap": book.add_format({"text_wrap": True, "valign": "top"}),
        }
        _sheet(book, ABOUT, {name: about[name].tolist() for name in about.columns}, forms, widths=[28, 100])
        meanings = {name: tidy.dictionary[name].tolist() for name in tidy.dictionary.columns}
        cleaned = {name: [None if cell != cell else cell for cell in cells] for name, cells in meanings.items()}
        _sheet(book, DICTIONARY, cleaned, forms)
        for name, table in tidy.tables.items():
            if table.num_rows > ROWS:
                raise InputError(
                    f"table {name} has {table.num_rows:,} rows, and a sheet holds {ROWS:,}",
                    mend="Take it away as CSV or Parquet, or one depot at a time.",
                )
            _sheet(book, name, {column: table.column(column).to_pylist() for column in table.column_names}, forms)
    return buffer.getvalue()


def _as_of(tidy: Tidy) -> str:
    said = tidy.about
    return f"As of {said['as_of']}, forecast {said['forecast_number']}, fit {said['fit_number']}"


def _sheet(
    book: Any,
    name: str,
    columns: dict[str, list[Any]],
    forms: dict[str, Any],
    *,
    widths: Sequence[int] | None = None,
) -> None:
    page = book.add_worksheet(name)
    rows = max((len(cells) for cells in columns.values()), default=0)
    for at, (header, cells) in enumerate(columns.items()):
        page.write_string(0, at, header, forms["head"])
        for row, cell in enumerate(cells, start=1):
            if cell is not None:
                _write(page, row, at, cell, forms, where=f"table {name}, column {header}, row {row}", wrap=bool(widths))
        longest = max((len(str(cell)) for cell in cells[:_LOOKED_AT] if cell is not None), default=0)
        wide = max(min(longest, _WIDEST), _NARROWEST, min(len(header), 18)) + 1
        page.set_column(at, at, widths[at] if widths else wide)
    page.freeze_panes(1, 0 if widths else 1)
    if columns:
        page.autofilter(0, 0, rows, len(columns) - 1)


def _write(page: Any, row: int, at: int, cell: object, forms: dict[str, Any], *, where: str, wrap: bool) -> None:
    if isinstance(cell, bool):
        page.write_boolean(row, at, cell)
    elif isinstance(cell, int | float):
        if cell == cell:
            page.write_number(row, at, cell)
    elif isinstance(cell, date) and cell.year < _FIRST_YEAR:
        page.write_string(row, at, cell.isoformat())
    elif isinstance(cell, datetime):
        page.write_datetime(row, at, cell, forms["moment"])
    elif isinstance(cell, date):
        page.write_datetime(row, at, cell, forms["date"])
    else:
        text = str(cell)
        if len(text) > LONGEST:
            raise InputError(
                f"a cell has {len(text):,} characters, and a cell of a workbook holds {LONGEST:,}",
                where=where,
                mend="Take the table away as CSV or Parquet.",
            )
        page.write_string(row, at, text, forms["wrap"] if wrap else None)
