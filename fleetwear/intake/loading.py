"""Files into the store: recognised together, loaded one transaction a file."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.intake.column_maps import ColumnMap, map_beside, read_map
from fleetwear.intake.columns import BY_NAME, TABLES
from fleetwear.intake.correcting import CorrectionsLoad
from fleetwear.intake.headers import Recognised, recognise
from fleetwear.intake.mapped import apply_map
from fleetwear.intake.memory import small_pages
from fleetwear.intake.readings_load import ReadingsLoad
from fleetwear.intake.sheet_loading import SheetLoad, begin_file, prepare
from fleetwear.intake.sheets import Sheet, file_sha256, read_sheets
from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import date

    import duckdb

    from fleetwear.intake.summary import LoadSummary
    from fleetwear.store import Store

_PLACE = {table.name: i for i, table in enumerate(TABLES)}
_NEEDS: dict[str, set[str]] = {
    "odometer": {"vehicles"},
    "services": {"vehicles", "odometer"},
    "visits": {"vehicles", "positions", "odometer"},
    "readings": {"vehicles", "positions", "limits", "odometer", "visits"},
    "wheel_checks": {"vehicles", "positions", "odometer", "visits"},
    "work": {"vehicles", "positions", "odometer"},
    "stock": {"parts"},
    "actions": {"vehicles", "positions"},
    "corrections": {"vehicles", "positions", "limits", "odometer", "services", "visits", "readings", "work"},
}
"""The tables that another one's rows refer to. Swaps of an odometer come before the values they explain."""

_LOADS: dict[str, type[SheetLoad]] = {"corrections": CorrectionsLoad, "readings": ReadingsLoad}
"""The tables whose sheets are not loaded as every sheet is."""


@dataclass(frozen=True)
class ReadFile:
    """A file read and recognised, ready to be loaded."""

    path: Path
    sha256: str
    sheets: tuple[tuple[Sheet, Recognised], ...]
    reading_seconds: float
    columns: ColumnMap | None = None

    @property
    def tables(self) -> set[str]:
        """The names of the tables in it."""
        return {recognised.table.name for _, recognised in self.sheets}


@dataclass(frozen=True)
class Handed:
    """A file to read: where it lies, its name for messages, and its column map if it has one.

    Attributes
    ----------
    path
        The file.
    shown
        The file as it was handed over, which need not be where it is read.
    columns
        Its column map's file.
    columns_shown
        The map as it was handed over.
    """

    path: Path
    shown: str
    columns: Path | None = None
    columns_shown: str = ""


def handed(path: Path, columns: Path | None = None) -> Handed:
    """Return a file to read with the column map that is given for it, or else the one that lies beside it."""
    path = Path(path)
    columns = columns or map_beside(path)
    return Handed(path, str(path), columns, "" if columns is None else str(columns))


@small_pages()
def read_file(file: Handed) -> ReadFile:
    """Return a file's sheets with the table each holds, in the order in which they are best loaded.

    Raises
    ------
    InputError
        If the file or its column map cannot be read, or a sheet of it fits no table.
    """
    started = time.monotonic()
    columns = None if file.columns is None else read_map(file.columns, name=file.columns_shown)
    with ThreadPoolExecutor(1) as beside:
        sha256 = beside.submit(file_sha256, file.path)
        found = read_sheets(file.path, shown=file.shown, columns=columns)
    sheets = [apply_map(sheet, columns) if columns is not None else (sheet, _recognised(sheet)) for sheet in found]
    sheets.sort(key=lambda pair: _PLACE[pair[1].table.name])
    return ReadFile(file.path, sha256.result(), tuple(sheets), time.monotonic() - started, columns)


def _recognised(sheet: Sheet) -> Recognised:
    """Return the table that a sheet holds: that of its header, or in a JSON file the one that it is named for."""
    if sheet.names_table:
        return recognise(sheet.header, where=sheet.where, among=(BY_NAME[str(sheet.name)],))
    return recognise(sheet.header, where=sheet.where, in_workbook=sheet.name is not None)


def load_files(
    store: Store,
    paths: Iterable[Path],
    *,
    today: date,
    loaded_at: datetime | None = None,
    columns: Path | None = None,
    on_progress: Callable[[str], None] | None = None,
    wait_seconds: float = 30.0,
    on_wait: Callable[[], None] | None = None,
) -> list[LoadSummary]:
    """Load files into the store and return what became of each sheet's rows.

    All files are read and recognised first, so that a file that cannot be read stops the load before
    anything is stored. Then each file is one transaction: all of it is in, or nothing.

    Parameters
    ----------
    store
        The store.
    paths
        CSV, XLSX and JSON files in any order; what others refer to is loaded first.
    today
        The day after which a date lies in the future.
    loaded_at
        The time to record (UTC); now unless given.
    columns
        A column map for all of them; else each has the one beside it, if there is one.
    on_progress
        Called with a line of text as each step begins.
    wait_seconds, on_wait
        As in `Store.writer`.

    Raises
    ------
    InputError
        If files cannot be read or recognised; all of them are named, and nothing is loaded.
    StoreError
        If the store is missing or stays locked.
    """
    tell = on_progress or (lambda _: None)
    files = read_files([handed(path, columns) for path in paths], on_progress=tell)
    when = loaded_at or datetime.now(UTC).replace(tzinfo=None)
    summaries: list[LoadSummary] = []
    with store.writer(wait_seconds=wait_seconds, on_wait=on_wait) as con:
        prepare(con)
        for file in best_order(files):
            tell(f"loading {file.path.name}")
            summaries += load_file(con, file, today=today, loaded_at=when)
    return summaries


def read_files(given: Iterable[Handed], *, on_progress: Callable[[str], None]) -> list[ReadFile]:
    """Return all files read and recognised.

    Raises
    ------
    InputError
        If some cannot be; all of those are named.
    """
    files: list[ReadFile] = []
    failures: list[InputError] = []
    for one in given:
        on_progress(f"reading {one.path.name}")
        try:
            files.append(read_file(one))
        except InputError as error:
            failures.append(error)
    nothing = "Nothing was loaded, nor anything from the other files." if files else "Nothing was loaded."
    if len(failures) == 1:
        (failure,) = failures
        mend = f"{failure.mend} {nothing}".lstrip()
        raise type(failure)(failure.what, where=failure.where, mend=mend) from failure
    if failures:
        raise InputError(
            f"{len(failures)} files cannot be loaded:\n" + "\n".join(f"- {error}" for error in failures),
            mend=nothing,
        )
    return files


def best_order(files: list[ReadFile]) -> list[ReadFile]:
    """Return the files so that each comes after those that bring what its rows refer to."""
    waiting = sorted(files, key=lambda file: min(_PLACE[name] for name in file.tables))
    ordered: list[ReadFile] = []
    while waiting:

        def lacks(file: ReadFile) -> int:
            needs = set().union(*(_NEEDS.get(name, set()) for name in file.tables)) - file.tables
            others = [other.tables for other in waiting if other is not file]
            return len(needs & set().union(*others))

        following = min(waiting, key=lacks)
        waiting.remove(following)
        ordered.append(following)
    return ordered


@small_pages()
def load_file(
    con: duckdb.DuckDBPyConnection,
    file: ReadFile,
    *,
    today: date,
    loaded_at: datetime,
    on_loaded: Callable[[list[int]], None] | None = None,
) -> list[LoadSummary]:
    """Load one file on a prepared connection, all of it or nothing, and return what became of each sheet's rows.

    ``on_loaded`` is called with the numbers of the loads that it brought, inside the same transaction.
    """
    con.execute("begin")
    try:
        before = con.execute("select coalesce(max(load_id), 0) from loads").fetchall()[0][0]
        begin_file(con)
        if file.columns is not None:
            _check_joints(con, file.columns)
        summaries = []
        for i, (sheet, recognised) in enumerate(file.sheets):
            load = _LOADS.get(recognised.table.name, SheetLoad)(
                con,
                sheet,
                recognised,
                sha256=file.sha256,
                today=today,
                loaded_at=loaded_at,
                reading_seconds=file.reading_seconds / len(file.sheets),
                is_last=i == len(file.sheets) - 1,
            )
            summaries.append(load.run())
        if on_loaded is not None:
            new = con.execute("select load_id from loads where load_id > $1 order by load_id", [before]).fetchall()
            on_loaded([int(row[0]) for row in new])
        con.execute("commit")
    except BaseException:
        with suppress(Exception):  # where the disk is full the transaction has ended by itself
            con.execute("rollback")
        raise
    return summaries


def _check_joints(con: duckdb.DuckDBPyConnection, columns: ColumnMap) -> None:
    """Check that each joint that a column map names is one of some vehicle."""
    unknown = con.execute(statement("unknown_joints"), {"joints": list(columns.joints)}).fetchall()
    if unknown:
        joint, nearest = unknown[0]
        raise InputError(
            f"no vehicle has a joint {joint!r}" + (f"; nearest is {nearest!r}" if nearest else ""),
            where=columns.name,
            mend="Correct it in the column map, or load the positions first.",
        )
