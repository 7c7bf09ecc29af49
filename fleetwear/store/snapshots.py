"""Published copies of the store, which readers open while the writer works.

Each copy has a file name of its own, and a small pointer file is swapped in one step: whoever reads
sees the old copy or the new one, never half of one, whatever crashes.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fleetwear.errors import StoreError
from fleetwear.store.connection import connect
from fleetwear.store.location import SNAPSHOT_FOLDER
from fleetwear.store.migrations import check_version, newest_version
from fleetwear.store.snapshot_tables import copy_tables
from fleetwear.store.syncing import sync as _sync
from fleetwear.store.tidy import make_tidy

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

    from fleetwear.store.connection import Store

_POINTER = "current.json"
_BEING_MADE = ".unfinished"


def publish(
    store: Store,
    *,
    keep: int = 3,
    wait_seconds: float = 30.0,
    finish: Callable[[duckdb.DuckDBPyConnection], None] | None = None,
) -> Path:
    """Copy the store into the next numbered snapshot, point to it and return its path.

    Parameters
    ----------
    store
        The store; nobody else may be writing, or this waits as `Store.writer` does.
    keep
        How many snapshots stay, the new one included; older ones go as far as they can be removed.
    wait_seconds
        How long to wait for another writer.
    finish
        Called on the new snapshot before anybody sees it: makes tables that are told from the others.

    Raises
    ------
    StoreError
        If the store is missing or locked, or the copy cannot be written; the old pointer then stands.
    """
    import duckdb

    folder = store.folder / SNAPSHOT_FOLDER
    with store.writer(wait_seconds=wait_seconds) as con:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            number = _next_number(store.folder)
            unfinished = folder / f"{number:06d}.duckdb{_BEING_MADE}"
            finished = folder / f"{number:06d}.duckdb"
            _copy(con, unfinished)
            _complete(unfinished, finish)
            _sync(unfinished)
            os.replace(unfinished, finished)
            forecast_id = con.execute("select max(forecast_id) from forecasts").fetchall()[0][0]
            _point_to(folder, finished, number=number, forecast_id=forecast_id)
        except (OSError, duckdb.IOException) as error:
            raise StoreError(
                f"the snapshot cannot be written: {error}",
                where=str(folder),
                mend="See that the disk has room and that you may write there; the old snapshot stands.",
            ) from error
        _remove_old(folder, current=number, keep=keep)
    return finished


def point_anew(folder: Path, write: Callable[[Path, Path], None]) -> Path:
    """Have the published snapshot written anew, as the next number, point to it and return its path.

    ``write`` is called with the old file and the one to write. Nobody else may publish meanwhile.
    """
    place = Path(folder) / SNAPSHOT_FOLDER
    said = pointer(folder)
    assert said is not None, "something is published"
    number = _next_number(folder)
    unfinished, finished = place / f"{number:06d}.duckdb{_BEING_MADE}", place / f"{number:06d}.duckdb"
    unfinished.unlink(missing_ok=True)
    write(place / Path(str(said["file"])).name, unfinished)
    _sync(unfinished)
    os.replace(unfinished, finished)
    _point_to(place, finished, number=number, forecast_id=said.get("forecast_id"))
    return finished


def pointer(folder: Path) -> dict[str, Any] | None:
    """Return what the pointer file says (number, file, published_at, forecast_id), None without one."""
    try:
        said = json.loads((Path(folder) / SNAPSHOT_FOLDER / _POINTER).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return said if isinstance(said, dict) and {"number", "file"} <= said.keys() else None


def snapshot_number(folder: Path) -> int | None:
    """Return the number of the published snapshot of the store in that folder, None without one."""
    said = pointer(folder)
    return None if said is None else int(said["number"])


def open_snapshot(folder: Path) -> duckdb.DuckDBPyConnection:
    """Return a read-only connection to the published snapshot of the store in that folder.

    Raises
    ------
    StoreError
        If nothing has been published, the file is gone, or a newer or an earlier program wrote it.
    """
    import duckdb

    for _ in range(3):  # a snapshot may be removed between reading the pointer and opening it
        said = pointer(folder)
        if said is None:
            raise StoreError(
                "nothing has been published from this store yet",
                where=str(folder),
                mend="Load files (`fleetwear templates DIR` writes blank ones), then run `fleetwear forecast`; or try "
                "`fleetwear demo`.",
            )
        file = Path(folder) / SNAPSHOT_FOLDER / Path(str(said["file"])).name
        try:
            con = connect(file, read_only=True)
        except duckdb.Error as error:
            failure = error
            continue
        try:
            version = check_version(con, where=str(file))
            if version < newest_version():
                raise StoreError(
                    f"the published snapshot has schema {version}, and this program reads schema {newest_version()}",
                    where=str(file),
                    mend="Run `fleetwear forecast` once: it brings the store up to date and publishes again.",
                )
        except StoreError:
            con.close()
            raise
        return con
    raise StoreError(
        f"the published snapshot cannot be opened: {failure}",
        where=str(file),
        mend="Publish again with `fleetwear forecast`.",
    ) from failure


def _copy(con: duckdb.DuckDBPyConnection, target: Path) -> None:
    target.unlink(missing_ok=True)
    con.execute(f"attach '{str(target).replace(chr(39), chr(39) * 2)}' as snapshot")
    try:
        copy_tables(con, "snapshot")
    finally:
        con.execute("detach snapshot")


def _complete(unfinished: Path, finish: Callable[[duckdb.DuckDBPyConnection], None] | None) -> None:
    """Give the copy the documented views of its latest forecast, and whatever else is made of it."""
    con = connect(unfinished, read_only=False)
    try:
        make_tidy(con)
        if finish is not None:
            finish(con)
    finally:
        con.close()


def _point_to(folder: Path, file: Path, *, number: int, forecast_id: int | None) -> None:
    said = {
        "number": number,
        "file": file.name,
        "published_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "forecast_id": forecast_id,
    }
    fresh = folder / f"{_POINTER}{_BEING_MADE}"
    fresh.write_text(json.dumps(said), encoding="utf-8")
    _sync(fresh)
    os.replace(fresh, folder / _POINTER)
    _sync(folder)


def _next_number(folder: Path) -> int:
    """Return a number that no snapshot has had, one that somebody removed included: readers know them by it."""
    there = [_number_of(file) for file in (Path(folder) / SNAPSHOT_FOLDER).iterdir()]
    return 1 + max([snapshot_number(folder) or 0, *there])


def _number_of(file: Path) -> int:
    stem = file.name.partition(".")[0]
    return int(stem) if stem.isdigit() else 0


def _remove_old(folder: Path, *, current: int, keep: int) -> None:
    for file in folder.iterdir():
        number = _number_of(file)
        if number and (number <= current - keep or (number < current and file.name.endswith(_BEING_MADE))):
            with suppress(OSError):
                file.unlink()
