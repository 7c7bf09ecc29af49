"""The load pipeline: files into the store, made where there is none yet; safe to run again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.intake import take_files
from fleetwear.intake.taking import LONGEST_WAIT_S

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import date, datetime
    from pathlib import Path

    from fleetwear.intake import LoadSummary


def run(
    store_folder: Path,
    paths: Iterable[Path],
    today: date,
    *,
    loaded_at: datetime | None = None,
    columns: Path | None = None,
    on_progress: Callable[[str], None] | None = None,
    on_note: Callable[[str], None] | None = None,
    wait_seconds: float = LONGEST_WAIT_S,
    on_wait: Callable[[], None] | None = None,
) -> list[LoadSummary]:
    """Load files, and what lies in the inbox untaken, and return what became of each sheet's rows.

    Parameters and errors are those of `fleetwear.intake.take_files`; the store is made where there is none.
    """
    return take_files(
        store_folder,
        paths,
        today=today,
        loaded_at=loaded_at,
        columns=columns,
        on_progress=on_progress,
        on_note=on_note,
        wait_seconds=wait_seconds,
        on_wait=on_wait,
    )
