"""Files read as tables of text, with each row's number as a person sees it; nothing is interpreted here."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from fleetwear.errors import InputError
from fleetwear.intake.clean_csv import first_line, read_clean
from fleetwear.intake.column_maps import ENCODINGS
from fleetwear.intake.notation import Notation
from fleetwear.intake.sizes import MAX_CELL_CHARACTERS, MAX_ROWS, check_file, check_row, check_shape
from fleetwear.intake.totals import TotalRows

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fleetwear.intake.column_maps import ColumnMap

_ROWS_A_CHUNK = 5_000
_CSV_SUFFIXES = {".csv", ".txt"}
_XLSX_SUFFIXES = {".xlsx", ".xlsm"}
_JSON_SUFFIXES = {".json"}
_PARQUET_SUFFIXES = {".parquet"}


@dataclass(frozen=True)
class BrokenRow:
    """A row that does not have the header's number of cells."""

    number: int
    cells: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class Sheet:
    """One table of text cells.

    Attributes
    ----------
    path, name
        The file, and the sheet's name in it; a CSV file has one sheet without a name, and in a JSON file the name
        is that of the table.
    header, header_row
        The header's cells, and the number of the row they stand in.
    cells
        One string column for each header cell, by position: "0", "1", ... (n rows).
    row_numbers
        The row numbers as a person sees them (n rows).
    broken
        The rows that could not be put under the header.
    shown
        The file as it was handed over, for messages.
    notation
        How dates, numbers and words are written in it.
    own_width
        How many of the columns, the first ones, stand in the sheet; what a column map adds follows them.
    spread_over
        For a sheet with a column per joint: the header that each row here stands under in the sheet (n rows).
    written_header
        The header as it stands in the sheet, which `broken` rows are under; None: as here.
    left_out
        What was not read and why, in sentences: the workbook's hidden sheets.
    names_table
        Whether the sheet's name is that of a table.
    """

    path: Path
    name: str | None
    header: tuple[str, ...]
    header_row: int
    cells: pa.Table
    row_numbers: pa.ChunkedArray
    broken: tuple[BrokenRow, ...] = ()
    shown: str = ""
    notation: Notation = field(default_factory=Notation)
    own_width: int | None = None
    spread_over: tuple[str, ...] | None = None
    written_header: tuple[str, ...] | None = None
    left_out: tuple[str, ...] = ()
    names_table: bool = False

    @property
    def where(self) -> str:
        """The place for messages."""
        return _where(self.shown or self.path.name, self.name)

    def as_written(self, places: Sequence[int]) -> list[dict[str, str]]:
        """Return rows as they stand in the sheet, by header; of a row with a column per joint, what concerns it."""
        own = self.cells.take(pa.array(places, pa.int64())).select(range(self.own_width or len(self.header)))
        columns = [column.to_pylist() for column in own.columns]
        rows = [dict(zip(self.header, row, strict=False)) for row in zip(*columns, strict=True)]
        if self.spread_over is not None:
            play = self.cells.column(self.header.index(PLAY_OF_JOINT)).take(pa.array(places, pa.int64())).to_pylist()
            for place, row, cell in zip(places, rows, play, strict=True):
                row[self.spread_over[place]] = cell
        return rows

    @property
    def rows_read(self) -> int:
        """How many rows stand under the header."""
        return len(self.row_numbers) + len(self.broken)


@dataclass
class _Columns:
    """Rows gathered into string columns, a chunk at a time so that a large file stays small in memory."""

    width: int
    rows: list[list[str]] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    chunks: list[list[pa.Array]] = field(default_factory=list)
    number_chunks: list[pa.Array] = field(default_factory=list)

    def add(self, number: int, row: list[str]) -> None:
        self.rows.append(row)
        self.numbers.append(number)
        if len(self.rows) >= _ROWS_A_CHUNK:
            self._flush()

    def _flush(self) -> None:
        if self.rows:
            self.chunks.append([pa.array(column, pa.string()) for column in zip(*self.rows, strict=True)])
            self.number_chunks.append(pa.array(self.numbers, pa.int64()))
            self.rows, self.numbers = [], []

    def finish(self) -> tuple[pa.Table, pa.ChunkedArray]:
        self._flush()
        columns = [pa.chunked_array([chunk[i] for chunk in self.chunks], pa.string()) for i in range(self.width)]
        return (
            pa.table(columns, names=[str(i) for i in range(self.width)]),
            pa.chunked_array(self.number_chunks, pa.int64()),
        )


PLAY_OF_JOINT = "play under a joint's header"
"""The column that holds the plays of a sheet with a column per joint, once each stands in a row of its own."""


def read_sheets(path: Path, *, shown: str = "", columns: ColumnMap | None = None) -> list[Sheet]:
    """Return the tables of a CSV, XLSX, JSON or Parquet file.

    Hidden and blank sheets of a workbook, and one called "how to", are left out.

    Parameters
    ----------
    path
        The file.
    shown
        Its name for messages, unless it is the file's own.
    columns
        How the file is written, where that is stated; the headers are not looked at here.

    Raises
    ------
    InputError
        If the file is missing, empty, too large, of another kind, in another encoding, or has a header twice.
    """
    path = Path(path)
    shown = shown or path.name
    if not path.is_file():
        raise InputError("there is no such file", where=str(path), mend="Check the name and the folder.")
    check_file(path, where=shown)
    suffix = path.suffix.lower()
    if suffix in _CSV_SUFFIXES:
        return [_read_csv(path, shown, columns)]
    if suffix in _XLSX_SUFFIXES:
        return _read_xlsx(path, shown, columns)
    if suffix in _JSON_SUFFIXES:
        from fleetwear.intake.json_tables import read_json

        return read_json(path, shown=shown)
    if suffix in _PARQUET_SUFFIXES:
        return [_read_parquet(path, shown, columns)]
    raise InputError(
        f"files ending in {suffix or 'nothing'!r} are not read",
        where=shown,
        mend="Save it as CSV (UTF-8), as XLSX, as Parquet, or as JSON tables.",
    )


def _where(shown: str, sheet: str | None) -> str:
    return shown if sheet is None else f"{shown}, sheet {sheet!r}"


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of the file's bytes, in hexadecimal."""
    with Path(path).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _read_csv(path: Path, shown: str, columns: ColumnMap | None) -> Sheet:
    data = path.read_bytes()
    if not data or data.isspace():
        raise InputError("the file is empty", where=shown, mend="It needs a header and rows below it.")
    if columns is None and (clean := _clean_csv(path, shown, data)) is not None:
        return clean
    encoding = (columns.encoding if columns else "") or "utf-8"
    try:
        text = data.decode(ENCODINGS[encoding])
    except UnicodeError as error:
        line = data.count(b"\n", 0, getattr(error, "start", 0)) + 1
        raise InputError(
            f"the bytes in line {line} are not {encoding.upper()} text",
            where=shown,
            mend="Save the file as CSV in the encoding UTF-8, or state its encoding in a column map.",
        ) from error
    del data
    if "\x00" in text:
        raise InputError("this is not a text file", where=shown, mend="Save it as CSV (UTF-8) or XLSX.")
    header_row = columns.header_rows[-1] if columns and columns.header_rows else 1
    records = _records(text, shown, columns.delimiter if columns else "", header_row)
    return gather(path, shown, None, records, columns, merged=None)


def _clean_csv(path: Path, shown: str, data: bytes) -> Sheet | None:
    line = first_line(data)
    if line is None or len(line) > MAX_CELL_CHARACTERS:
        return None
    delimiter = _delimiter(line[:10_000])
    written = line.split(delimiter)
    check_row(1, written, where=shown)
    header = _check_header(written, where=shown)
    cells = read_clean(data, delimiter, header) if len(header) == len(written) else None
    if cells is None:
        return None
    numbers = pa.chunked_array([pa.array(np.arange(2, cells.num_rows + 2))])
    return Sheet(path, None, tuple(header), 1, cells, numbers, shown=shown)


def _delimiter(header_line: str) -> str:
    return max(",;\t", key=lambda each: (header_line.count(each), each == ","))


def _records(text: str, shown: str, delimiter: str, header_row: int) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with its number as a spreadsheet counts rows: a record over two lines is one row."""
    if not delimiter:
        header_line = text.lstrip("\n\r \xa0")[:10_000].partition("\n")[0]
        if header_row > 1:
            header_line = "".join(text.splitlines()[header_row - 1 : header_row])
        delimiter = _delimiter(header_line)
    previous_limit = csv.field_size_limit(MAX_CELL_CHARACTERS)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    first_line = 1
    try:
        for number, record in enumerate(reader, start=1):
            yield number, record
            first_line = reader.line_num + 1
    except csv.Error as error:
        raise InputError(
            f"the record that begins in line {first_line} cannot be read: {error}",
            where=shown,
            mend=(
                'Look for a quote that is not closed; a quote inside a quoted cell is written "". '
                f"A cell may hold {MAX_CELL_CHARACTERS:,} characters."
            ),
        ) from error
    finally:
        csv.field_size_limit(previous_limit)


def _read_parquet(path: Path, shown: str, columns: ColumnMap | None) -> Sheet:
    from fleetwear.intake.parquet import read_parquet

    names, cells, numbers = read_parquet(path, shown=shown)
    header = _check_header(names, where=shown)
    if len(header) != len(names):
        raise InputError("the last column has no name", where=shown, mend="Give every column its header's name.")
    notation = columns.notation if columns else Notation()
    return Sheet(path, None, tuple(header), 0, cells, numbers, shown=shown, notation=notation)


def _read_xlsx(path: Path, shown: str, columns: ColumnMap | None) -> list[Sheet]:
    from fleetwear.intake.workbooks import read_workbook

    decimal = columns.notation.decimal if columns else "."
    book = read_workbook(path, where=shown, only=columns.sheet if columns else None, decimal=decimal)
    grids = [grid for grid in book.grids if any(cell.strip() for row in grid.rows for cell in row)]
    if not grids:
        raise InputError("no visible sheet holds anything", where=shown, mend="It needs a header and rows below it.")
    if columns is not None and len(grids) > 1:
        raise InputError(
            f"the workbook has {len(grids)} sheets: {', '.join(repr(grid.name) for grid in grids)}",
            where=shown,
            mend=f'Say in {columns.name} which one it is for, like sheet = "{grids[0].name}".',
        )
    left_out = tuple(f"sheet {name!r} is hidden and was left out" for name in book.hidden)
    return [
        replace(
            gather(path, shown, grid.name, iter(enumerate(grid.rows, start=1)), columns, merged=grid.merged),
            left_out=left_out if number == 0 else (),
        )
        for number, grid in enumerate(grids)
    ]


def gather(
    path: Path,
    shown: str,
    name: str | None,
    records: Iterator[tuple[int, list[str]]],
    columns: ColumnMap | None,
    *,
    merged: Sequence[tuple[int, int, int, int]] | None,
) -> Sheet:
    """Return the sheet that records hold: a header, and the rows under it."""
    where = _where(shown, name)
    header_row, header = _header(records, columns, where=where, merged=merged)
    header = _check_header(header, where=where)
    width = len(header)
    gathered = _Columns(width)
    broken: list[BrokenRow] = []
    totals = TotalRows()
    for number, row in records:
        if len(row) != width or max(map(len, row)) > MAX_CELL_CHARACTERS:
            check_row(number, row, where=where)
        if number > MAX_ROWS:
            check_shape(number, width, where=where)
        if not any(cell.strip() for cell in row):
            continue
        if len(row) > width and not any(cell.strip() for cell in row[width:]):
            row = row[:width]
        if totals.hold_back(number, row):
            continue
        for held_number, held in totals.release():
            _place(gathered, broken, held_number, held, width)
        _place(gathered, broken, number, row, width)
    broken += [BrokenRow(number, tuple(row), totals.reason(row)) for number, row in totals.release()]
    cells, row_numbers = gathered.finish()
    notation = columns.notation if columns else Notation()
    return Sheet(
        path, name, tuple(header), header_row, cells, row_numbers, tuple(broken), shown=shown, notation=notation
    )


def _place(gathered: _Columns, broken: list[BrokenRow], number: int, row: list[str], width: int) -> None:
    if len(row) == width:
        gathered.add(number, row)
        return
    few_or_many = "more" if len(row) > width else "fewer"
    reason = (
        f"the row has {len(row)} cells, {few_or_many} than the header's {width}: put a cell that holds "
        "the delimiter in quotes, and keep the delimiters of empty cells"
    )
    broken.append(BrokenRow(number, tuple(row), reason))


def _header(
    records: Iterator[tuple[int, list[str]]],
    columns: ColumnMap | None,
    *,
    where: str,
    merged: Sequence[tuple[int, int, int, int]] | None,
) -> tuple[int, list[str]]:
    """Return the number of the header's last row, and the header, its rows joined."""
    wanted = columns.header_rows if columns else ()
    map_name = columns.name if columns else ""
    found: list[list[str]] = []
    for number, row in records:
        check_row(number, row, where=where)
        if number in wanted or (not wanted and any(cell.strip() for cell in row)):
            found.append(row)
            if not wanted or number == wanted[-1]:
                return number, _joined(found, number - len(found), merged)
    if wanted:
        raise InputError(
            f"there is no row {wanted[-1]}, where the column map says that the header stands",
            where=f"{where}, {map_name}",
            mend="Correct header rows in the column map; rows count from 1.",
        )
    raise InputError("the file is blank", where=where, mend="It needs a header and rows below it.")


def _joined(rows: list[list[str]], above: int, merged: Sequence[tuple[int, int, int, int]] | None) -> list[str]:
    """Return one header of several rows: what stands above, then what stands below it.

    A cell that is merged with its neighbours speaks for all of them. A CSV file does not say what was merged: there a
    blank cell in an upper row, right of one with text, is taken to go on with it where the row below holds something.
    """
    if len(rows) == 1:
        return rows[0]
    width = max(len(row) for row in rows)
    filled = [[*(cell.strip() for cell in row), *[""] * (width - len(row))] for row in rows]
    if merged is None:
        for upper, lower in pairwise(filled):
            for place in range(1, width):
                if not upper[place] and lower[place]:
                    upper[place] = upper[place - 1]
    else:
        for top, left, bottom, right in merged:
            for row in range(max(top, above), min(bottom, above + len(rows) - 1) + 1):
                for place in range(left, min(right, width - 1) + 1):
                    if top >= above and row == top:
                        filled[row - above][place] = filled[top - above][left]
    return [" ".join(dict.fromkeys(row[place] for row in filled if row[place])) for place in range(width)]


def _check_header(header: list[str], *, where: str) -> list[str]:
    """Return the header without blank cells at its end; no name may stand there twice."""
    cleaned = [" ".join(cell.split()) for cell in header]
    while cleaned and not cleaned[-1]:
        cleaned.pop()
    seen: dict[str, int] = {}
    for i, cell in enumerate(cleaned):
        if cell and cell.casefold() in seen:
            raise InputError(
                f"the header {cell!r} stands twice, in columns {seen[cell.casefold()] + 1} and {i + 1}",
                where=where,
                mend="Rename or remove one of them.",
            )
        seen[cell.casefold()] = i
    return [cell or f"column {i + 1}" for i, cell in enumerate(cleaned)]
