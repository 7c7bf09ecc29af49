"""Handing a visit over: into the inbox first, where it is safe, and into the store if that is free."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear import __version__
from fleetwear.errors import FleetwearError, InputError
from fleetwear.intake import take_files
from fleetwear.recording.drafts import Drafts
from fleetwear.recording.on_record import ONE_AT_A_TIME
from fleetwear.recording.visit import hand_over_text
from fleetwear.store.inbox import Inbox
from fleetwear.store.syncing import write_synced

if TYPE_CHECKING:
    from datetime import date, datetime

    from fleetwear.intake import LoadSummary
    from fleetwear.recording.visit import Visit


@dataclass(frozen=True)
class Recorded:
    """What became of a visit that was handed over.

    Attributes
    ----------
    entry
        The inbox entry that holds it. Whatever else is said, it is on the disk and is not lost.
    taken
        Whether it is in the store too; otherwise the next load takes it.
    rows_in, rows_known
        Rows that are new to the store, and rows that it had already.
    refused
        Why rows of it went to quarantine.
    questions
        How many readings look implausible and are asked about.
    """

    entry: str
    taken: bool
    rows_in: int = 0
    rows_known: int = 0
    refused: tuple[str, ...] = ()
    questions: int = 0


def record_visit(
    folder: Path,
    visit: Visit,
    *,
    name: str,
    today: date,
    received_at: datetime | None = None,
    by: str = f"fleetwear record {__version__}",
    wait_seconds: float = 3.0,
) -> Recorded:
    """Record a visit with all its readings as one entry of the inbox, take it in if the store is free, and tell.

    The visit is whole on the disk or not there. Handing the same visit over again under the same name makes no second
    entry and doubles nothing. Nobody is told of a lock: where another process writes, the next load takes the entry.

    Parameters
    ----------
    folder
        The store's folder; a store must stand there.
    visit
        The visit; see `fleetwear.recording.Visit`.
    name
        What tells this visit from every other, such as the id of its draft: the entry's file is
        ``visit-<name>.json``. Letters, digits, "-" and "_".
    today
        The day after which a date lies in the future.
    received_at
        When it is handed over (UTC); now unless given.
    by
        What hands it over.
    wait_seconds
        How long to wait for the store.

    Raises
    ------
    InputError
        If the name cannot be part of a file's name.
    StoreError
        If the inbox cannot be written: the visit is then not recorded.
    """
    return hand_over(
        folder,
        hand_over_text(visit),
        name=name,
        today=today,
        received_at=received_at,
        by=by,
        wait_seconds=wait_seconds,
    )


def record_draft(
    folder: Path, draft: str, visit: Visit, *, today: date, now: datetime, wait_seconds: float = 3.0
) -> Recorded:
    """Record the visit of a draft and close the draft; parameters and errors are those of `record_visit`.

    What is handed over is frozen with the draft first: pressed twice, or cut off and pressed again, it is the same.
    """
    drafts = Drafts(folder)
    text = drafts.freeze(draft, hand_over_text(visit), now=now)
    return hand_over(folder, text, name=draft, today=today, received_at=now, wait_seconds=wait_seconds)


def hand_over(
    folder: Path,
    text: str,
    *,
    name: str,
    today: date,
    received_at: datetime | None = None,
    by: str = f"fleetwear record {__version__}",
    wait_seconds: float = 3.0,
) -> Recorded:
    """Hand a JSON file of tables over; parameters and errors are those of `record_visit`."""
    if not name.replace("-", "").replace("_", "").isalnum() or not name.isascii():
        raise InputError(f"{name!r} cannot name a visit", mend='Use letters, digits, "-" and "_".')
    with tempfile.TemporaryDirectory(prefix="fleetwear-") as made:
        file = Path(made) / f"visit-{name}.json"
        write_synced(text, file)
        with Inbox(Path(folder)).deliver([file], by=by, received_at=received_at) as (entry,):
            summaries = _take(folder, file, today=today, by=by, received_at=received_at, wait_seconds=wait_seconds)
    if summaries is None:
        return Recorded(entry.entry, taken=False)
    if isinstance(summaries, InputError):
        return Recorded(entry.entry, taken=True, refused=(str(summaries),))
    own = [one for one in summaries if one.file == file.name]
    return Recorded(
        entry.entry,
        taken=True,
        rows_in=sum(one.rows_in for one in own),
        rows_known=sum(one.rows_known for one in own),
        refused=tuple(reason for one in own for reason in _refusals(one)),
        questions=sum(one.questions for one in own),
    )


def _take(
    folder: Path, file: Path, *, today: date, by: str, received_at: datetime | None, wait_seconds: float
) -> list[LoadSummary] | InputError | None:
    """Return what became of the entry's rows, why it was refused, or None where it has to wait in the inbox."""
    import duckdb

    if not ONE_AT_A_TIME.acquire(timeout=wait_seconds):
        return None
    try:
        return take_files(folder, [file], today=today, by=by, loaded_at=received_at, wait_seconds=wait_seconds)
    except InputError as refusal:
        return refusal
    except (FleetwearError, duckdb.Error):
        return None
    finally:
        ONE_AT_A_TIME.release()


def _refusals(summary: LoadSummary) -> list[str]:
    found = [f"{summary.table}, {count} x: {reason}" for reason, count in summary.reasons.items()]
    if summary.rows_quarantined_before:
        found.append(f"{summary.table}, {summary.rows_quarantined_before} x: refused before, still in quarantine")
    return found
