"""The store's named queries: one .sql file each, next to this module in ``queries/``."""

from __future__ import annotations

from functools import cache
from importlib.resources import files


@cache
def sql(name: str) -> str:
    """Return the text of ``queries/<name>.sql``.

    Raises
    ------
    FileNotFoundError
        If there is no such query; that is a mistake in the program, not in anybody's data.
    """
    return (files("fleetwear.store") / "queries" / f"{name}.sql").read_text(encoding="utf-8")
