"""Text that a spreadsheet would take for a formula, made inert in CSV and given back as it was.

A cell of text that begins with = + - @ (after blanks or not), a tab or an end of line gets an apostrophe before it. So
does one that begins with an apostrophe, so that taking one apostrophe off gives every cell back as it was. Numbers are
left alone, those that stand as text too. Control characters, which intake refuses, are left out.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

_FIRST = ("=", "+", "-", "@")
_FIRST_OF_ALL = ("\t", "\r", "\n", "'")
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")

HOW = (
    "In CSV, a cell of text that begins with = + - @, a tab, a carriage return or an apostrophe has one apostrophe put "
    "before it, so that no spreadsheet runs it; take one leading apostrophe off to have it as it was. Parquet holds "
    "every value as it is, and XLSX holds text as text."
)
"""What a reader of a file is told."""


def for_sheet(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with an apostrophe before each cell of text that a spreadsheet might run."""
    return _changed(frame, _as_text)


def _as_text(text: str) -> str:
    plain = _CONTROLS.sub("", text)
    return f"'{plain}" if _might_run(plain) else plain


def _might_run(text: str) -> bool:
    begins = text.lstrip().startswith(_FIRST) or text.startswith(_FIRST_OF_ALL)
    return begins and not _NUMBER.fullmatch(text)


def as_it_was(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame that `for_sheet` made from, from what was read back: one leading apostrophe is taken off."""
    return _changed(frame, lambda text: text.removeprefix("'"))


def _changed(frame: pd.DataFrame, change: Callable[[str], str]) -> pd.DataFrame:
    made: dict[Hashable, list[object]] = {}
    for name in frame.columns:
        if pd.api.types.is_string_dtype(frame[name]) or pd.api.types.is_object_dtype(frame[name]):
            made[name] = [change(cell) if isinstance(cell, str) else cell for cell in frame[name]]
    columns = {name: pd.Series(cells, index=frame.index, dtype=frame[name].dtype) for name, cells in made.items()}
    return frame.assign(**{str(name): column for name, column in columns.items()})
