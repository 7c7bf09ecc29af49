"""Parquet files of one table, as another program hands over what a spreadsheet would not hold.

Columns are named as headers are. Cells are texts, numbers, true, false, dates or nothing, and mean what they mean in
a CSV file: a number is written with the digits that tell it from its neighbours, a date as YYYY-MM-DD.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from fleetwear.errors import InputError
from fleetwear.intake.sizes import MAX_CELL_CHARACTERS, check_expanded, check_shape

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_BROKEN = "Write the file again; it may have been cut off on its way."


def read_parquet(path: Path, *, shown: str) -> tuple[list[str], pa.Table, pa.ChunkedArray]:
    """Return a file's column names, its cells as string columns "0", "1", ..., and the numbers of its rows from 1.

    Rows in which every cell is blank are left out.

    Raises
    ------
    InputError
        If it is no Parquet file, is damaged or too large, or a column holds what is no cell of a table.
    """
    try:
        about = pq.read_metadata(path)
        check_shape(about.num_rows, about.num_columns, where=shown)
        check_expanded(sum(about.row_group(i).total_byte_size for i in range(about.num_row_groups)), where=shown)
        table = pq.read_table(path, use_threads=False)
    except (pa.ArrowException, OSError) as error:
        raise InputError(f"the file cannot be read as Parquet: {error}", where=shown, mend=_BROKEN) from error
    columns = [_texts(table.column(i), table.field(i), shown) for i in range(table.num_columns)]
    cells = pa.table(columns, names=[str(i) for i in range(len(columns))])
    if not cells.num_rows or not columns:
        raise InputError("the file has no rows", where=shown, mend="It needs named columns and rows in them.")
    filled = np.zeros(cells.num_rows, dtype=bool)
    for column in cells.columns:
        filled |= pc.greater(pc.utf8_length(pc.utf8_trim_whitespace(column)), 0).to_numpy()
    numbers = pa.chunked_array([pa.array(np.flatnonzero(filled) + 1)])
    return table.column_names, cells if filled.all() else cells.filter(pa.array(filled)), numbers


def _texts(column: pa.ChunkedArray, field: pa.Field, shown: str) -> pa.ChunkedArray:
    """Return a column's cells as a person would write them, nothing as an empty text."""
    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    for fits, write in _WRITTEN:
        if fits(column.type):
            texts = pc.fill_null(write(column, field.name, shown), "")
            return _short_enough(texts, field.name, shown)
    raise InputError(
        f"the column {field.name!r} holds {column.type}",
        where=shown,
        mend="Cells are texts, numbers, true or false, and dates; write one of them.",
    )


def _short_enough(texts: pa.ChunkedArray, name: str, shown: str) -> pa.ChunkedArray:
    longest = pc.max(pc.utf8_length(texts)).as_py() or 0
    if longest > MAX_CELL_CHARACTERS:
        raise InputError(
            f"a cell of the column {name!r} has {longest:,} characters, more than {MAX_CELL_CHARACTERS:,}",
            where=shown,
            mend="Shorten it.",
        )
    return texts


def _plain(column: pa.ChunkedArray, name: str, shown: str) -> pa.ChunkedArray:
    try:
        return column.cast(pa.string())
    except pa.ArrowInvalid as error:
        raise InputError(
            f"the column {name!r} holds what is no text: {error}", where=shown, mend="Write it as UTF-8 text."
        ) from error


def _yes_or_no(column: pa.ChunkedArray, name: str, shown: str) -> pa.ChunkedArray:
    del name, shown
    return pc.if_else(column, "yes", "no")


def _number(column: pa.ChunkedArray, name: str, shown: str) -> pa.ChunkedArray:
    """Return numbers with the digits that tell them apart, whole ones without a point; nan stays to be refused."""
    del name, shown
    whole = pc.and_(pc.equal(pc.floor(column), column), pc.less(pc.abs(column), 1e15))
    whole = pc.fill_null(whole, False)
    short = pc.if_else(whole, column, pa.scalar(0, column.type)).cast(pa.int64()).cast(pa.string())
    plain = pa.chunked_array([pa.array([None if each is None else _digits(each) for each in column.to_pylist()])])
    return pc.if_else(whole, short, plain.cast(pa.string()))


def _digits(value: float) -> str:
    """Return a number without an exponent."""
    return np.format_float_positional(value, trim="-") if np.isfinite(value) else str(value)


def _day(column: pa.ChunkedArray, name: str, shown: str) -> pa.ChunkedArray:
    """Return moments as days; one with a time of day is refused, since no table has such a column."""
    days = column.cast(pa.timestamp("us")).cast(pa.date32(), safe=False)
    odd = pc.not_equal(days.cast(pa.timestamp("us")), column.cast(pa.timestamp("us")))
    if pc.any(odd).as_py():
        number = int(np.flatnonzero(pc.fill_null(odd, False).to_numpy())[0]) + 1
        raise InputError(
            f"the column {name!r} has a time of day in row {number}: {column[number - 1].as_py()}",
            where=shown,
            mend="Write it as a date.",
        )
    return days.cast(pa.string())


def _is_text(kind: pa.DataType) -> bool:
    return any(
        fits(kind)
        for fits in (
            pa.types.is_string, pa.types.is_large_string, pa.types.is_string_view, pa.types.is_integer,
            pa.types.is_decimal, pa.types.is_date32, pa.types.is_null,
        )
    )  # fmt: skip


_WRITTEN: tuple[tuple[Callable[[pa.DataType], bool], Callable[[pa.ChunkedArray, str, str], pa.ChunkedArray]], ...] = (
    (_is_text, _plain),
    (pa.types.is_boolean, _yes_or_no),
    (pa.types.is_floating, _number),
    (lambda kind: pa.types.is_timestamp(kind) or pa.types.is_date64(kind), _day),
)
