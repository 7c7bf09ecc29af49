"""Drafts of visits on the disk: every field that was completed survives a lost connection, a reload, another tablet.

A draft is ``drafts/<id>.json`` in the store's folder, rewritten whole under another name, synced and renamed, so that
it is the old one or the new one. Changes are merged field by field, so that two tablets with one draft open lose
nothing of each other. Before a draft is handed over, what is handed over is kept as ``drafts/visit-<id>.json`` and the
draft is closed to changes: however often it is pressed, and wherever it is cut off, the same bytes are handed over.
Drafts are never removed.
"""

from __future__ import annotations

import fcntl
import json
import os
import re
import secrets
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fleetwear.errors import InputError, StoreError
from fleetwear.store.location import DRAFT_FOLDER, DRAFT_LOCK
from fleetwear.store.syncing import sync, write_synced

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

OPEN, FROZEN, RECORDED, SET_ASIDE = "open", "handing over", "recorded", "set aside"
_ID = re.compile(r"[a-z0-9]{8,40}")


@dataclass(frozen=True)
class Draft:
    """A visit that is being written.

    Attributes
    ----------
    draft
        Its id.
    state
        "open"; "handing over", from the moment that it was frozen; "recorded"; or "set aside".
    begun_at, saved_at
        In UTC, ISO 8601.
    fields
        What was completed so far, by the field's name.
    told
        What was said when it was recorded.
    """

    draft: str
    state: str
    begun_at: str
    saved_at: str
    fields: dict[str, Any] = field(default_factory=dict)
    told: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Drafts:
    """The drafts of the store in a folder."""

    store_folder: Path

    @property
    def folder(self) -> Path:
        """The folder of drafts."""
        return Path(self.store_folder) / DRAFT_FOLDER

    def frozen_file(self, draft: str) -> Path:
        """Return the path of what a draft hands over."""
        return self.folder / f"visit-{_checked(draft)}.json"

    def begin(self, fields: Mapping[str, Any], *, now: datetime) -> Draft:
        """Return a new draft, which is on the disk."""
        with self._locked():
            made = Draft(secrets.token_hex(6), OPEN, _moment(now), _moment(now), dict(fields))
            self._write(made)
            return made

    def read(self, draft: str) -> Draft:
        """Return a draft as it is on the disk.

        Raises
        ------
        InputError
            If there is none of that id, or its file cannot be read; the file stays as it is.
        """
        file = self.folder / f"{_checked(draft)}.json"
        try:
            return Draft(**json.loads(file.read_text(encoding="utf-8")))
        except FileNotFoundError as error:
            raise InputError(
                f"there is no draft {draft!r}", where=str(self.folder), mend="Look for it among the open drafts."
            ) from error
        except (OSError, ValueError, TypeError) as error:
            raise InputError(
                f"the draft {draft!r} cannot be read: {error}", where=str(file), mend="The file is left as it is."
            ) from error

    def change(self, draft: str, changes: Mapping[str, Any], *, now: datetime) -> Draft:
        """Return the draft with some fields changed (None empties one), on the disk; a closed one stays as it is."""
        with self._locked():
            found = self.read(draft)
            merged = {name: value for name, value in (found.fields | dict(changes)).items() if value is not None}
            if found.state != OPEN or merged == found.fields:
                return found
            return self._write(_with(found, fields=merged, saved_at=_moment(now)))

    def freeze(self, draft: str, text: str, *, now: datetime) -> str:
        """Close a draft to changes and return what it hands over: the text, or that of an earlier freezing.

        Raises
        ------
        InputError
            If the draft is not there or was set aside.
        """
        with self._locked():
            found = self.read(draft)
            if found.state == SET_ASIDE:
                raise InputError(f"the draft {draft!r} was set aside", mend="Take it up again first.")
            file = self.frozen_file(draft)
            if not file.exists():
                self._replace(file, text)
            if found.state == OPEN:
                self._write(_with(found, state=FROZEN, saved_at=_moment(now)))
            return file.read_text(encoding="utf-8")

    def close(self, draft: str, told: Mapping[str, Any], *, now: datetime) -> Draft:
        """Return the draft as recorded, with what was said of it; one that was recorded before stays as it is."""
        with self._locked():
            found = self.read(draft)
            if found.state == RECORDED:
                return found
            return self._write(_with(found, state=RECORDED, told=dict(told), saved_at=_moment(now)))

    def set_aside(self, draft: str, *, aside: bool, now: datetime) -> Draft:
        """Return an open draft set aside, or one that was set aside opened again; others stay as they are."""
        with self._locked():
            found = self.read(draft)
            if found.state != (OPEN if aside else SET_ASIDE):
                return found
            return self._write(_with(found, state=SET_ASIDE if aside else OPEN, saved_at=_moment(now)))

    def waiting(self) -> tuple[list[Draft], list[str]]:
        """Return the drafts that are not recorded, the latest first, and the files that cannot be read."""
        if not self.folder.is_dir():
            return [], []
        found, damaged = [], []
        for file in sorted(self.folder.glob("*.json")):
            if not _ID.fullmatch(file.stem):
                continue
            try:
                draft = self.read(file.stem)
            except InputError:
                damaged.append(file.name)
                continue
            if draft.state != RECORDED:
                found.append(draft)
        return sorted(found, key=lambda draft: draft.saved_at, reverse=True), damaged

    @contextmanager
    def _locked(self) -> Iterator[None]:
        try:
            if not self.folder.is_dir():
                self.folder.mkdir(parents=True, exist_ok=True)
                sync(self.folder.parent)
            with (self.folder / DRAFT_LOCK).open("a") as file:
                fcntl.flock(file, fcntl.LOCK_EX)
                yield
        except OSError as error:
            raise StoreError(
                f"the draft cannot be kept: {error.strerror or error}",
                where=str(self.folder),
                mend="See that the disk has room and that you may write there; write the readings down meanwhile.",
            ) from error

    def _write(self, draft: Draft) -> Draft:
        self._replace(self.folder / f"{draft.draft}.json", json.dumps(asdict(draft), ensure_ascii=False, indent=1))
        return draft

    def _replace(self, file: Path, text: str) -> None:
        """Write a file whole under another name, wait until it is on the disk, and give it its own."""
        fresh = self.folder / f".{file.name}.{os.getpid()}-{secrets.token_hex(4)}.unfinished"
        try:
            write_synced(text, fresh)
            os.replace(fresh, file)
            sync(self.folder)
        finally:
            fresh.unlink(missing_ok=True)


def _with(draft: Draft, **changed: Any) -> Draft:
    return Draft(**(asdict(draft) | changed))


def _checked(draft: str) -> str:
    """Return an id that can be part of a file's name."""
    if not _ID.fullmatch(draft):
        raise InputError(f"{draft!r} is not the id of a draft", mend="Look for it among the open drafts.")
    return draft


def _moment(now: datetime) -> str:
    return now.isoformat(timespec="milliseconds")
