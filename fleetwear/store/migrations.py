"""The steps that bring a store's schema up to this program's: numbered .sql files in ``migrations/``."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from fleetwear.errors import StoreError

if TYPE_CHECKING:
    import duckdb

_BOOKKEEPING = """
create table if not exists schema_migrations (
    number integer primary key,
    name varchar not null,
    applied_at timestamp not null
)
"""


@dataclass(frozen=True)
class Migration:
    """One step: its number, its name and its statements."""

    number: int
    name: str
    statements: str


@cache
def migrations() -> tuple[Migration, ...]:
    """Return every step this program knows, in order."""
    found = []
    for file in (files("fleetwear.store") / "migrations").iterdir():
        if file.name.endswith(".sql"):
            number, _, name = file.name.removesuffix(".sql").partition("_")
            found.append(Migration(int(number), name, file.read_text(encoding="utf-8")))
    return tuple(sorted(found, key=lambda step: step.number))


def newest_version() -> int:
    """Return the number of the newest schema that this program knows."""
    return migrations()[-1].number


def schema_version(con: duckdb.DuckDBPyConnection) -> int:
    """Return the number of the last step applied to this store; 0 for an empty one."""
    exists = con.execute(
        "select count(*) from duckdb_tables() "
        "where table_name = 'schema_migrations' and database_name = current_database()"
    ).fetchall()[0][0]
    if not exists:
        return 0
    return int(con.execute("select coalesce(max(number), 0) from schema_migrations").fetchall()[0][0])


def check_version(con: duckdb.DuckDBPyConnection, *, where: str = "") -> int:
    """Return the store's schema number.

    Raises
    ------
    StoreError
        If the store was written by a newer program than this one.
    """
    version = schema_version(con)
    newest = newest_version()
    if version > newest:
        raise StoreError(
            f"the store has schema {version}, and this program knows schemas up to {newest}",
            where=where,
            mend="Use the newer fleetwear that last wrote to it; nothing was changed.",
        )
    return version


def migrate(con: duckdb.DuckDBPyConnection, *, where: str = "", steps: tuple[Migration, ...] | None = None) -> int:
    """Apply the steps that this store lacks and return its schema number.

    A step and the row that records it are one transaction: after a crash either both are there or neither.

    Parameters
    ----------
    con
        A connection for writing.
    where
        The store's place, for messages.
    steps
        The steps to apply; this program's own unless given.

    Raises
    ------
    StoreError
        If the store is newer than the program, or a step fails (it is then undone).
    """
    version = check_version(con, where=where)
    for step in migrations() if steps is None else steps:
        if step.number <= version:
            continue
        con.execute("begin")
        try:
            con.execute(_BOOKKEEPING)
            con.execute(step.statements)
            con.execute(
                "insert into schema_migrations (number, name, applied_at) "
                "values ($number, $name, current_timestamp::timestamp)",
                {"number": step.number, "name": step.name},
            )
            con.execute("commit")
        except Exception as error:
            con.execute("rollback")
            raise StoreError(
                f"schema step {step.number} ({step.name}) failed: {error}",
                where=where,
                mend="The step was undone and the store is as it was; report this message.",
            ) from error
        version = step.number
    return version
