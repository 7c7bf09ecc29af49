"""Where partitions lie: a folder, or a prefix in an object store, and the Parquet files in it.

::

    about.parquet                 one row: how many partitions, as of when, written when and by which version
    readings/part-0000.parquet    one row a reading; a life lies whole in one partition, whichever that is
    series/part-0000.parquet      one row a series to be forecast, in the partition of its readings
    forecasts/part-0000.parquet   one row a series, written by the forecast
    forecasts/models.parquet      one row a kind; forecasts/cohorts.parquet one row a cohort of one
"""

from __future__ import annotations

import os
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from fleetwear.errors import StoreError
from fleetwear.store import sql
from fleetwear.store.connection import connect
from fleetwear.store.syncing import sync

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb

LAYOUT = 1
"""Number of the layout of the files, which the reader knows."""

_UNFINISHED = ".unfinished"


@dataclass(frozen=True)
class Place:
    """A folder, or a prefix in an object store such as "s3://bucket/fleet"."""

    root: str

    @classmethod
    def named(cls, text: str) -> Place:
        """Return the place that a person has named, a folder by its whole path, so that all processes mean the same."""
        return cls(text if "://" in text else str(Path(text).expanduser().resolve()))

    @property
    def remote(self) -> bool:
        """Whether it is in an object store."""
        return "://" in self.root

    def file(self, name: str) -> str:
        """Return the address of a file of the place."""
        return f"{self.root.rstrip('/')}/{name}"

    def part(self, table: str, number: int) -> str:
        """Return the address of the partition of a table."""
        return self.file(f"{table}/part-{number:04d}.parquet")

    @contextmanager
    def connection(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """Give a database in memory, of one thread, that reaches the place.

        Raises
        ------
        StoreError
            If the place is in an object store and DuckDB's extension for that is not on this machine.
        """
        con = connect(Path(":memory:"), read_only=False)
        try:
            con.execute("set threads = 1")
            if self.remote:
                self.reach(con)
            yield con
        finally:
            con.close()

    def reach(self, con: duckdb.DuckDBPyConnection) -> None:
        """Have a connection reach the object store."""
        import duckdb

        try:
            con.execute("load httpfs")
        except duckdb.Error as error:
            raise StoreError(
                "DuckDB cannot reach an object store: its extension httpfs is not on this machine",
                where=self.root,
                mend="On every machine that works on it run `install httpfs` in DuckDB once and keep the key with "
                "`create persistent secret`; or mount the bucket and name the folder.",
            ) from error

    def rows(self, con: duckdb.DuckDBPyConnection, query: str, file: str, **asked: object) -> duckdb.DuckDBPyConnection:
        """Return the open result of a named query over one file.

        Raises
        ------
        StoreError
            If the file is missing, or is not what the query expects.
        """
        import duckdb

        try:
            return con.execute(sql(f"partitions/{query}"), {"file": file, **asked})
        except duckdb.Error as error:
            missing = not self.remote and not Path(file).exists()
            what = "the partition is missing" if missing else f"the partition cannot be read ({_first_line(error)})"
            raise StoreError(
                what,
                where=file,
                mend="Bring this file back, or write the partitions again; every worker must see them under this name.",
            ) from error

    def write(self, rows: duckdb.DuckDBPyRelation, file: str) -> None:
        """Write rows as a file that is there whole or not at all.

        Raises
        ------
        StoreError
            If it cannot be written.
        """
        import duckdb

        target = file if self.remote else f"{file}.{os.getpid()}-{uuid4().hex}{_UNFINISHED}"
        try:
            if not self.remote:
                Path(file).parent.mkdir(parents=True, exist_ok=True)
            rows.write_parquet(target, compression="zstd")
            if not self.remote:
                sync(Path(target))
                os.replace(target, file)
        except (duckdb.Error, OSError) as error:
            if not self.remote:
                with suppress(OSError):
                    Path(target).unlink(missing_ok=True)
            raise StoreError(
                f"the partition cannot be written ({_first_line(error)})",
                where=file,
                mend="See that there is room and that you may write there.",
            ) from error

    def clear_unfinished(self) -> None:
        """Remove what writers left that were stopped in the middle; an object store keeps no such thing."""
        if not self.remote:
            for left in Path(self.root).glob(f"*/*{_UNFINISHED}"):
                left.unlink(missing_ok=True)

    def about(self) -> dict[str, Any]:
        """Return what stands in ``about.parquet``.

        Raises
        ------
        StoreError
            If there are no partitions, or their writing was not finished, or their layout is not known.
        """
        file = self.file("about.parquet")
        if not self.remote and not Path(file).exists():
            raise StoreError(
                "there are no finished partitions", where=self.root, mend="Write them: `fleetwear partition FOLDER`."
            )
        with self.connection() as con:
            found = self.rows(con, "about", file).df().iloc[0].to_dict()
        if found["layout"] != LAYOUT:
            raise StoreError(
                f"the partitions have layout {found['layout']}, this program knows {LAYOUT}",
                where=self.root,
                mend="Write them again with this version.",
            )
        return {str(name): value for name, value in found.items()}


def _first_line(error: Exception) -> str:
    return str(error).strip().splitlines()[0]
