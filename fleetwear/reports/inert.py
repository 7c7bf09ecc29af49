"""Text that a spreadsheet would take for a formula, made inert in CSV and given back as it was.

A cell of text that begins with = + - @, a tab or a carriage return gets an apostrophe before it. So does one that
begins with an apostrophe, so that taking one apostrophe off gives every cell back as it was. Numbers are left alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

_FIRST = ("=", "+", "-", "@", "\t", "\r", "'")

HOW = (
    "In CSV, a cell of text that begins with = + - @, a tab, a carriage return or an apostrophe has one apostrophe put "
    "before it, so that no spreadsheet runs it; take one leading apostrophe off to have it as it was. Parquet holds "
    "every value as it is, and XLSX holds text as text."
)
"""What a reader of a file is told."""


def inert(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with an apostrophe before each cell of text that a spreadsheet might run."""
    return _changed(frame, lambda text: "'" + text if text.startswith(_FIRST) else text)


def as_it_was(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame that `inert` made from, from what was read back: one leading apostrophe is taken off."""
    return _changed(frame, lambda text: text.removeprefix("'"))


def _changed(frame: pd.DataFrame, change: Callable[[str], str]) -> pd.DataFrame:
    made: dict[Hashable, list[object]] = {}
    for name in frame.columns:
        if pd.api.types.is_string_dtype(frame[name]) or pd.api.types.is_object_dtype(frame[name]):
            made[name] = [change(cell) if isinstance(cell, str) else cell for cell in frame[name]]
    columns = {name: pd.Series(cells, index=frame.index, dtype=frame[name].dtype) for name, cells in made.items()}
    return frame.assign(**{str(name): column for name, column in columns.items()})
