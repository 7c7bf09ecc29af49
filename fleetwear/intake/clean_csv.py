"""The quick way through a CSV file in which every line is a row of the header's width and nothing is quoted.

It gives exactly what the careful way in ``sheets.py`` gives, or nothing, and then that way is taken.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv

from fleetwear.intake.sizes import MAX_CELL_CHARACTERS, MAX_ROWS
from fleetwear.intake.totals import is_total

if TYPE_CHECKING:
    from collections.abc import Sequence

_BOM = b"\xef\xbb\xbf"


def first_line(data: bytes) -> str | None:
    """Return a file's first line, if the file is one for the quick way."""
    if b'"' in data or b"\0" in data or (b"\r" in data and data.count(b"\r") != data.count(b"\r\n")):
        return None
    end = data.find(b"\n")
    try:
        line = data[: end if end >= 0 else None].removeprefix(_BOM).decode("utf-8").rstrip("\r")
    except UnicodeDecodeError:
        return None
    return line if line.strip() else None


def read_clean(data: bytes, delimiter: str, header: Sequence[str]) -> pa.Table | None:
    """Return the rows under the header as columns "0", "1", ... of text; None if they need the careful way.

    Of each column the distinct cells are kept once, and the rows as numbers.

    Parameters
    ----------
    data
        The file's bytes, of which `first_line` gave the header.
    delimiter
        What parts its cells.
    header
        The header's cells, none of them blank at the end.
    """
    names = [str(place) for place in range(len(header))]
    try:
        table = csv.read_csv(
            pa.py_buffer(data),
            csv.ReadOptions(column_names=names, skip_rows=1),
            csv.ParseOptions(delimiter=delimiter, quote_char=False, ignore_empty_lines=False),
            csv.ConvertOptions(
                check_utf8=False,  # of the distinct cells below
                column_types=dict.fromkeys(names, pa.dictionary(pa.int32(), pa.string())),
                strings_can_be_null=False,
            ),
        )
    except pa.ArrowInvalid:
        return None
    if not 0 < table.num_rows <= MAX_ROWS:
        return None
    table = table.unify_dictionaries()
    distinct = [column.chunk(0).dictionary for column in table.columns]
    try:
        for cells in distinct:
            cells.validate(full=True)
    except pa.ArrowInvalid:
        return None
    first = pc.utf8_trim_whitespace(distinct[0])
    if pc.any(pc.equal(pc.binary_length(first), 0)).as_py() or is_total(table.column(0)[-1].as_py()):
        return None
    longest = max(pc.max(pc.binary_length(cells)).as_py() for cells in distinct)
    return None if longest > MAX_CELL_CHARACTERS else table
