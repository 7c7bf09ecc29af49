"""A store in one file, and back: a zip archive of stored members with their sizes and SHA-256 in ``manifest.json``."""

from __future__ import annotations

import json
import os
import shutil
import zipfile
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from fleetwear import __version__
from fleetwear.errors import StoreBusyError, StoreError
from fleetwear.store.connection import Store
from fleetwear.store.inbox import INBOX_FOLDER, Inbox
from fleetwear.store.location import SNAPSHOT_FOLDER, STORE_FILE
from fleetwear.store.migrations import schema_version
from fleetwear.store.snapshots import pointer
from fleetwear.store.syncing import copy_synced, pour, sync

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import BinaryIO

_MANIFEST = "manifest.json"
_KIND = "fleetwear backup"
_ROOTS = (STORE_FILE, INBOX_FOLDER, SNAPSHOT_FOLDER)


def backup(
    folder: Path,
    file: Path,
    *,
    on_progress: Callable[[str, int, int], None] | None = None,
    on_wait: Callable[[], None] | None = None,
) -> int:
    """Write the store, its inbox and its newest snapshot into one new file; return how many members it has.

    The store's file is copied while nobody else can write. Entries that reach the inbox meanwhile may be in the
    archive too; restored, they are untaken and taken the next time.

    Raises
    ------
    StoreError
        If there is no store, it stays locked, the file is there already, or it cannot be written.
    """
    file, store = Path(file), Store(Path(folder))
    if file.exists():
        raise StoreError("there is such a file already", where=str(file), mend="Name a new one.")
    unfinished = file.with_name(f"{file.name}.{uuid4().hex}.unfinished")
    members: list[dict[str, Any]] = []
    try:
        with zipfile.ZipFile(unfinished, "x", zipfile.ZIP_STORED, allowZip64=True) as archive:
            with ExitStack() as after, store.writer(on_wait=on_wait) as con:
                con.execute("checkpoint")
                schema = schema_version(con)
                # closed only after the connection: closing it earlier would drop the lock on the file
                data = after.enter_context(store.file.open("rb"))
                members.append(_add(archive, STORE_FILE, data))
                for path in _snapshot_files(store.folder):
                    with path.open("rb") as source:
                        members.append(_add(archive, path.relative_to(store.folder).as_posix(), source))
            paths = _inbox_files(store.folder)
            total = len(members) + len(paths)
            for path in paths:
                _tell(on_progress, f"copying {path.name}", len(members), total)
                with path.open("rb") as source:
                    members.append(_add(archive, path.relative_to(store.folder).as_posix(), source))
            said = {
                "kind": _KIND,
                "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
                "version": __version__,
                "schema": schema,
                "members": members,
            }
            archive.writestr(_MANIFEST, json.dumps(said, ensure_ascii=False, indent=1))
        sync(unfinished)
        _give_name(unfinished, file)
        sync(file.absolute().parent)
    except OSError as error:
        raise StoreError(
            f"the backup cannot be written: {error.strerror or error}",
            where=str(file),
            mend="See that the disk has room and that you may write there; the store is as it was.",
        ) from error
    finally:
        unfinished.unlink(missing_ok=True)
    _tell(on_progress, "copied", len(members), len(members))
    return len(members)


def _give_name(unfinished: Path, file: Path) -> None:
    """Give the archive its name, taken from no other file; memory sticks and shares often know no second names."""
    try:
        os.link(unfinished, file)
    except FileExistsError:
        raise
    except OSError:
        if file.exists():
            raise
        os.rename(unfinished, file)


def restore(
    file: Path,
    folder: Path,
    *,
    replace: bool = False,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> Path | None:
    """Bring a backup back as the store in a folder; return where what stood there was moved, None if nothing did.

    Every member is compared with its SHA-256, and the store opened, before anything is moved.

    Raises
    ------
    StoreError
        If the file is no whole backup, a newer program wrote it, or the folder is not empty and ``replace`` not given.
    """
    folder = Path(folder).absolute()
    occupied = folder.exists() and (not folder.is_dir() or any(folder.iterdir()))
    if occupied and not replace:
        raise StoreError(
            "the folder is not empty, and restoring would take its place",
            where=str(folder),
            mend="Name another folder with --store, or add --replace: what stands there is then moved aside.",
        )
    fresh = folder.with_name(f"{folder.name}.{uuid4().hex}.unfinished")
    aside = folder.with_name(f"{folder.name}.before-{datetime.now(UTC).strftime('%Y%m%dT%H%M%S%fZ')}")
    try:
        fresh.mkdir(parents=True)
        _unpack(Path(file), fresh, on_progress)
        _open_once(fresh, file)
        with ExitStack() as held:
            if occupied and Store(folder).exists:
                held.enter_context(_nobody_writes(folder))
            if occupied:
                os.rename(folder, aside)
            elif folder.exists():
                folder.rmdir()
            os.rename(fresh, folder)
        sync(folder.parent)
    except (OSError, ValueError, KeyError, TypeError, EOFError, RuntimeError, zipfile.BadZipFile) as error:
        raise StoreError(
            f"the backup cannot be restored: {str(error) or 'it ends too early'}",
            where=str(file),
            mend="See that it is a whole backup and that you may write to the store's folder; bring another copy.",
        ) from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return aside if occupied else None


def _open_once(fresh: Path, file: Path) -> None:
    """See that what came out of a backup is a store that this program reads; what is wrong is told of the backup."""
    try:
        with Store(fresh).reader():
            pass
    except StoreError as error:
        raise StoreError(error.what, where=str(file), mend=error.mend) from error


def _nobody_writes(folder: Path) -> ExitStack:
    """Hold the lock of the store that is moved aside, unless it is damaged and cannot be opened at all."""
    held = ExitStack()
    try:
        held.enter_context(Store(folder).reader())
    except StoreBusyError:
        raise
    except StoreError:
        pass
    return held


def _add(archive: zipfile.ZipFile, name: str, source: BinaryIO) -> dict[str, Any]:
    with archive.open(name, "w", force_zip64=True) as member:
        size, sha256 = pour(source, member.write)
    return {"name": name, "size": size, "sha256": sha256}


def _snapshot_files(folder: Path) -> list[Path]:
    said = pointer(folder)
    if said is None:
        return []
    place = folder / SNAPSHOT_FOLDER
    return [path for path in (place / "current.json", place / Path(str(said["file"])).name) if path.is_file()]


def _inbox_files(folder: Path) -> list[Path]:
    inbox = Inbox(folder)
    return [path for name in inbox.names() for path in sorted((inbox.folder / name).rglob("*")) if path.is_file()]


def _unpack(file: Path, target: Path, on_progress: Callable[[str, int, int], None] | None) -> None:
    with zipfile.ZipFile(file) as archive:
        said = json.loads(archive.read(_MANIFEST))
        if said["kind"] != _KIND:
            raise ValueError("it is another kind of archive")
        members = said["members"]
        if sorted([_MANIFEST, *(each["name"] for each in members)]) != sorted(archive.namelist()):
            raise ValueError("its members are not those of its manifest")
        for done, member in enumerate(members):
            name = PurePosixPath(member["name"])
            if name.is_absolute() or ".." in name.parts or name.parts[0] not in _ROOTS:
                raise ValueError(f"the member {name} does not belong into a store")
            _tell(on_progress, f"bringing back {name.name}", done, len(members))
            path = target / name
            path.parent.mkdir(parents=True, exist_ok=True)
            with archive.open(member["name"]) as source:
                got = copy_synced(source, path)  # type: ignore[arg-type]
            if got != (member["size"], member["sha256"]):
                raise ValueError(f"the member {name} is altered")
    for place in [target, *(path for path in target.rglob("*") if path.is_dir())]:
        sync(place)
    _tell(on_progress, "brought back", len(members), len(members))


def _tell(report: Callable[[str, int, int], None] | None, words: str, done: int, total: int) -> None:
    if report is not None:
        report(words, done, total)
