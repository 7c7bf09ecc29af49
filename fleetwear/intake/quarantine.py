"""Refused rows: kept as they were with every reason, and settled when their correction loads."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pyarrow as pa

from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    import duckdb
    import pandas as pd


def list_quarantine(con: duckdb.DuckDBPyConnection, *, include_settled: bool = False) -> pd.DataFrame:
    """Return the quarantined rows, oldest first.

    Parameters
    ----------
    con
        A connection to the store or a snapshot.
    include_settled
        Whether rows whose correction has come are listed too.

    Returns
    -------
    DataFrame
        number, file, sheet, row, table, reasons (a list of texts), cells (JSON: the file's own headers in
        their order), settled (bool).
    """
    return con.execute(statement("list_quarantine"), {"include_settled": include_settled}).df()


def row_json(row: Mapping[str, str]) -> str:
    """Return a row as it stood, by header, as JSON."""
    return json.dumps(row, ensure_ascii=False)


def is_of_header(quarantined_cells: str, header: str) -> bool:
    """Return whether a quarantined row is what stood under this header of a sheet with a column per joint."""
    return header in json.loads(quarantined_cells)


def cells_json(header: Sequence[str], cells: Sequence[str | None]) -> str:
    """Return a row as it stood, as JSON: its headers in order, and what went beyond them."""
    names = [*header, *(f"cell {i + 1}" for i in range(len(header), len(cells)))]
    return json.dumps(dict(zip(names, cells, strict=False)), ensure_ascii=False)


def quarantine_rows(
    con: duckdb.DuckDBPyConnection,
    rows: pa.Table,
    *,
    load_id: int,
    file_name: str,
    sheet: str | None,
    table: str,
    first_id: int,
) -> None:
    """Store refused rows (n, source_row, cells, reasons), which `new_to_quarantine` returned."""
    con.register("refused_rows", rows)
    con.execute(
        statement("insert_quarantine"),
        {
            "load_id": load_id,
            "file_name": file_name,
            "sheet": sheet,
            "table_name": table,
            "first_id": first_id,
        },
    )
    con.unregister("refused_rows")


def new_to_quarantine(
    con: duckdb.DuckDBPyConnection, rows: pa.Table, *, file_name: str, sheet: str | None, table: str
) -> pa.Table:
    """Return those refused rows that are not in quarantine already, just so, from the same place."""
    con.register("refused_rows", rows)
    fresh = (
        con.execute(statement("new_to_quarantine"), {"file_name": file_name, "sheet": sheet, "table_name": table})
        .df()["n"]
        .tolist()
    )
    con.unregister("refused_rows")
    return rows.filter(pa.compute.is_in(rows["n"], value_set=pa.array(fresh, pa.int64())))


def resembles(quarantined_cells: str, row: dict[str, str | None]) -> bool:
    """Return whether a row can be the correction of a quarantined one.

    It can when at least half the cells under headers that both have are the same. File name and row number
    alone do not tell: a monthly export has the same name each time.
    """
    cells: dict[str, str | None] = json.loads(quarantined_cells)
    before = {name: cell.strip() for name, cell in cells.items() if name in row and cell and cell.strip()}
    same = sum((row[name] or "").strip() == cell for name, cell in before.items())
    return same > 0 and 2 * same >= len(before)


def settle(
    con: duckdb.DuckDBPyConnection, quarantine_ids: Sequence[int], *, load_id: int, settled_at: datetime
) -> None:
    """Record that a load brought the corrections of these quarantined rows."""
    con.executemany(
        "insert into settled_rows (quarantine_id, load_id, settled_at) values (?, ?, ?)",
        [(quarantine_id, load_id, settled_at) for quarantine_id in quarantine_ids],
    )
