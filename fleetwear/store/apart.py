"""Long work on what the store holds, without keeping the store: what is needed is copied out, and the store let go."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleetwear.store.connection import attach, connect
from fleetwear.store.frames import room_beside

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import duckdb

    from fleetwear.store.connection import Store

_MEMORY = "2GB"
"""What DuckDB may take beside the arrays of the work itself; the rest of its tables goes to disk."""


@dataclass(frozen=True)
class Apart:
    """A database of its own on the store's disk, in which the store is at hand until it is let go."""

    con: duckdb.DuckDBPyConnection
    """Unqualified names mean the store's tables, and temporary tables are this database's own."""

    def let_go(self, *, keep: Sequence[str]) -> None:
        """Copy these tables of the store, and close it, so that others may write; temporary tables stay."""
        for table in keep:
            self.con.execute(f"create table own.main.{table} as from store.{table}").fetchall()
        self.con.execute("use own")
        self.con.execute("detach store")

    def done(self) -> None:
        """Give back what the database holds, before the results are written into the store."""
        self.con.close()


@contextmanager
def apart(store: Store, *, wait_seconds: float = 30.0) -> Iterator[Apart]:
    """Open the store for reading beside a database of its own, which is removed afterwards.

    Nobody can write to the store until it is let go.

    Raises
    ------
    StoreError
        If there is no store, another process writes to it too long, or there is no room beside it.
    """
    with store.reader(wait_seconds=wait_seconds):
        pass
    with room_beside(store.folder) as folder:
        con = connect(folder / "own.duckdb", read_only=False)
        try:
            con.execute(f"set memory_limit = '{_MEMORY}'")
            attach(con, store.file, name="store", wait_seconds=wait_seconds)
            con.execute("use store")
            yield Apart(con)
        finally:
            con.close()
