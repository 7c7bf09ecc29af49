"""Files read as tables of text, with each row's number as a person sees it; nothing is interpreted here."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

_ROWS_A_CHUNK = 5_000
_BIGGEST_CELL = 1_000_000
_CSV_SUFFIXES = {".csv", ".txt"}
_XLSX_SUFFIXES = {".xlsx", ".xlsm"}
_JSON_SUFFIXES = {".json"}


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
    """

    path: Path
    name: str | None
    header: tuple[str, ...]
    header_row: int
    cells: pa.Table
    row_numbers: pa.ChunkedArray
    broken: tuple[BrokenRow, ...] = ()
    names_table: bool = False
    """Whether the sheet's name is that of a table."""

    @property
    def where(self) -> str:
        """The place for messages."""
        return self.path.name if self.name is None else f"{self.path.name}, sheet {self.name!r}"

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


def read_sheets(path: Path) -> list[Sheet]:
    """Return the tables of a CSV, XLSX or JSON file; hidden and blank sheets are left out.

    Raises
    ------
    InputError
        If the file is missing, empty, of another kind, in another encoding, or has a header twice.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError("there is no such file", where=str(path), mend="Check the name and the folder.")
    suffix = path.suffix.lower()
    if suffix in _CSV_SUFFIXES:
        return [_read_csv(path)]
    if suffix in _XLSX_SUFFIXES:
        return _read_xlsx(path)
    if suffix in _JSON_SUFFIXES:
        from fleetwear.intake.json_tables import read_json

        return read_json(path)
    raise InputError(
        f"files ending in {suffix or 'nothing'!r} are not read",
        where=path.name,
        mend="Save it as CSV (UTF-8), as XLSX, or as JSON tables.",
    )


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of the file's bytes, in hexadecimal."""
    with Path(path).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _read_csv(path: Path) -> Sheet:
    data = path.read_bytes()
    if not data.strip():
        raise InputError("the file is empty", where=path.name, mend="It needs a header and rows below it.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"the bytes in line {line} are not UTF-8 text",
            where=path.name,
            mend="Save the file as CSV in the encoding UTF-8.",
        ) from error
    if "\x00" in text:
        raise InputError("this is not a text file", where=path.name, mend="Save it as CSV (UTF-8) or XLSX.")
    records = _records(text, path)
    first = next((record for record in records if any(cell.strip() for cell in record[1])), None)
    if first is None:
        raise InputError("the file is blank", where=path.name, mend="It needs a header and rows below it.")
    return gather(path, None, *first, records)


def _records(text: str, path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with the number of its first line."""
    header_line = text.lstrip()[:10_000].partition("\n")[0]
    delimiter = ";" if header_line.count(";") > header_line.count(",") else ","
    previous_limit = csv.field_size_limit(_BIGGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    first_line = 1
    try:
        for record in reader:
            yield first_line, record
            first_line = reader.line_num + 1
    except csv.Error as error:
        raise InputError(
            f"the record that begins in line {first_line} cannot be read: {error}",
            where=path.name,
            mend='Look for a quote that is not closed; a quote inside a quoted cell is written "".',
        ) from error
    finally:
        csv.field_size_limit(previous_limit)


def _read_xlsx(path: Path) -> list[Sheet]:
    import python_calamine as calamine

    try:
        book = calamine.CalamineWorkbook.from_path(str(path))
        visible = [
            sheet.name
            for sheet in book.sheets_metadata
            if sheet.visible == calamine.SheetVisibleEnum.Visible and sheet.typ == calamine.SheetTypeEnum.WorkSheet
        ]
        tables = [(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False)) for name in visible]
    except calamine.PasswordError as error:
        raise InputError(
            "the workbook is protected by a password", where=path.name, mend="Save it without one."
        ) from error
    except Exception as error:  # the reader's errors have no root of their own
        raise InputError(
            f"the workbook cannot be read: {error}",
            where=path.name,
            mend="Open it in a spreadsheet program and save it again as XLSX, or as CSV (UTF-8).",
        ) from error
    sheets = []
    for name, rows in tables:
        records = ((number, [_cell_text(cell) for cell in row]) for number, row in enumerate(rows, start=1))
        first = next((record for record in records if any(cell.strip() for cell in record[1])), None)
        if first is not None:
            sheets.append(gather(path, name, *first, records))
    if not sheets:
        raise InputError(
            "no visible sheet holds anything", where=path.name, mend="It needs a header and rows below it."
        )
    return sheets


def _cell_text(cell: Any) -> str:
    """Return a spreadsheet cell as text, without losing digits."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 2**53 else repr(cell)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, (date, time)):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        return str(cell)
    return "" if cell is None else str(cell)


def gather(
    path: Path,
    name: str | None,
    header_row: int,
    header: list[str],
    records: Iterator[tuple[int, list[str]]],
) -> Sheet:
    """Return the sheet of a header and the records after it."""
    where = path.name if name is None else f"{path.name}, sheet {name!r}"
    header = _check_header(header, where=where)
    width = len(header)
    columns = _Columns(width)
    broken: list[BrokenRow] = []
    for number, row in records:
        if len(row) == width and row[0].strip():
            columns.add(number, row)
            continue
        if not any(cell.strip() for cell in row):
            continue
        if len(row) > width and not any(cell.strip() for cell in row[width:]):
            row = row[:width]
        if len(row) == width:
            columns.add(number, row)
            continue
        few_or_many = "more" if len(row) > width else "fewer"
        reason = (
            f"the row has {len(row)} cells, {few_or_many} than the header's {width}: put a cell that holds "
            "the delimiter in quotes, and keep the delimiters of empty cells"
        )
        broken.append(BrokenRow(number, tuple(row), reason))
    cells, row_numbers = columns.finish()
    return Sheet(path, name, tuple(header), header_row, cells, row_numbers, tuple(broken))


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
