"""A person's name taken out of a database file: a new file is written, so that no block of the old one is left."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.store.connection import connect
from fleetwear.store.syncing import sync

if TYPE_CHECKING:
    import duckdb

    from fleetwear.store.rewriting_files import Name

_SAY_WHAT_A_THING_IS = {
    "unit", "model", "vin", "plate", "make", "kind", "joint", "axle", "side", "place", "direction", "method",
    "support", "read_at", "indicator", "timing", "result", "basis", "work", "event", "table_name", "what", "outcome",
    "depot", "duty", "supplier", "part_number", "play_unit", "distance_unit", "distance_source", "odometer_unit",
    "limit_unit", "tyre_size", "action",
}  # fmt: skip
"""Columns whose words the numbers hang on: a name that stands there too cannot be told apart."""

_KEYS = {"row_key", "sha256", "version"}


def find_name(con: duckdb.DuckDBPyConnection, name: Name) -> dict[tuple[str, str], pd.DataFrame]:
    """Return the values that hold a name, by table and column: what stands there (old) and what is to stand (new).

    Raises
    ------
    InputError
        If the name is also that of a model, a joint, a depot or the like.
    """
    first = name.name.split()[0].lower()
    found = {}
    for table, column, kind in _text_columns(con):
        shown = f'"{column}"::varchar'
        values = con.execute(
            f'select distinct {shown} as old from "{table}" where contains(lower({shown}), $first)', {"first": first}
        ).fetchall()
        pairs = [(old, name.out_of(old)) for (old,) in values if name.pattern().search(old)]
        if not pairs:
            continue
        if column in _SAY_WHAT_A_THING_IS and kind == "VARCHAR":
            raise InputError(
                f"the name stands in {table} as a {column.replace('_', ' ')} too",
                mend="Nothing was erased: numbers hang on that word. Give the name as it is written for the person.",
            )
        found[table, column] = pd.DataFrame(pairs, columns=["old", "new"])
    return found


def count_cells(con: duckdb.DuckDBPyConnection, found: dict[tuple[str, str], pd.DataFrame]) -> int:
    """Return how many cells hold one of these values."""
    total = 0
    for (table, column), values in found.items():
        con.register("held", values)
        total += con.execute(
            f'select count(*) from "{table}" semi join held on held.old = "{column}"::varchar'
        ).fetchall()[0][0]
        con.unregister("held")
    return total


def write_without(con: duckdb.DuckDBPyConnection, target: Path, found: dict[tuple[str, str], pd.DataFrame]) -> None:
    """Copy the connection's database into a new file with these values replaced, and wait until it is on the disk."""
    source = con.execute("select current_database()").fetchall()[0][0]
    quoted = str(target).replace("'", "''")
    con.execute(f"attach '{quoted}' as fresh")
    try:
        con.execute(f'copy from database "{source}" to fresh (schema)')
        kinds = {(table, column): kind for table, column, kind in _text_columns(con)}
        for table in _in_order(con):
            changed = []
            for (home, column), values in found.items():
                if home != table:
                    continue
                con.register(f"held_{column}", values)
                cast = kinds[table, column]
                changed.append(
                    f'coalesce((select h.new from held_{column} as h where h.old = t."{column}"::varchar)::{cast}, '
                    f't."{column}") as "{column}"'
                )
            replaced = f" replace ({', '.join(changed)})" if changed else ""
            con.execute(f'insert into fresh."{table}" select *{replaced} from "{table}" as t')
    finally:
        con.execute("detach fresh")
    sync(target)


def rewrite_file(file: Path, target: Path, name: Name) -> None:
    """Write a database file that nobody writes to into a new one without a name."""
    con = connect(Path(":memory:"), read_only=False)
    try:
        quoted = str(file).replace("'", "''")
        con.execute(f"attach '{quoted}' as old (read_only)")
        con.execute("use old")
        write_without(con, target, find_name(con, name))
    finally:
        con.close()


def _text_columns(con: duckdb.DuckDBPyConnection) -> list[tuple[str, str, str]]:
    rows = con.execute(
        "select c.table_name, c.column_name, c.data_type from duckdb_columns() as c "
        "semi join duckdb_tables() as t on t.table_oid = c.table_oid and t.database_oid = c.database_oid "
        "where c.database_name = current_database() and c.data_type in ('VARCHAR', 'JSON', 'VARCHAR[]') "
        "order by c.table_name, c.column_index"
    ).fetchall()
    return [(table, column, kind) for table, column, kind in rows if column not in _KEYS]


def _in_order(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Return the tables so that each comes after those that its rows refer to."""
    tables = [
        row[0]
        for row in con.execute(
            "select table_name from duckdb_tables() where database_name = current_database() order by table_oid"
        ).fetchall()
    ]
    needs: dict[str, set[str]] = {table: set() for table in tables}
    for table, home in con.execute(
        "select table_name, referenced_table from duckdb_constraints() "
        "where constraint_type = 'FOREIGN KEY' and database_name = current_database()"
    ).fetchall():
        needs[table].add(home)
    ordered: list[str] = []
    while len(ordered) < len(tables):
        ordered += [table for table in tables if table not in ordered and needs[table] <= set(ordered)]
    return ordered
