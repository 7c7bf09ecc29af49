"""The distinct combinations of columns that are kept as numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

_LARGEST = 2**62


@dataclass(frozen=True)
class Combinations:
    """The distinct combinations of some columns, numbered in the order in which rows first have them.

    Attributes
    ----------
    of_rows
        The number of each row's combination (n rows).
    firsts
        The first row of each combination, ascending.
    """

    of_rows: NDArray[np.int32]
    firsts: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.firsts)

    @cached_property
    def _rows(self) -> pa.Array:
        return pa.array(self.of_rows)

    def spread(self, values: pa.Array | pa.ChunkedArray) -> pa.Array:
        """Return what holds of each combination put to the rows: text by reference, so that it is kept once.

        What is empty in all of them has no type, so that it takes no room.
        """
        once = values.combine_chunks() if isinstance(values, pa.ChunkedArray) else values
        if once.null_count == len(once):
            return pa.nulls(len(self.of_rows))
        rows = self._rows
        if pa.types.is_string(once.type) or pa.types.is_large_string(once.type):
            return pa.DictionaryArray.from_arrays(rows, once)
        return once.take(rows)


def combinations(columns: Iterable[pa.Array], rows: int) -> Combinations:
    """Return the distinct combinations of columns.

    Parameters
    ----------
    columns
        Numbers from 0, with nulls where a cell is blank; a column of anything else is numbered first (n rows each).
    rows
        How many rows there are, which is all that is known of them without columns.
    """
    codes = np.zeros(rows, dtype=np.int64)
    largest = 1
    for column in columns:
        numbers, most = _numbers(column)
        if most == 1:
            continue
        if largest > _LARGEST // most:
            again = _numbered(codes)
            codes, largest = again.of_rows.astype(np.int64), max(len(again), 1)
        codes *= most
        codes += numbers
        largest *= most
    return _numbered(codes)


def _numbers(column: pa.Array) -> tuple[NDArray[np.integer[Any]], int]:
    """Return a column's values as numbers from 0, and how many there may be; what is null has the last one."""
    if not pa.types.is_integer(column.type):
        column = column.dictionary_encode().indices
    if column.null_count == len(column):
        return np.zeros(len(column), dtype=np.int64), 1
    most = int(pc.max(column).as_py()) + 1
    numbers = column.fill_null(most) if column.null_count else column
    return numbers.to_numpy(), most + bool(column.null_count)


def _numbered(codes: NDArray[np.int64]) -> Combinations:
    if not len(codes):
        return Combinations(codes.astype(np.int32), codes)
    encoded = pa.array(codes).dictionary_encode()
    of_rows = encoded.indices.to_numpy()
    firsts = np.empty(len(encoded.dictionary), dtype=np.int64)
    firsts[of_rows[::-1]] = np.arange(len(codes) - 1, -1, -1)  # of several rows the one that is written last stays
    return Combinations(of_rows, firsts)


def repeated(codes: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the numbers, from 0, that stand more than once, ascending."""
    if not len(codes):
        return codes
    if int(codes.max()) < 4 * len(codes):
        return np.flatnonzero(np.bincount(codes) > 1)
    ordered = np.sort(codes)
    return np.unique(ordered[1:][ordered[1:] == ordered[:-1]])
