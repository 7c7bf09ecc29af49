"""A sheet's cells by code: each distinct cell is read once, and the rows carry numbers in place of text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fleetwear.intake.typed import TypedStatement, cell_column, read_cells, snake

if TYPE_CHECKING:
    from datetime import date

    import duckdb
    from numpy.typing import NDArray

    from fleetwear.intake.columns import Column
    from fleetwear.intake.headers import Recognised
    from fleetwear.intake.sheets import Sheet

_ROWS_A_BATCH = 122_880
"""Rows that the database reads at once; several batches are read side by side."""

_SPACES = (0x20, 0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000)
"""The spaces of all scripts: Unicode's category Zs."""

_BLANKS = "\t\n\r" + "".join(map(chr, _SPACES))

_OFTEN_EMPTY = ("problem", "beside")


@dataclass(frozen=True)
class Meaning:
    """What the cells of one column mean.

    Attributes
    ----------
    name
        The column's own name.
    rows
        Which of the distinct meanings each row has (n rows); null where its cell is blank.
    outputs
        Each thing that is known of a meaning; None where it is empty in all of them.
    """

    name: str
    rows: pa.Array
    outputs: dict[str, pa.ChunkedArray | None]


@dataclass(frozen=True)
class CodedCells:
    """What the cells of a sheet mean, by column."""

    sheet: Sheet
    typed: TypedStatement
    meanings: tuple[Meaning, ...]

    def register(self, con: duckdb.DuckDBPyConnection, places: NDArray[np.int64] | None = None) -> None:
        """Register rows as ``incoming``, all of them or those at some places, and make the view ``typed`` of them."""
        numbers = self.sheet.row_numbers
        n = np.arange(len(numbers)) if places is None else places
        columns: dict[str, pa.Array | pa.ChunkedArray] = {
            "n": pa.array(n),
            "source_row": numbers if places is None else numbers.take(pa.array(places)),
        }
        for meaning in self.meanings:
            rows = meaning.rows if places is None else meaning.rows.take(pa.array(places))
            for output, values in meaning.outputs.items():
                if values is not None:
                    columns[cell_column(meaning.name, output)] = spread(values, rows)
            if meaning.rows.null_count:
                columns[cell_column(meaning.name, "blank")] = rows.is_null()
        register_rows(con, "incoming", columns)
        con.execute(self.typed.sql())

    @property
    def is_sound(self) -> bool:
        """Whether no cell has a problem by itself."""
        return all(meaning.outputs.get("problem") is None for meaning in self.meanings)


def read_coded(con: duckdb.DuckDBPyConnection, sheet: Sheet, recognised: Recognised, *, today: date) -> CodedCells:
    """Return what a sheet's cells mean; the tables ``read_<column>`` hold it too, by distinct cell.

    Parameters
    ----------
    con
        A prepared connection.
    sheet, recognised
        The sheet, and where the columns of its table stand.
    today
        The day after which a date lies in the future.
    """
    words = TypedStatement(recognised.table, {}, {})
    meanings = []
    nowhere: set[str] = set()
    for name, place in recognised.positions.items():
        column = _Column(sheet, place, recognised.table.column(name), sheet.header[place])
        meaning = column.read(con, today=today, result_words=words.result_words(column.column))
        nowhere |= {cell_column(name, output) for output, values in meaning.outputs.items() if values is None}
        if not meaning.rows.null_count:
            nowhere.add(cell_column(name, "blank"))
        meanings.append(meaning)
    headers = {name: sheet.header[place] for name, place in recognised.positions.items()}
    typed = TypedStatement(recognised.table, headers, recognised.header_units, frozenset(nowhere))
    return CodedCells(sheet, typed, tuple(meanings))


def register_rows(con: duckdb.DuckDBPyConnection, name: str, columns: dict[str, pa.Array | pa.ChunkedArray]) -> None:
    """Register columns of rows under a name, in batches that the database reads side by side."""
    table = pa.table(columns)
    con.register(name, pa.Table.from_batches(table.to_batches(max_chunksize=_ROWS_A_BATCH), table.schema))


@dataclass(frozen=True)
class _Column:
    """One column of a sheet."""

    sheet: Sheet
    place: int
    column: Column
    header: str

    def read(self, con: duckdb.DuckDBPyConnection, *, today: date, result_words: bool) -> Meaning:
        """Return what the column's cells mean."""
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
        outputs: dict[str, pa.ChunkedArray | None] = {
            name: meant[name] for name in meant.column_names if name != "code"
        }
        for name in _OFTEN_EMPTY:
            if name in outputs and meant[name].null_count == meant.num_rows:
                outputs[name] = None
        return Meaning(self.column.name, rows, outputs)

    def _distinct(self, cells: pa.Array) -> pa.Table:
        """Return the distinct cells with their codes, as the sheet's notation reads them."""
        written = tidied(cells)
        said, problems = written, pa.nulls(len(cells), pa.string())
        if not self.sheet.notation.is_plain:
            read = [self.sheet.notation.read(cell, self.column) for cell in cells.to_pylist()]
            said = tidied(pa.array([text for text, _ in read], pa.string()))
            problems = pa.array([problem for _, problem in read], pa.string())
        codes = pa.array(np.arange(len(cells), dtype=np.int32))
        return pa.table({"code": codes, "written": written, "said": said, "miswritten": problems})


def tidied(cells: pa.Array) -> pa.Array:
    """Return texts without the spaces, tabs and line ends around them; null where nothing is left."""
    trimmed = pc.utf8_trim(cells, characters=_BLANKS)
    return pc.if_else(pc.equal(pc.binary_length(trimmed), 0), pa.scalar(None, trimmed.type), trimmed)


def spread(values: pa.ChunkedArray, rows: pa.Array) -> pa.Array:
    """Return the distinct values put to the rows: text by reference, so that it is kept once."""
    (once,) = values.chunks or [pa.array([], values.type)]
    if pa.types.is_string(once.type) or pa.types.is_large_string(once.type):
        return pa.DictionaryArray.from_arrays(rows, once)
    return once.take(rows)
