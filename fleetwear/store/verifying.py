"""Whether a store is whole: rows against loads, references, and the inbox against what the store knows of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear.errors import StoreError
from fleetwear.store.connection import Store
from fleetwear.store.inbox import Damage, Inbox
from fleetwear.store.migrations import newest_version, schema_version
from fleetwear.store.queries import sql

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

_INBOX_SINCE, _CORRECTIONS_SINCE = 5, 8


@dataclass(frozen=True)
class Verdict:
    """What was found.

    Attributes
    ----------
    wrong
        What is not as it should be, each in a sentence.
    remarks
        What a person should know though nothing is wrong with it.
    checked
        What was looked at, in words.
    """

    wrong: tuple[str, ...]
    remarks: tuple[str, ...]
    checked: tuple[str, ...]


def verify(
    folder: Path,
    *,
    on_progress: Callable[[str, int, int], None] | None = None,
    on_wait: Callable[[], None] | None = None,
) -> Verdict:
    """Check the store in a folder; nothing is changed.

    Raises
    ------
    StoreError
        If there is no store in the folder.
    """
    store, inbox = Store(Path(folder)), Inbox(Path(folder))
    wrong: list[str] = []
    remarks: list[str] = []
    checked: list[str] = []
    recorded: dict[str, str] | None = None
    report = on_progress or (lambda *_: None)
    names = inbox.names()
    if not store.exists:
        with store.reader():  # says so
            pass
    try:
        with store.reader(on_wait=on_wait) as con:
            version = schema_version(con)
            if version < newest_version():
                remarks.append(f"The store has schema {version}; the next load or forecast brings it up to date.")
            wrong += _recount(con)
            if version >= _CORRECTIONS_SINCE:
                wrong += _corrections(con)
                wrong += _of_others(con)
            wrong += _doubled(con)
            wrong += _orphans(con, report)
            loads, rows = con.execute(
                "select count(*), coalesce(sum(rows_in + rows_quarantined), 0) from loads"
            ).fetchall()[0]
            checked.append(f"{loads} loads with {rows} rows")
            recorded = {}
            if version >= _INBOX_SINCE:
                recorded = {row[0]: row[1] for row in con.execute(sql("inbox/recorded_entries")).fetchall()}
    except StoreError as error:
        wrong.append(str(error))
    lost: dict[str, str] = {}
    whole: dict[str, str] = {}
    for done, name in enumerate(names):
        report(f"inbox entry {name}", done, len(names))
        entry = inbox.check(name)
        if isinstance(entry, Damage):
            lost[name] = f"Inbox entry {name}: {entry.what}."
            continue
        whole[entry.sha256] = name
        if recorded is not None and name not in recorded:
            remarks.append(f"Inbox entry {name} ({entry.original_name}) is not taken yet: run `fleetwear load`.")
        elif recorded is not None and recorded[name] != entry.sha256:
            wrong.append(f"Inbox entry {name} has SHA-256 {entry.sha256}; the store took {recorded[name]} from it.")
    if names:
        report("inbox entries", len(names), len(names))
    gone = sorted((recorded or {}).keys() - set(names))
    lost |= {name: f"Inbox entry {name} was taken and is gone." for name in gone}
    for name, words in lost.items():
        copy = whole.get((recorded or {}).get(name, ""))
        if copy is not None:
            remarks.append(f"{words} Its rows are in the store, and entry {copy} is a whole copy of its file.")
        else:
            wrong.append(f"{words} {_mend_of(name, recorded)}")
    remarks += [f"Inbox: {name} is no delivery; load it with `fleetwear load`." for name in inbox.strays()]
    remarks += [
        f"Inbox: {name} is a delivery that was not finished; load its file again." for name in inbox.unfinished()
    ]
    checked.append(f"{len(names)} inbox entries")
    return Verdict(tuple(wrong), tuple(remarks), tuple(checked))


def _mend_of(name: str, recorded: dict[str, str] | None) -> str:
    """Return what a person can do about an entry that is not as it came."""
    if recorded is None:
        return "Whether it was taken is told once the store can be opened."
    if name in recorded:
        return "Its rows are in the store: load its file again, as it came, and a whole copy is kept beside it."
    return "It was not taken, so its rows are not in the store: load its file again, as it came."


def _recount(con: duckdb.DuckDBPyConnection) -> list[str]:
    return [
        f"Load {load_id} ({file}, {table}) brought {rows_in} rows and {found} are there; it refused {refused} and "
        f"{refused_found} are in quarantine."
        for load_id, file, table, rows_in, found, refused, refused_found in con.execute(
            sql("verify/recount")
        ).fetchall()
    ]


def _corrections(con: duckdb.DuckDBPyConnection) -> list[str]:
    counted = con.execute(sql("verify/recount_corrections")).fetchall()
    return [
        f"Load {load_id} ({file}, corrections) brought {rows_in} rows and {found} are there."
        for load_id, file, rows_in, found in counted
    ] + [
        f"Correction {correction_id} names row {row_id} of {table}, which {wrong}."
        for correction_id, table, row_id, wrong in con.execute(sql("verify/corrections")).fetchall()
    ]


def _doubled(con: duckdb.DuckDBPyConnection) -> list[str]:
    return [
        f"{n} readings, from number {first_id} to {last_id}, are one row of a file: they have the key {key}."
        for key, n, first_id, last_id in con.execute(sql("verify/doubled_keys")).fetchall()
    ] + [
        f"{n} readings have the number {reading_id}."
        for reading_id, n in con.execute(sql("verify/doubled_numbers")).fetchall()
    ]


def _of_others(con: duckdb.DuckDBPyConnection) -> list[str]:
    return [
        f"{n} readings, from number {first_id} to {last_id}, are of another vehicle than their visit {visit_id}: "
        "withdraw the visit, and load it with its readings for the right unit."
        for visit_id, n, first_id, last_id in con.execute(sql("verify/other_vehicles")).fetchall()
    ]


def _orphans(con: duckdb.DuckDBPyConnection, report: Callable[[str, int, int], None]) -> list[str]:
    found = []
    references = con.execute(sql("verify/references")).fetchall()
    for done, (table, column, home, home_column) in enumerate(references):
        report(f"{table}.{column}", done, len(references))
        n = con.execute(
            f'select count(*) from "{table}" as t anti join "{home}" as h on h."{home_column}" = t."{column}" '
            f'where t."{column}" is not null'
        ).fetchall()[0][0]
        if n:
            found.append(f"{n} rows of {table} name a {column} that is not among the {home}.")
    report("references", len(references), len(references))
    return found
