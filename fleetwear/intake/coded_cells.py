"""A sheet's cells by code: each distinct cell is read once, and the rows carry numbers in place of text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from fleetwear.intake.typed import TypedStatement, cell_column, read_cells, snake

if TYPE_CHECKING:
    from datetime import date

    import duckdb

    from fleetwear.intake.columns import Column
    from fleetwear.intake.headers import Recognised
    from fleetwear.intake.sheets import Sheet

_ROWS_A_BATCH = 122_880
"""Rows that the database reads at once; several batches are read side by side."""

_OFTEN_EMPTY = ("problem", "beside")


def register_typed(
    con: duckdb.DuckDBPyConnection, sheet: Sheet, recognised: Recognised, *, today: date
) -> TypedStatement:
    """Register a sheet's rows as ``incoming``, make the view ``typed`` of them, and return its statement.

    Parameters
    ----------
    con
        A prepared connection.
    sheet, recognised
        The sheet, and where the columns of its table stand.
    today
        The day after which a date lies in the future.
    """
    columns: dict[str, pa.Array | pa.ChunkedArray] = {
        "n": pa.array(np.arange(len(sheet.row_numbers))),
        "source_row": sheet.row_numbers,
    }
    nowhere: set[str] = set()
    for name, place in recognised.positions.items():
        column = _Column(sheet, place, recognised.table.column(name), sheet.header[place])
        result_words = TypedStatement(recognised.table, {}, {}).result_words(column.column)
        for output, cells in column.read(con, today=today, result_words=result_words).items():
            called = cell_column(name, output)
            if cells is None:
                nowhere.add(called)
            else:
                columns[called] = cells
    table = pa.table(columns)
    con.register("incoming", pa.Table.from_batches(table.to_batches(max_chunksize=_ROWS_A_BATCH), table.schema))
    headers = {name: sheet.header[place] for name, place in recognised.positions.items()}
    typed = TypedStatement(recognised.table, headers, recognised.header_units, frozenset(nowhere))
    con.execute(typed.sql())
    return typed


@dataclass(frozen=True)
class _Column:
    """One column of a sheet."""

    sheet: Sheet
    place: int
    column: Column
    header: str

    def read(self, con: duckdb.DuckDBPyConnection, *, today: date, result_words: bool) -> dict[str, pa.Array | None]:
        """Return what is known of the column's cells, row by row (n rows each); None is empty in every row."""
        coded = self.sheet.cells.column(self.place).combine_chunks()
        if not pa.types.is_dictionary(coded.type):
            coded = coded.dictionary_encode()
        c = snake(self.column.name)
        con.register(f"cells_{c}", self._distinct(coded.dictionary))
        statement = read_cells(self.column, header=self.header, result_words=result_words)
        con.execute(statement, {"today": today} if "$today" in statement else None)
        con.unregister(f"cells_{c}")
        meant = con.sql(f"select * from read_{c} order by code").to_arrow_table().combine_chunks()
        row_of_code = np.full(len(coded.dictionary), -1, dtype=np.int32)
        row_of_code[meant["code"].to_numpy()] = np.arange(meant.num_rows, dtype=np.int32)
        rows = pa.array(row_of_code, mask=row_of_code < 0).take(coded.indices)
        outputs = {name: _spread(meant[name], rows) for name in meant.column_names if name != "code"}
        for name in _OFTEN_EMPTY:
            if name in outputs and meant[name].null_count == meant.num_rows:
                outputs[name] = None
        return outputs | {"blank": rows.is_null() if rows.null_count else None}

    def _distinct(self, cells: pa.Array) -> pa.Table:
        """Return the distinct cells with their codes, as the sheet's notation reads them."""
        said, problems = cells, pa.nulls(len(cells), pa.string())
        if not self.sheet.notation.is_plain:
            read = [self.sheet.notation.read(cell, self.column) for cell in cells.to_pylist()]
            said = pa.array([text for text, _ in read], pa.string())
            problems = pa.array([problem for _, problem in read], pa.string())
        codes = pa.array(np.arange(len(cells), dtype=np.int32))
        return pa.table({"code": codes, "cell": cells, "said": said, "miswritten": problems})


def _spread(values: pa.ChunkedArray, rows: pa.Array) -> pa.Array:
    """Return the distinct values put to the rows: text by reference, so that it is kept once."""
    (once,) = values.chunks or [pa.array([], values.type)]
    if pa.types.is_string(once.type) or pa.types.is_large_string(once.type):
        return pa.DictionaryArray.from_arrays(rows, once)
    return once.take(rows)
