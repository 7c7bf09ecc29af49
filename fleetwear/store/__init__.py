"""The store: one DuckDB file with its schema, named queries and published snapshots."""

from fleetwear.store.connection import Store
from fleetwear.store.location import default_store_dir, demo_store_dir
from fleetwear.store.queries import sql
from fleetwear.store.snapshots import open_snapshot, publish, snapshot_number

__all__ = [
    "Store",
    "default_store_dir",
    "demo_store_dir",
    "open_snapshot",
    "publish",
    "snapshot_number",
    "sql",
]
