"""Publish the store as a snapshot, which the dashboard and other readers use."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.store import Store, publish

if TYPE_CHECKING:
    from pathlib import Path


def run(folder: Path) -> Path:
    """Publish a snapshot of the store in ``folder`` and return its file."""
    return publish(Store(folder))
