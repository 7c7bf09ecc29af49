"""The store's one DuckDB file: a short-lived writer at a time, readers when nobody writes."""

from __future__ import annotations

import fcntl
import os
import random
import time
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from fleetwear.errors import StoreBusyError, StoreError
from fleetwear.store.location import STORE_FILE
from fleetwear.store.migrations import check_version, migrate, newest_version
from fleetwear.store.syncing import copy_synced, sync

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import duckdb

_QUEUE = "store.queue"
_SETTINGS = {"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}
_PAUSE_S = 0.02
_MEMORY_BYTES = 3_000_000_000
"""What DuckDB may take at most, however much there is; what sorting a large fleet needs beyond that goes to disk."""


def connect(file: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """Return a connection to a DuckDB file that never reaches for an extension, and keeps to some memory."""
    import duckdb

    con = duckdb.connect(str(file), read_only=read_only, config=dict(_SETTINGS))
    pages, size = (os.sysconf(name) if hasattr(os, "sysconf") else 0 for name in ("SC_PHYS_PAGES", "SC_PAGE_SIZE"))
    if pages * size * 0.8 > _MEMORY_BYTES:  # of less DuckDB itself takes four fifths at most
        con.execute(f"set memory_limit = '{_MEMORY_BYTES}B'")
    return con


@dataclass(frozen=True)
class Store:
    """A folder with one DuckDB file, ``store.duckdb``, and its published snapshots."""

    folder: Path

    @classmethod
    def create_or_open(cls, folder: Path, *, wait_seconds: float = 30.0) -> Store:
        """Return the store in that folder, made or brought up to date where needed.

        Raises
        ------
        StoreError
            If the folder cannot be made, the store is newer than this program, or it stays locked.
        """
        store = cls(Path(folder))
        try:
            store.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(
                f"the store's folder cannot be made: {error.strerror or error}",
                where=str(folder),
                mend="Name a folder that you may write to in FLEETWEAR_STORE.",
            ) from error
        if not store.exists:
            store._create()
        with store.writer(wait_seconds=wait_seconds):
            return store

    @property
    def file(self) -> Path:
        """The DuckDB file."""
        return self.folder / STORE_FILE

    @property
    def exists(self) -> bool:
        """Whether a store stands in the folder."""
        return self.file.is_file()

    @contextmanager
    def writer(
        self, *, wait_seconds: float = 30.0, on_wait: Callable[[], None] | None = None
    ) -> Iterator[duckdb.DuckDBPyConnection]:
        """Open the store for writing; keep it short, since nobody else can open it meanwhile.

        A store of an earlier schema is brought up to date, after a copy of its file was made beside it.

        Parameters
        ----------
        wait_seconds
            How long to go on trying while another process has the store.
        on_wait
            Called once when it turns out that there is waiting to do.

        Raises
        ------
        StoreError
            If there is no store, it is newer than the program, or another process keeps it too long.
        """
        self._require()
        with (
            ExitStack() as after,
            self._open(read_only=False, wait_seconds=wait_seconds, on_wait=on_wait) as con,
        ):
            version = check_version(con, where=str(self.file))
            if version < newest_version():
                if version > 0:
                    self._keep_copy(con, after, version=version)
                migrate(con, where=str(self.file))
            with _told_if_unwritten(self.file):
                yield con

    @contextmanager
    def alone(
        self, *, wait_seconds: float = 30.0, on_wait: Callable[[], None] | None = None
    ) -> Iterator[duckdb.DuckDBPyConnection]:
        """Open the store as `writer` does, and let nobody else open it before the block ends, closed or not.

        Inside, the connection may be closed and the file be replaced by another.
        """
        with self.writer(wait_seconds=wait_seconds, on_wait=on_wait):
            pass  # which brings it up to date
        with ExitStack() as place:
            con = self._connect(place, read_only=False, wait_seconds=wait_seconds, on_wait=on_wait)
            try:
                yield con
            finally:
                con.close()

    def _create(self) -> None:
        """Make the store under another name and give it its own in one step, unless somebody else was first."""
        made = self.folder / f"{STORE_FILE}.{os.getpid()}-{uuid4().hex}.unfinished"
        try:
            con = connect(made, read_only=False)
            try:
                migrate(con, where=str(self.file))
            finally:
                con.close()
            sync(made)
            with suppress(FileExistsError):
                os.link(made, self.file)
            sync(self.folder)
        except OSError as error:
            raise StoreError(
                f"the store cannot be made: {error.strerror or error}",
                where=str(self.folder),
                mend="See that the disk has room and that you may write there.",
            ) from error
        finally:
            made.unlink(missing_ok=True)

    def _keep_copy(self, con: duckdb.DuckDBPyConnection, after: ExitStack, *, version: int) -> Path:
        """Copy the store's file as it is, before its schema is brought forward.

        The file is read through a handle that is closed only after the connection: closing it earlier would drop
        the lock that keeps other processes out. Whoever was cut off while copying had the lock, and has it no more.
        """
        remove_unfinished_copies(self.folder)
        con.execute("checkpoint")
        moment = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
        kept = self.folder / f"store.schema-{version:04d}.{moment}.duckdb"
        unfinished = self.folder / f"{kept.name}.unfinished"
        try:
            copy_synced(after.enter_context(self.file.open("rb")), unfinished)
            os.replace(unfinished, kept)
            sync(self.folder)
        except OSError as error:
            unfinished.unlink(missing_ok=True)
            raise StoreError(
                f"the store has schema {version} and cannot be copied before it is brought up to date: "
                f"{error.strerror or error}",
                where=str(self.file),
                mend="See that the disk has room for a second copy of it; nothing was changed.",
            ) from error
        return kept

    @contextmanager
    def reader(
        self, *, wait_seconds: float = 30.0, on_wait: Callable[[], None] | None = None
    ) -> Iterator[duckdb.DuckDBPyConnection]:
        """Open the store for reading; options and errors are those of `writer`.

        A store of an earlier schema is brought up to date first, as the writer does.
        """
        self._require()
        with self._open(read_only=True, wait_seconds=wait_seconds, on_wait=on_wait) as con:
            is_current = check_version(con, where=str(self.file)) == newest_version()
            if is_current:
                yield con
        if not is_current:
            with self.writer(wait_seconds=wait_seconds, on_wait=on_wait):
                pass
            with self._open(read_only=True, wait_seconds=wait_seconds, on_wait=on_wait) as con:
                yield con

    def _require(self) -> None:
        if not self.exists:
            raise StoreError(
                "there is no store here yet",
                where=str(self.folder),
                mend="Load a file first with `fleetwear load FILE`; `fleetwear templates DIR` writes blank ones, and "
                "`fleetwear demo` shows an invented fleet.",
            )

    def _connect(
        self, place: ExitStack, *, read_only: bool, wait_seconds: float, on_wait: Callable[[], None] | None
    ) -> duckdb.DuckDBPyConnection:
        """Connect to the store's file; who comes next is decided by ``place``, which holds the turn."""
        return _patiently(
            lambda: connect(self.file, read_only=read_only),
            self.file,
            place,
            wait_seconds=wait_seconds,
            on_wait=on_wait,
        )

    @contextmanager
    def _open(
        self, *, read_only: bool, wait_seconds: float, on_wait: Callable[[], None] | None
    ) -> Iterator[duckdb.DuckDBPyConnection]:
        with ExitStack() as place:
            con = self._connect(place, read_only=read_only, wait_seconds=wait_seconds, on_wait=on_wait)
        try:
            yield con
        finally:
            con.close()


def remove_unfinished_copies(folder: Path) -> None:
    """Remove what is left of copies of a store that were cut off; only for one who holds the store's lock."""
    for left in folder.glob("store.schema-*.duckdb.unfinished"):
        left.unlink(missing_ok=True)


@contextmanager
def _told_if_unwritten(file: Path) -> Iterator[None]:
    """Say of a store that the disk does not take that it is as it was."""
    import duckdb

    try:
        yield
    except (duckdb.IOException, duckdb.FatalException, duckdb.TransactionException) as error:
        raise StoreError(
            f"the store cannot be written: {str(error).splitlines()[0]}",
            where=str(file),
            mend="See that the disk has room and that you may write there. What was not written is undone; "
            "what was handed over is in the inbox, and the next load takes it.",
        ) from error


def attach(con: duckdb.DuckDBPyConnection, file: Path, *, name: str, wait_seconds: float = 30.0) -> None:
    """Attach a store's file for reading, under a name.

    Raises
    ------
    StoreError
        If it cannot be opened, or another process writes to it too long.
    """
    command = f"""attach '{str(file).replace("'", "''")}' as {name} (read_only)"""
    with ExitStack() as place:
        _patiently(lambda: con.execute(command), file, place, wait_seconds=wait_seconds, on_wait=None)


def _patiently(
    opened: Callable[[], duckdb.DuckDBPyConnection],
    file: Path,
    place: ExitStack,
    *,
    wait_seconds: float,
    on_wait: Callable[[], None] | None,
) -> duckdb.DuckDBPyConnection:
    """Open, trying again while another process has the file.

    Of those that wait, one at a time tries, the next; the others wait for its turn, so that nobody is left behind by
    many. The turn is held in ``place``.
    """
    import duckdb

    deadline = time.monotonic() + wait_seconds
    tell = _once(on_wait)
    is_next = _wait_to_be_next(file.with_name(_QUEUE), place, deadline, tell)
    while True:
        try:
            if not is_next:
                raise duckdb.IOException("Could not set lock on file: others are waiting for it")
            return opened()
        except duckdb.ConnectionException as error:
            raise StoreError(
                "this program already has the store open in another way",
                where=str(file),
                mend="Close the reader before opening the writer, and the other way round.",
            ) from error
        except duckdb.IOException as error:
            if "Could not set lock" not in str(error):
                raise StoreError(
                    f"the store cannot be opened: {error}",
                    where=str(file),
                    mend="See that the file is a fleetwear store, that you may write to its folder, "
                    "and that the disk is not full.",
                ) from error
            if time.monotonic() >= deadline:
                raise StoreBusyError(
                    f"another program has had the store open for {wait_seconds:g} seconds",
                    where=str(file),
                    mend="Let it finish, or end it, and try again; nothing was changed.",
                ) from error
        except duckdb.Error as error:
            raise StoreError(
                f"the store cannot be opened: {error}",
                where=str(file),
                mend="It may have been written by a newer DuckDB or be damaged; bring back a copy.",
            ) from error
        tell()
        time.sleep(min(_PAUSE_S * random.uniform(0.5, 1.5), max(deadline - time.monotonic(), 0.0)))


def _once(tell: Callable[[], None] | None) -> Callable[[], None]:
    """Return a function that tells the first time it is called, and never again."""
    left = [tell] if tell is not None else []

    def told() -> None:
        if left:
            left.pop()()

    return told


def _wait_to_be_next(queue: Path, place: ExitStack, deadline: float, tell: Callable[[], None]) -> bool:
    """Wait until nobody else is the next, and hold that turn; where the folder cannot be written, nobody queues."""
    try:
        file = place.enter_context(queue.open("ab"))
    except OSError:
        return True
    while True:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        except BlockingIOError:
            tell()
        if time.monotonic() >= deadline:
            return False
        time.sleep(_PAUSE_S * random.uniform(0.5, 1.5))
