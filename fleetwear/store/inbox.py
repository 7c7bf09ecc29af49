"""The inbox: every file handed over, kept as it came before anything else is done with it.

An entry is a folder ``inbox/<moment>-<start of the SHA-256>/`` with ``manifest.json`` (entry, original name, size,
SHA-256, received at, by what) and ``content/<original name>``; a file that came with a column map has that beside
it as ``columns.toml``, and its name and SHA-256 in the manifest. It is made under another name, synced, and given
its own name in one step, so an entry is whole or not there. Entries are only ever added. What was done with them
stands in the store, table ``inbox_entries``; what has no row there is untaken.

While a process hands files over it holds their entries (a shared lock that ends with the process, however that ends),
so that nobody else takes what it is about to take itself.
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
import shutil
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from fleetwear.errors import StoreError
from fleetwear.store.syncing import copy_synced, pour, sync, write_synced

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

INBOX_FOLDER = "inbox"
"""The folder of files as they were handed over, inside the store's folder."""

MANIFEST = "manifest.json"
CONTENT = "content"
COLUMNS = "columns.toml"
_BEING_MADE = ".unfinished"
_MOMENT = "%Y%m%dT%H%M%S%fZ"
_LEFT_BEHIND = timedelta(days=1)


@dataclass(frozen=True)
class Entry:
    """A file in the inbox.

    Attributes
    ----------
    entry
        The entry's name, which sorts by arrival.
    original_name, size_bytes, sha256
        The file as it was handed over.
    received_at
        When, in UTC.
    received_by
        What handed it over: a program and its version.
    hand_over
        The same for all files that were handed over together; empty in entries that earlier programs made.
    rewritten
        The checksums before and after each erasure of a person's name.
    columns_name, columns_sha256
        The column map that came with it; None without one.
    """

    entry: str
    original_name: str
    size_bytes: int
    sha256: str
    received_at: datetime
    received_by: str
    hand_over: str = ""
    rewritten: tuple[tuple[str, str], ...] = ()
    columns_name: str | None = None
    columns_sha256: str | None = None


@dataclass(frozen=True)
class Damage:
    """An entry that is not as it came, and in which way."""

    entry: str
    what: str

    def __str__(self) -> str:
        return f"inbox entry {self.entry}: {self.what}"


@dataclass(frozen=True)
class _Unfinished:
    folder: Path
    original_name: str
    size_bytes: int
    sha256: str
    columns_name: str | None
    columns_sha256: str | None


@dataclass(frozen=True)
class Inbox:
    """The inbox of the store in a folder."""

    store_folder: Path

    @property
    def folder(self) -> Path:
        """The folder of entries."""
        return Path(self.store_folder) / INBOX_FOLDER

    def content(self, entry: Entry) -> Path:
        """Return the path of an entry's file."""
        return self.folder / entry.entry / CONTENT / entry.original_name

    def columns(self, entry: Entry) -> Path | None:
        """Return the path of an entry's column map, None if it came without one."""
        return None if entry.columns_sha256 is None else self.folder / entry.entry / COLUMNS

    def names(self) -> list[str]:
        """Return the names of all entries, the earliest first."""
        if not self.folder.is_dir():
            return []
        return sorted(
            each.name for each in self.folder.iterdir() if each.is_dir() and not each.name.endswith(_BEING_MADE)
        )

    def unfinished(self) -> list[str]:
        """Return the names of deliveries that are being made, or that ended before they were whole."""
        if not self.folder.is_dir():
            return []
        return sorted(each.name for each in self.folder.iterdir() if each.name.endswith(_BEING_MADE))

    def strays(self) -> list[str]:
        """Return the names of files that lie in the inbox and are no deliveries; hidden ones of the system are not."""
        if not self.folder.is_dir():
            return []
        return sorted(each.name for each in self.folder.iterdir() if each.is_file() and not each.name.startswith("."))

    def look(self, name: str) -> Entry | Damage:
        """Return what an entry's manifest says, or what is wrong with it; the file itself is not read."""
        try:
            said = json.loads((self.folder / name / MANIFEST).read_text(encoding="utf-8"))
            said["received_at"] = datetime.fromisoformat(said["received_at"])
            said["rewritten"] = tuple((step["from_sha256"], step["to_sha256"]) for step in said.get("rewritten", ()))
            entry = Entry(**said)
        except FileNotFoundError:
            return Damage(name, "its manifest is missing")
        except (OSError, ValueError, KeyError, TypeError) as error:
            return Damage(name, f"its manifest cannot be read ({error})")
        if entry.entry != name or Path(entry.original_name).name != entry.original_name:
            return Damage(name, f"its manifest is that of {entry.entry}, file {entry.original_name!r}")
        return entry

    def check(self, name: str) -> Entry | Damage:
        """Return what an entry's manifest says, if its file still has the size and SHA-256 that it came with."""
        entry = self.look(name)
        if isinstance(entry, Damage):
            return entry
        try:
            with self.content(entry).open("rb") as file:
                size, sha256 = pour(file)
        except FileNotFoundError:
            return Damage(name, f"its file {entry.original_name} is missing")
        except OSError as error:
            return Damage(name, f"its file {entry.original_name} cannot be read ({error.strerror or error})")
        if size != entry.size_bytes:
            return Damage(name, f"its file {entry.original_name} has {size} bytes and came with {entry.size_bytes}")
        if sha256 != entry.sha256:
            return Damage(name, f"its file {entry.original_name} is altered: SHA-256 {sha256}, came as {entry.sha256}")
        return self._check_columns(entry) or entry

    def _check_columns(self, entry: Entry) -> Damage | None:
        columns = self.columns(entry)
        if columns is None:
            return None
        try:
            with columns.open("rb") as file:
                _, sha256 = pour(file)
        except OSError as error:
            return Damage(entry.entry, f"its column map cannot be read ({error.strerror or error})")
        if sha256 != entry.columns_sha256:
            return Damage(entry.entry, f"its column map is altered: SHA-256 {sha256}, came as {entry.columns_sha256}")
        return None

    @contextmanager
    def deliver(
        self,
        paths: Iterable[Path],
        *,
        by: str,
        received_at: datetime | None = None,
        columns: Mapping[Path, Path] | None = None,
    ) -> Iterator[list[Entry]]:
        """Put files into the inbox and hold their entries until the block ends.

        When the block begins, all of them are on the disk. A file that is in the inbox already, under the same name
        and with the same bytes and the same column map, gets no second entry.

        Parameters
        ----------
        paths
            The files.
        by
            What hands them over.
        received_at
            When (UTC); now unless given.
        columns
            The column maps of those files that have one, by file.

        Raises
        ------
        StoreError
            If the inbox cannot be written; files that have no entry yet are then as safe as they were before.
        """
        when = received_at or datetime.now(UTC).replace(tzinfo=None)
        hand_over = uuid4().hex
        maps = columns or {}
        with ExitStack() as held:
            try:
                made = [self._prepare(Path(path), maps.get(Path(path)), held) for path in paths]
                entries = [
                    one
                    if isinstance(one, Entry)
                    else self._finish(one, held, by=by, received_at=when, hand_over=hand_over)
                    for one in made
                ]
                if made:
                    sync(self.folder)
            except OSError as error:
                raise StoreError(
                    f"the inbox cannot take the files: {error.strerror or error}",
                    where=str(self.folder),
                    mend="See that the disk has room and that you may write there, and load the files again.",
                ) from error
            yield entries

    def is_held(self, name: str) -> bool:
        """Return whether a living process is handing this entry over."""
        try:
            with (self.folder / name / MANIFEST).open("rb") as file:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        except OSError:
            return False
        return False

    def _prepare(self, path: Path, columns: Path | None, held: ExitStack) -> Entry | _Unfinished:
        """Return the entry that holds this file already, or a new one that lacks only manifest and name."""
        self._make_folder()
        folder = self.folder / f"{os.getpid()}-{uuid4().hex}{_BEING_MADE}"
        (folder / CONTENT).mkdir(parents=True)
        try:
            with path.open("rb") as source:
                size, sha256 = copy_synced(source, folder / CONTENT / path.name)
            sync(folder / CONTENT)
            columns_sha256 = None
            if columns is not None:
                with columns.open("rb") as source:
                    _, columns_sha256 = copy_synced(source, folder / COLUMNS)
            same = self._same(path.name, sha256, columns_sha256)
            if same is not None:
                held.enter_context(_held(self.folder / same.entry / MANIFEST))
                shutil.rmtree(folder)
                return same
        except Exception:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        return _Unfinished(folder, path.name, size, sha256, columns.name if columns else None, columns_sha256)

    def _finish(self, made: _Unfinished, held: ExitStack, *, by: str, received_at: datetime, hand_over: str) -> Entry:
        """Give a new entry its manifest and its name; where another process was first, the name after that."""
        while True:
            name = self._next_name(received_at, made.sha256)
            entry = Entry(
                name,
                made.original_name,
                made.size_bytes,
                made.sha256,
                received_at,
                by,
                hand_over,
                columns_name=made.columns_name,
                columns_sha256=made.columns_sha256,
            )
            said = asdict(entry) | {"received_at": entry.received_at.isoformat()}
            said = {key: value for key, value in said.items() if value is not None and key != "rewritten"}
            manifest = made.folder / MANIFEST
            manifest.unlink(missing_ok=True)
            write_synced(json.dumps(said, ensure_ascii=False, indent=1) + "\n", manifest)
            sync(made.folder)
            with ExitStack() as hold:
                hold.enter_context(_held(manifest))
                try:
                    os.rename(made.folder, self.folder / name)
                except OSError as error:
                    if error.errno in (errno.ENOTEMPTY, errno.EEXIST):
                        continue
                    raise
                held.push(hold.pop_all())
            return entry

    def _make_folder(self) -> None:
        if not self.folder.is_dir():
            self.folder.mkdir(parents=True, exist_ok=True)
            sync(self.folder.parent)
        for name in self.unfinished():  # what a process that was ended has left
            with suppress(OSError):
                left = self.folder / name
                if datetime.now().timestamp() - left.stat().st_mtime > _LEFT_BEHIND.total_seconds():
                    shutil.rmtree(left)

    def _same(self, original_name: str, sha256: str, columns_sha256: str | None) -> Entry | None:
        """Return the latest whole entry of a file with this name, these bytes and this column map."""
        wanted = (original_name, sha256, columns_sha256)
        for name in reversed(self.names()):
            if name.endswith(f"-{sha256[:16]}"):
                found = self.check(name)
                if isinstance(found, Entry) and (found.original_name, found.sha256, found.columns_sha256) == wanted:
                    return found
        return None

    def _next_name(self, received_at: datetime, sha256: str) -> str:
        """Return a name for a new entry: its moment is after that of every entry before it."""
        moment = received_at
        known = self.names()
        if known:
            with suppress(ValueError):
                latest = datetime.strptime(known[-1].partition("-")[0], _MOMENT)
                moment = max(moment, latest + timedelta(microseconds=1))
        return f"{moment.strftime(_MOMENT)}-{sha256[:16]}"


@contextmanager
def _held(manifest: Path) -> Iterator[None]:
    with manifest.open("rb") as file:
        fcntl.flock(file, fcntl.LOCK_SH)
        yield
