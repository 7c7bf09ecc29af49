"""A person's name taken out of a store on request, leaving the numbers; the one exception to rows that only add up.

The order makes it safe to run again after a crash: files of the inbox first, each in one step with the record of its
rewriting; then the store's file, which takes over the new checksums; then the snapshots. Until all is done the code is
kept in ``erasing.json`` beside a salted hash of the name, so that a second run goes on with the same code.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import secrets
import shutil
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fleetwear.errors import InputError, StoreError
from fleetwear.store.connection import Store, remove_unfinished_copies
from fleetwear.store.inbox import COLUMNS, CONTENT, MANIFEST, Inbox
from fleetwear.store.location import DRAFT_FOLDER, DRAFT_LOCK, SNAPSHOT_FOLDER, STORE_FILE
from fleetwear.store.rewriting_files import Name, without_name
from fleetwear.store.rewriting_tables import count_cells, find_name, rewrite_file, write_without
from fleetwear.store.snapshots import point_anew, pointer
from fleetwear.store.syncing import sync

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

_UNDER_WAY = "erasing.json"
_STEP = ("entry", "from_sha256", "to_sha256", "columns_from_sha256", "columns_to_sha256")
"""What the record of an erasure holds of each rewritten entry."""
_OLD = ".old.unfinished"


@dataclass(frozen=True)
class Erasure:
    """What was erased.

    Attributes
    ----------
    code
        What stands in place of the name.
    cells, entries
        How many cells of the store and which files of the inbox held it.
    snapshots_removed, copies
        Older snapshots that were removed; other copies of the store that were rewritten.
    left
        Files of the store's folder in which the name still stands as it was given, byte for byte.
    """

    code: str
    cells: int
    entries: tuple[str, ...]
    snapshots_removed: int
    copies: tuple[str, ...]
    left: tuple[str, ...]


def erase_person(folder: Path, person: str, *, by: str, why: str, on_wait: Callable[[], None] | None = None) -> Erasure:
    """Put a random code in place of a person's name everywhere in a store's folder.

    Raises
    ------
    InputError
        If the name is too short, is also a word that numbers hang on, or stands nowhere.
    StoreError
        If there is no store, it stays locked, or a file cannot be written; running it again goes on from there.
    """
    folder = Path(folder)
    wanted = " ".join(person.split())
    if len(wanted) < 2:
        raise InputError("the name is too short to be told apart", mend="Give the name as it is written in the files.")
    store = Store(folder)
    try:
        with store.alone(on_wait=on_wait) as con:
            name = Name(wanted, _code(folder, wanted))
            return _erase(con, store, name, by=name.out_of(by), why=name.out_of(why))
    except OSError as error:
        raise StoreError(
            f"the name is not erased everywhere yet: {error.strerror or error}",
            where=str(folder),
            mend="See that the disk has room for a second copy of the store, and run it again: it goes on from there.",
        ) from error


def _erase(con: duckdb.DuckDBPyConnection, store: Store, name: Name, *, by: str, why: str) -> Erasure:
    folder = store.folder
    found = find_name(con, name)
    cells = count_cells(con, found)
    rewritten = _rewrite_inbox(Inbox(folder), name)
    drafts = _rewrite_drafts(folder, name)
    own = [step["entry"] for step in rewritten if step["code"] == name.code]
    if not cells and not own and not drafts and not _held_elsewhere(folder, name.name):
        (folder / _UNDER_WAY).unlink(missing_ok=True)
        raise InputError("that name stands nowhere in the store", where=str(folder), mend="See how it is written.")
    _swap_store(con, store, name, cells=cells, by=by, why=why, rewritten=rewritten)
    remove_unfinished_copies(folder)
    copies = [path for path in folder.glob("store.schema-*.duckdb") if path.is_file()]
    for path in copies:
        fresh = path.with_name(f"{path.name}.unfinished")
        fresh.unlink(missing_ok=True)
        rewrite_file(path, fresh, name)
        os.replace(fresh, path)
    removed = _renew_snapshots(folder, name)
    (folder / _UNDER_WAY).unlink(missing_ok=True)
    sync(folder)
    return Erasure(
        name.code,
        cells,
        tuple(own),
        removed,
        tuple(path.name for path in copies),
        tuple(_held_elsewhere(folder, name.name)),
    )


def _code(folder: Path, name: str) -> str:
    """Return a random code for the name; the same one as before where an erasure of it was cut off."""
    file = folder / _UNDER_WAY
    with suppress(OSError, ValueError, KeyError):
        said = json.loads(file.read_text(encoding="utf-8"))
        if _hash(said["salt"], name) == said["hash"]:
            return str(said["code"])
    salt, code = secrets.token_hex(16), f"person-{secrets.token_hex(5)}"
    fresh = file.with_name(f"{_UNDER_WAY}.unfinished")
    fresh.write_text(json.dumps({"code": code, "salt": salt, "hash": _hash(salt, name)}), encoding="utf-8")
    sync(fresh)
    os.replace(fresh, file)
    sync(folder)
    return code


def _hash(salt: str, name: str) -> str:
    return hashlib.sha256(f"{salt}{name.casefold()}".encode()).hexdigest()


def _rewrite_inbox(inbox: Inbox, name: Name) -> list[dict[str, Any]]:
    """Rewrite the files that hold the name, each with its manifest, and return what every rewriting recorded."""
    recorded: list[dict[str, Any]] = []
    for moved in inbox.folder.glob(f"*{_OLD}"):
        if not moved.with_name(moved.name.removesuffix(_OLD)).exists():
            moved.rename(moved.with_name(moved.name.removesuffix(_OLD)))
    for unfinished in inbox.unfinished():
        # An erasure that was cut off, or a delivery of a process that has ended: neither is an entry.
        number = unfinished.partition("-")[0]
        if not (number.isdigit() and Path(f"/proc/{number}").exists()):
            shutil.rmtree(inbox.folder / unfinished, ignore_errors=True)
    for entry_name in inbox.names():
        manifest = inbox.folder / entry_name / MANIFEST
        try:
            said = json.loads(manifest.read_text(encoding="utf-8"))
            content = (inbox.folder / entry_name / CONTENT / said["original_name"]).read_bytes()
            columns = (inbox.folder / entry_name / COLUMNS).read_bytes() if said.get("columns_sha256") else None
        except (OSError, ValueError, KeyError):
            continue
        fresh, fresh_name = without_name(content, name), name.out_of(said["original_name"])
        by = name.out_of(said["received_by"])
        fresh_columns = None if columns is None else without_name(columns, name)
        of_columns = _columns_said(said, fresh_columns, name)
        was = (content, said["original_name"], said["received_by"], {key: said[key] for key in of_columns})
        if (fresh, fresh_name, by, of_columns) != was:
            sha256 = hashlib.sha256(fresh).hexdigest()
            at = datetime.now(UTC).replace(tzinfo=None).isoformat(timespec="seconds")
            step = {"at": at, "code": name.code, "from_sha256": said["sha256"], "to_sha256": sha256}
            if fresh_columns != columns:
                step |= {
                    "columns_from_sha256": said["columns_sha256"],
                    "columns_to_sha256": of_columns["columns_sha256"],
                }
            said |= of_columns | {
                "original_name": fresh_name,
                "received_by": by,
                "size_bytes": len(fresh),
                "sha256": sha256,
            }
            said["rewritten"] = [*said.get("rewritten", []), step]
            _replace_entry(inbox.folder / entry_name, said, fresh, fresh_columns)
        recorded += [
            {"entry": entry_name, "name": said["original_name"], "size_bytes": said["size_bytes"], **step}
            for step in said.get("rewritten", [])
        ]
    return recorded


def _rewrite_drafts(folder: Path, name: Name) -> int:
    """Rewrite the drafts of visits, and what they handed over, that hold the name; return how many there were."""
    place = folder / DRAFT_FOLDER
    if not place.is_dir():
        return 0
    rewritten = 0
    with (place / DRAFT_LOCK).open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # as whoever changes a draft does
        for file in sorted(place.glob("*.json")):
            content = file.read_bytes()
            fresh = without_name(content, name)
            if fresh != content:
                unfinished = file.with_name(f".{file.name}.unfinished")
                unfinished.write_bytes(fresh)
                sync(unfinished)
                os.replace(unfinished, file)
                rewritten += 1
        sync(place)
    return rewritten


def _columns_said(said: dict[str, Any], columns: bytes | None, name: Name) -> dict[str, str]:
    """Return what a manifest says of the column map that came with its file, without the name."""
    if columns is None:
        return {}
    told = {"columns_sha256": hashlib.sha256(columns).hexdigest()}
    return told | ({"columns_name": name.out_of(said["columns_name"])} if said.get("columns_name") else {})


def _replace_entry(entry: Path, said: dict[str, Any], content: bytes, columns: bytes | None) -> None:
    """Put a rewritten entry, with the column map that came with its file, in the place of the old one."""
    fresh = entry.with_name(f"{entry.name}.unfinished")
    (fresh / CONTENT).mkdir(parents=True)
    (fresh / CONTENT / said["original_name"]).write_bytes(content)
    (fresh / MANIFEST).write_text(json.dumps(said, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    if columns is not None:
        (fresh / COLUMNS).write_bytes(columns)
        sync(fresh / COLUMNS)
    for path in (fresh / CONTENT / said["original_name"], fresh / CONTENT, fresh / MANIFEST, fresh):
        sync(path)
    _exchange(fresh, entry)
    shutil.rmtree(fresh)
    sync(entry.parent)


def _exchange(one: Path, other: Path) -> None:
    """Exchange two folders: in one step where the system can, else in three of which a rerun undoes the first."""
    import ctypes

    libc = ctypes.CDLL(None, use_errno=True)
    here, both = -100, 2  # AT_FDCWD and RENAME_EXCHANGE, see renameat2(2)
    if hasattr(libc, "renameat2") and not libc.renameat2(here, os.fsencode(one), here, os.fsencode(other), both):
        return
    moved = other.with_name(f"{other.name}{_OLD}")
    os.rename(other, moved)
    os.rename(one, other)
    os.rename(moved, one)


def _swap_store(
    con: duckdb.DuckDBPyConnection,
    store: Store,
    name: Name,
    *,
    cells: int,
    by: str,
    why: str,
    rewritten: list[dict[str, Any]],
) -> None:
    """Write the store's file anew without the name, with the new checksums, and put it in the old one's place."""
    fresh = store.folder / f"{STORE_FILE}.erased.unfinished"
    fresh.unlink(missing_ok=True)
    for step in rewritten:
        con.execute(
            "update inbox_entries set sha256 = $to_sha256, original_name = $name, size_bytes = $size_bytes "
            "where entry = $entry and sha256 = $from_sha256",
            {key: step[key] for key in ("to_sha256", "name", "size_bytes", "entry", "from_sha256")},
        )
    steps = [{key: step[key] for key in _STEP if key in step} for step in rewritten if step["code"] == name.code]
    con.execute(
        "insert into erasures (code, why, erased_by, erased_at, cells, entries) "
        "values ($code, $why, $by, $at, $cells, $steps)",
        {
            "code": name.code,
            "why": why,
            "by": by,
            "at": datetime.now(UTC).replace(tzinfo=None),
            "cells": cells,
            "steps": json.dumps(steps),
        },
    )
    con.execute("checkpoint")
    write_without(con, fresh, find_name(con, name))
    con.close()
    os.replace(fresh, store.file)
    sync(store.folder)


def _renew_snapshots(folder: Path, name: Name) -> int:
    """Write the published snapshot anew under the next number, and remove all others; return how many went."""
    place = folder / SNAPSHOT_FOLDER
    said = pointer(folder)
    if not place.is_dir():
        return 0
    kept = None
    if said is not None and (place / Path(str(said["file"])).name).is_file():
        kept = point_anew(folder, lambda old, fresh: rewrite_file(old, fresh, name))
    removed = 0
    for path in place.iterdir():
        if path.name != "current.json" and path != kept:
            path.unlink()
            removed += 1
    return removed


def _held_elsewhere(folder: Path, name: str) -> list[str]:
    """Return the files that hold the name byte for byte, in the given case or in small letters."""
    wanted = name.lower().encode()
    return sorted(
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        if path.is_file() and (wanted in path.read_bytes().lower() or name.lower() in path.name.lower())
    )
