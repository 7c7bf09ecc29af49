"""How large a file may be, and why; checked before anything is parsed, so that no file can exhaust the machine.

The largest fleets that this program is made for (10,000 vehicles with 40 joints) write some 100,000 readings a
month, about 10 MB of CSV.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from typing import TYPE_CHECKING

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path
    from typing import BinaryIO

MAX_FILE_BYTES = 500_000_000
"""Four years of readings of such a fleet; read whole, it needs about four times this memory."""
MAX_ROWS = 5_000_000
"""As many rows as such a file holds."""
MAX_COLUMNS = 702
"""Columns A to ZZ; the widest table of the contract has 20, a wide sheet one a joint and direction."""
MAX_CELLS = 25_000_000
"""Of a workbook's sheet, rows times columns: a full sheet of the widest table. One cell in the last corner would
otherwise be held in memory as 17,000 million."""
MAX_CELL_CHARACTERS = 32_767
"""The most that a cell of a workbook can hold, as spreadsheet programs document."""
MAX_EXPANDED_BYTES = 1_500_000_000
"""All of a workbook's parts, expanded; a full sheet of 1,048,576 rows and 20 columns has about 1 GB of XML."""
MAX_EXPANSION = 300
"""Expanded bytes to one stored, for parts above `_SMALL_PART`; sheets of repeated values reach about 50."""
MAX_PARTS = 10_000
"""Members of a workbook's archive."""
MAX_MAP_BYTES = 200_000
"""A column map with an entry for each of 702 columns has about 60 kB."""

_SMALL_PART = 10_000_000
_PIECE = 1 << 20
_SPLIT = "Split it into several files."


def check_file(path: Path, *, where: str, most: int = MAX_FILE_BYTES) -> None:
    """Check a file's size.

    Raises
    ------
    InputError
        If it is too large.
    """
    size = path.stat().st_size
    if size > most:
        raise InputError(f"the file has {size:,} bytes, more than {most:,}", where=where, mend=_SPLIT)


def check_shape(rows: int, columns: int, *, where: str) -> None:
    """Check how many rows and columns a sheet has.

    Raises
    ------
    InputError
        If there are too many.
    """
    if columns > MAX_COLUMNS:
        raise InputError(
            f"a row has {columns:,} columns, more than {MAX_COLUMNS}",
            where=where,
            mend="Keep the columns that are needed; look for stray cells far to the right.",
        )
    if rows > MAX_ROWS:
        raise InputError(f"there are more than {MAX_ROWS:,} rows", where=where, mend=_SPLIT)


def check_expanded(size: int, *, where: str) -> None:
    """Check how many bytes a packed file says that its cells need.

    Raises
    ------
    InputError
        If those are too many.
    """
    if size > MAX_EXPANDED_BYTES:
        raise InputError(
            f"the file expands to {size:,} bytes, more than {MAX_EXPANDED_BYTES:,}", where=where, mend=_SPLIT
        )


def check_row(number: int, row: list[str], *, where: str) -> None:
    """Check one row's cells; the number of its cells is checked too.

    Raises
    ------
    InputError
        If there are too many, or one is too long.
    """
    if len(row) > MAX_COLUMNS:
        check_shape(1, len(row), where=where)
    for place, cell in enumerate(row, start=1):
        if len(cell) > MAX_CELL_CHARACTERS:
            raise InputError(
                f"the cell in row {number}, column {place} has {len(cell):,} characters, "
                f"more than {MAX_CELL_CHARACTERS:,}",
                where=where,
                mend="Shorten it; look for a quote that is not closed.",
            )


def check_archive(path: Path, *, where: str, most: int = MAX_EXPANDED_BYTES) -> None:
    """Check that a workbook's parts are as large as it says, and not too large, by expanding them piece by piece.

    Raises
    ------
    InputError
        If a part or all of them expand too far, or further than they say.
    zipfile.BadZipFile, zlib.error
        If the archive is damaged.
    """
    bomb = "Save it again in a spreadsheet program; if it comes from someone you do not know, do not open it."
    with zipfile.ZipFile(path) as archive, path.open("rb") as data:
        parts = archive.infolist()
        if len(parts) > MAX_PARTS:
            raise InputError(f"the workbook has {len(parts):,} parts, more than {MAX_PARTS:,}", where=where, mend=bomb)
        declared = sum(part.file_size for part in parts)
        if declared > most:
            raise InputError(f"the workbook expands to {declared:,} bytes, more than {most:,}", where=where, mend=bomb)
        total = 0
        for part in parts:
            own_most = min(most - total, max(_SMALL_PART, MAX_EXPANSION * part.compress_size))
            size = _expanded(data, part, own_most)
            if size > own_most:
                raise InputError(f"its part {part.filename!r} expands too far", where=where, mend=bomb)
            if size != part.file_size:
                raise InputError(
                    f"its part {part.filename!r} says that it has {part.file_size:,} bytes and has {size:,}",
                    where=where,
                    mend=bomb,
                )
            total += size


def check_small_workbook(path: Path, *, where: str, most_bytes: int, most_cells: int) -> None:
    """Check that a workbook is small: its parts together, expanded, and how far its sheets reach.

    Raises
    ------
    InputError
        If it is not.
    zipfile.BadZipFile, zlib.error
        If the archive is damaged.
    """
    check_archive(path, where=where, most=most_bytes)
    with zipfile.ZipFile(path) as archive:
        for part in archive.infolist():
            check_sheet_xml(archive.read(part), where=where, most=most_cells)


def _expanded(data: BinaryIO, part: zipfile.ZipInfo, most: int) -> int:
    """Return how many bytes a part has when it is expanded, or a number above `most` as soon as it is passed.

    The archive's own reader stops at the declared size, and other readers do not.
    """
    data.seek(part.header_offset)
    head = data.read(30)
    if len(head) < 30 or not head.startswith(b"PK\x03\x04"):
        raise zipfile.BadZipFile(f"the part {part.filename!r} has no header")
    data.seek(int.from_bytes(head[26:28], "little") + int.from_bytes(head[28:30], "little"), 1)
    if part.compress_type == zipfile.ZIP_STORED:
        return part.compress_size
    if part.compress_type != zipfile.ZIP_DEFLATED:
        raise zipfile.BadZipFile(f"the part {part.filename!r} is packed in an unknown way")
    inflate = zlib.decompressobj(-zlib.MAX_WBITS)
    left, size = part.compress_size, 0
    while left > 0 and not inflate.eof:
        piece = data.read(min(left, _PIECE))
        if not piece:
            raise zipfile.BadZipFile(f"the part {part.filename!r} is cut off")
        left -= len(piece)
        while piece:
            size += len(inflate.decompress(piece, _PIECE))
            if size > most:
                return size
            piece = inflate.unconsumed_tail
    return size


_ROW = re.compile(rb"""<(?:\w+:)?row\b[^>]*?\sr\s*=\s*["'](\d+)["']""")
_FAR_RIGHT = re.compile(rb"""\sr\s*=\s*["'][A-Za-z]{3,}\d""")
_TWO_LETTERS = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]{2})\d""")
_ANY_CELL = re.compile(rb"""\sr\s*=\s*["'][A-Za-z]+(\d+)["']""")


def check_sheet_xml(xml: bytes, *, where: str, most: int = MAX_CELLS) -> None:
    """Check how far right and down a workbook's sheet has cells, before it is laid out in memory.

    Raises
    ------
    InputError
        If that is too far.
    """
    if _FAR_RIGHT.search(xml):
        check_shape(1, MAX_COLUMNS + 1, where=where)
    pairs = set(_TWO_LETTERS.findall(xml))
    width = max((26 * (pair.upper()[0] - 64) + pair.upper()[1] - 64 for pair in pairs), default=26)
    in_cells = max((int(found[1]) for found in _ANY_CELL.finditer(xml)), default=0)
    height = max(in_cells, max((int(found[1]) for found in _ROW.finditer(xml)), default=0))
    check_shape(height, width, where=where)
    if height * width > most:
        raise InputError(
            f"the sheet reaches to row {height:,} and column {width:,}, more than {most:,} cells",
            where=where,
            mend=f"{_SPLIT} Look for stray cells far down or far to the right.",
        )
