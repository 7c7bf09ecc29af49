"""What the program did: a row in the store, and a line in the log, of every load, fit, forecast and the like.

While something is done, a file ``running.<id>.json`` in the store's folder says what, and its process holds a lock on
it. What was killed leaves that file without the lock; the next run, or `note_cut_off`, makes a row of it.
"""

from __future__ import annotations

import fcntl
import json
import logging
import time
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from fleetwear import __version__
from fleetwear.errors import StoreBusyError, StoreError
from fleetwear.store.connection import Store
from fleetwear.store.queries import sql

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb
    import pandas as pd

LOG = logging.getLogger("fleetwear")
"""The program's log; the command line says where its lines go."""

WHATS = ("load", "fit", "forecast", "publish", "backtest", "backup", "restore", "verify", "erase")
"""What leaves a row."""

CUT_OFF = "it ended before it was done, killed or with the machine; how long it took is not known"
"""What is said of a run that could say nothing itself."""

_LONGEST_WAIT_S = 5.0
_MARK = "running."


@dataclass
class Running:
    """Something that is being done; `record` says that it is done, on a connection that is open for it anyhow."""

    what: str
    settings: dict[str, Any]
    began_at: datetime
    counts: dict[str, Any] = field(default_factory=dict)
    is_recorded: bool = False
    _began: float = field(default_factory=time.perf_counter)

    @property
    def elapsed_seconds(self) -> float:
        """How long it has taken so far; a clock that is set has no part in it."""
        return time.perf_counter() - self._began

    def record(self, con: duckdb.DuckDBPyConnection, **counts: object) -> None:
        """Write the row of something done, with what it counted."""
        self.counts |= counts
        self._write(con, "done", "")
        self.is_recorded = True

    def _write(self, con: duckdb.DuckDBPyConnection, outcome: str, said: str) -> None:
        row = {
            "what": self.what,
            "began_at": self.began_at,
            "elapsed_seconds": self.elapsed_seconds,
            "outcome": outcome,
            "said": said,
            "counts": json.dumps(self.counts, default=str, ensure_ascii=False),
            "settings": json.dumps(self.settings, default=str, ensure_ascii=False),
            "version": __version__,
        }
        con.execute(sql("runs/record"), row)

    def close(self, folder: Path, outcome: str, said: str, *, is_busy: bool = False) -> None:
        """Write the row on a connection of its own, where the store can be written, and the line of the log."""
        if not self.is_recorded and not is_busy:
            try:
                with Store(folder).writer(wait_seconds=_LONGEST_WAIT_S) as con:
                    self._write(con, outcome, said)
            except Exception as error:
                LOG.info("the run could not be recorded in the store: %s", error, extra={"fields": {"what": self.what}})
        seconds = round(self.elapsed_seconds, 3)
        told = {
            "what": self.what,
            "outcome": outcome,
            "seconds": seconds,
            "counts": self.counts,
            "version": __version__,
        }
        counted = ", ".join(f"{name} {value}" for name, value in self.counts.items())
        if outcome == "done":
            LOG.info("%s done in %.2f s: %s", self.what, seconds, counted or "-", extra={"fields": told})
        else:
            LOG.info("%s failed after %.2f s: %s", self.what, seconds, said, extra={"fields": told | {"said": said}})


@contextmanager
def running(folder: Path, what: str, *, settings: dict[str, Any] | None = None) -> Iterator[Running]:
    """Record that something is done in the store of a folder, or that it failed and with which words.

    A failure that the store cannot take, because it is missing or locked, is in the log alone.

    Parameters
    ----------
    folder
        The store's folder.
    what
        One of `WHATS`.
    settings
        What it was asked to do.
    """
    run = Running(what, settings or {}, datetime.now(UTC).replace(tzinfo=None))
    LOG.debug("%s begins", what, extra={"fields": {"what": what, "settings": run.settings}})
    note_cut_off(folder)
    try:
        with _marked(folder, run):
            yield run
    except BaseException as error:
        run.is_recorded = False
        busy = isinstance(error, StoreBusyError)  # nobody waits for it a second time
        run.close(folder, "failed", str(error) or type(error).__name__, is_busy=busy)
        raise
    run.close(folder, "done", "")


@contextmanager
def _marked(folder: Path, run: Running) -> Iterator[None]:
    """Have a file say what is being done until the block ends; where there is no store, or no room, there is none."""
    file = Path(folder) / f"{_MARK}{uuid4().hex}.json"
    said = {"what": run.what, "began_at": run.began_at.isoformat(), "settings": run.settings, "version": __version__}
    with ExitStack() as held:
        if Store(Path(folder)).exists and run.what != "restore":  # which moves the folder, and the mark with it
            with suppress(OSError):
                mark = held.enter_context(file.open("x", encoding="utf-8"))
                held.callback(file.unlink, missing_ok=True)
                fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
                mark.write(json.dumps(said, default=str, ensure_ascii=False))
                mark.flush()
        yield


def note_cut_off(folder: Path) -> int:
    """Make rows of runs that ended before they were done, and return how many; none while the store is in use."""
    left = [file for file in Path(folder).glob(f"{_MARK}*.json") if not _is_held(file)]
    if not left:
        return 0
    try:
        with Store(Path(folder)).writer(wait_seconds=0.0) as con:
            for file in left:
                _note(con, file)
    except Exception as error:
        LOG.info("runs that were cut off could not be recorded in the store: %s", error)
        return 0
    return len(left)


def _note(con: duckdb.DuckDBPyConnection, file: Path) -> None:
    with suppress(OSError, ValueError, KeyError):  # one that was cut off while it was written says nothing
        said = json.loads(file.read_text(encoding="utf-8"))
        row = {"what": said["what"], "began_at": datetime.fromisoformat(said["began_at"]), "elapsed_seconds": 0.0,
               "outcome": "failed", "said": CUT_OFF, "counts": "{}", "settings": json.dumps(said["settings"]),
               "version": said["version"]}  # fmt: skip
        con.execute(sql("runs/record"), row)
    file.unlink(missing_ok=True)


def _is_held(file: Path) -> bool:
    """Return whether the process that wrote the file is alive."""
    try:
        with file.open("rb") as mark:
            fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return True  # gone meanwhile, or not ours to look into
    return False


def read_runs(con: duckdb.DuckDBPyConnection, *, what: str | None = None, last: int = 20) -> pd.DataFrame:
    """Return the latest runs, the latest first.

    Returns
    -------
    DataFrame
        run, what, began_at (UTC), seconds, outcome ("done" or "failed"), said (why it failed), counts and settings
        (JSON), version.

    Raises
    ------
    StoreError
        If the store has an earlier schema, without such rows.
    """
    from fleetwear.store.migrations import schema_version

    if schema_version(con) < _RUNS_SINCE:
        raise StoreError("the store has no record of runs yet", mend="The next load or forecast begins one.")
    return con.execute(sql("runs/last"), {"what": what, "last": last}).df()


_RUNS_SINCE = 8
