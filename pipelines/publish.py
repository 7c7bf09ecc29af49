"""Publish the store as a snapshot, which the dashboard and other readers use."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.planning.flag_tables import make_flag_tables
from fleetwear.store import Store, publish
from fleetwear.store.runs import running

if TYPE_CHECKING:
    from pathlib import Path


def run(folder: Path) -> Path:
    """Publish a snapshot of the store in ``folder`` and return its file."""
    with running(folder, "publish") as run_note:
        file = publish(Store(folder), finish=make_flag_tables)
        run_note.counts |= {"snapshot": file.name, "bytes": file.stat().st_size}
    return file
