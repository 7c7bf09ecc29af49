"""Where the store stands on this machine."""

from __future__ import annotations

import os
from pathlib import Path

STORE_VARIABLE = "FLEETWEAR_STORE"
"""The environment variable that names the store's folder."""

STORE_FILE = "store.duckdb"
"""The one database file in the store's folder."""

SNAPSHOT_FOLDER = "snapshots"
"""The folder of published copies, inside the store's folder."""

DRAFT_FOLDER, DRAFT_LOCK = "drafts", ".lock"
"""The folder of visits that are being written, inside the store's folder, and the file in it that its writers lock."""


def default_store_dir() -> Path:
    """Return the folder that FLEETWEAR_STORE names, or ``~/.fleetwear/store``."""
    named = os.environ.get(STORE_VARIABLE, "").strip()
    return Path(named).expanduser() if named else Path.home() / ".fleetwear" / "store"


def demo_store_dir() -> Path:
    """Return the demo fleet's own folder, ``~/.fleetwear/demo``, apart from every real store."""
    return Path.home() / ".fleetwear" / "demo"
