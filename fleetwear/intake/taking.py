"""From the inbox into the store: files are put there first, and taken from there, each exactly once."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear import __version__
from fleetwear.errors import InputError, StoreBusyError
from fleetwear.intake.column_maps import map_beside, read_map
from fleetwear.intake.loading import Handed, ReadFile, best_order, handed, load_file, read_file, read_files
from fleetwear.intake.sheet_loading import prepare
from fleetwear.store import Store, sql
from fleetwear.store.inbox import Damage, Entry, Inbox
from fleetwear.store.runs import running

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from datetime import date

    import duckdb

    from fleetwear.intake.summary import LoadSummary


LONGEST_WAIT_S = 120.0
"""How long a load waits for the store before it leaves its files in the inbox for the next one."""


def take_files(
    folder: Path,
    paths: Iterable[Path] = (),
    *,
    today: date,
    loaded_at: datetime | None = None,
    columns: Path | None = None,
    by: str = f"fleetwear load {__version__}",
    on_progress: Callable[[str], None] | None = None,
    on_note: Callable[[str], None] | None = None,
    wait_seconds: float = LONGEST_WAIT_S,
    on_wait: Callable[[], None] | None = None,
) -> list[LoadSummary]:
    """Put files into the inbox, load them with whatever lies there untaken, and return what became of their rows.

    Whenever this is ended, by whatever, running it again goes on from there: a file that is in the inbox is taken,
    and its loads and the record of its taking are one transaction. Whoever hands over, a run "load" is recorded.

    Parameters
    ----------
    folder
        The store's folder; the store is made where there is none.
    paths
        The files; without any, only what lies in the inbox is taken.
    today, loaded_at, columns, on_progress, wait_seconds, on_wait
        As in `load_files`.
    by
        What hands the files over.
    on_note
        Called with what a person should know: files taken from earlier deliveries, refused or damaged ones.

    Raises
    ------
    InputError
        If files cannot be read or recognised; all of them are named, and nothing of `paths` is loaded. The inbox
        keeps them, recorded as refused. Also if a column map names a joint that no vehicle has: its file is refused,
        and the others are loaded.
    StoreError
        If the store or the inbox cannot be opened or written, or the store stays locked. Files in the inbox are
        then taken the next time.
    """
    files = [Path(path) for path in paths]
    asked = {"files": [file.name for file in files], "today": today, "by": by}
    with running(Path(folder), "load", settings=asked) as run:

        def record(con: duckdb.DuckDBPyConnection, summaries: list[LoadSummary]) -> None:
            run.record(
                con,
                sheets=len(summaries),
                rows_read=sum(one.rows_read for one in summaries),
                rows_in=sum(one.rows_in for one in summaries),
                rows_quarantined=sum(one.rows_quarantined for one in summaries),
            )

        return _take(
            folder,
            files,
            today=today,
            loaded_at=loaded_at,
            columns=columns,
            by=by,
            on_progress=on_progress,
            on_note=on_note,
            on_taken=record,
            wait_seconds=wait_seconds,
            on_wait=on_wait,
        )


def _take(
    folder: Path,
    paths: list[Path],
    *,
    today: date,
    loaded_at: datetime | None,
    columns: Path | None,
    by: str,
    on_progress: Callable[[str], None] | None,
    on_note: Callable[[str], None] | None,
    on_taken: Callable[[duckdb.DuckDBPyConnection, list[LoadSummary]], None],
    wait_seconds: float,
    on_wait: Callable[[], None] | None,
) -> list[LoadSummary]:
    """Do what `take_files` says; ``on_taken`` is called with the writer when all is taken, before it is let go."""
    given = [handed(path, columns) for path in _without_maps(paths)]
    if missing := [one for one in given if not one.path.is_file()]:
        read_files(missing, on_progress=lambda _: None)
    if columns is not None:
        read_map(columns, name=str(columns))
    tell = on_progress or (lambda _: None)
    note = on_note or (lambda _: None)
    when = loaded_at or datetime.now(UTC).replace(tzinfo=None)
    inbox = Inbox(Path(folder))
    maps = {one.path: one.columns for one in given if one.columns is not None}
    with (
        inbox.deliver([one.path for one in given], by=by, received_at=loaded_at, columns=maps) as own,
        _told_as_safe(own),
    ):
        store = Store(Path(folder))
        if not store.exists:
            Store.create_or_open(folder, wait_seconds=wait_seconds)
        try:
            kept = [
                replace(one, path=inbox.content(entry), columns=inbox.columns(entry))
                for one, entry in zip(given, own, strict=True)
            ]
            files = read_files(kept, on_progress=tell)
        except InputError as error:
            with store.writer(wait_seconds=wait_seconds, on_wait=on_wait) as con:
                for entry in own:
                    _record(con, entry, taken_at=when, refused=str(error))
            raise
        with store.writer(wait_seconds=wait_seconds, on_wait=on_wait) as con:
            if loaded_at is None:
                when = _after_all_loads(con, when, note)
            prepare(con)
            waiting = _read_pending(con, inbox, {entry.entry for entry in own}, when=when, note=note)
            fresh = list(zip(files, own, strict=True))
            entry_of = {id(file): entry for file, entry in [*waiting, *fresh]}
            summaries: list[LoadSummary] = []
            refused: list[InputError] = []
            for file in _in_order(waiting, fresh):
                entry = entry_of[id(file)]
                tell(f"loading {entry.original_name}")

                def record(load_ids: list[int], taken: Entry = entry) -> None:
                    _record(con, taken, taken_at=when, load_ids=load_ids)

                try:
                    summaries += load_file(con, file, today=today, loaded_at=when, on_loaded=record)
                except InputError as error:
                    _record(con, entry, taken_at=when, refused=str(error))
                    refused.append(error)
            on_taken(con, summaries)
    if refused:
        taken = ", ".join(dict.fromkeys(each.file for each in summaries))
        raise InputError(
            "; ".join(str(error) for error in refused),
            mend=f"Loaded were: {taken}." if taken else "Nothing was loaded.",
        )
    return summaries


@contextmanager
def _told_as_safe(own: list[Entry]) -> Iterator[None]:
    """Say of a store that stays busy that the files lie in the inbox."""
    try:
        yield
    except StoreBusyError as error:
        if not own:
            raise
        mend = (
            f"The {len(own)} files handed over are safe in the inbox, and the next load takes them: `fleetwear load`."
        )
        raise StoreBusyError(error.what, where=error.where, mend=mend) from error


def _without_maps(paths: Iterable[Path]) -> list[Path]:
    """Return the files without the column maps that lie beside one of them, as a wildcard names both."""
    chosen = [Path(path) for path in paths]
    maps = {map_beside(path) for path in chosen}
    return [path for path in chosen if path not in maps]


def pending(con: duckdb.DuckDBPyConnection, inbox: Inbox) -> list[str]:
    """Return the names of the entries that the store has no record of, the earliest first."""
    recorded = {row[0] for row in con.execute(sql("inbox/recorded_entries")).fetchall()}
    return [name for name in inbox.names() if name not in recorded]


def _after_all_loads(con: duckdb.DuckDBPyConnection, when: datetime, note: Callable[[str], None]) -> datetime:
    """Return a moment that no load lies after: a clock that was set back would change what was known when."""
    latest = con.execute("select max(loaded_at) from loads").fetchall()[0][0]
    if latest is None or when >= latest:
        return when
    note(
        f"The clock of this machine says {when:%Y-%m-%d %H:%M} UTC and the latest load was at {latest:%Y-%m-%d %H:%M}: "
        "this one is recorded just after that. Set the clock right."
    )
    return latest + timedelta(microseconds=1)  # type: ignore[no-any-return]


def _in_order(waiting: list[tuple[ReadFile, Entry]], given: list[tuple[ReadFile, Entry]]) -> list[ReadFile]:
    """Return files hand-over by hand-over, each in its best order, as they would have been loaded without a cut.

    Entries that tell of no hand-over count as one.
    """
    of_hand_overs: dict[str, list[ReadFile]] = {}
    for file, entry in waiting:
        of_hand_overs.setdefault(entry.hand_over, []).append(file)
    last = [file for file, _ in given]
    return [file for files in (*of_hand_overs.values(), last) for file in best_order(files)]


def _read_pending(
    con: duckdb.DuckDBPyConnection, inbox: Inbox, own: set[str], *, when: datetime, note: Callable[[str], None]
) -> list[tuple[ReadFile, Entry]]:
    """Return the untaken files of processes that have ended, read; tell of those that cannot be taken."""
    found = []
    for name in pending(con, inbox):
        if name in own or inbox.is_held(name):
            continue
        entry = inbox.check(name)
        if isinstance(entry, Damage):
            note(f"Not taken, and left where it is: {entry}.")
            continue
        try:
            shown = f"{entry.original_name}, received {entry.received_at:%Y-%m-%d %H:%M} UTC"
            file = read_file(Handed(inbox.content(entry), shown, inbox.columns(entry), entry.columns_name or ""))
        except InputError as error:
            _record(con, entry, taken_at=when, refused=str(error))
            note(f"Refused, and kept as inbox entry {name}: {error}")
            continue
        note(f"Taken from the inbox: {entry.original_name}, received {entry.received_at:%Y-%m-%d %H:%M} UTC.")
        found.append((file, entry))
    return found


def _record(
    con: duckdb.DuckDBPyConnection,
    entry: Entry,
    *,
    taken_at: datetime,
    load_ids: list[int] | None = None,
    refused: str | None = None,
) -> None:
    con.execute(
        sql("inbox/record_taking"),
        {
            "entry": entry.entry,
            "sha256": entry.sha256,
            "original_name": entry.original_name,
            "size_bytes": entry.size_bytes,
            "received_at": entry.received_at,
            "load_ids": load_ids or [],
            "refused": refused,
            "taken_at": taken_at,
        },
    )
