"""The intake's own SQL: one .sql file each, in ``sql/`` next to this module."""

from __future__ import annotations

from functools import cache
from importlib.resources import files


@cache
def statement(name: str) -> str:
    """Return the text of ``sql/<name>.sql``."""
    return (files("fleetwear.intake") / "sql" / f"{name}.sql").read_text(encoding="utf-8")
