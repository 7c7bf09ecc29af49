"""Limits of wheel checks that stand in statutes: they ship as data, and enter a store only when a person asks.

Each row names its source and whether that was read. A statute's limit is one of the wheel and its linkage, never of a
joint; 49 CFR 570 is model criteria for State inspection and binds nobody by itself. What is in force where a vehicle
runs is for its keeper to know.
"""

from __future__ import annotations

import io
from importlib.resources import files
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

CAUTION = (
    "Which of these is in force where a vehicle runs is for its keeper to know; the maker's limit and local law come "
    "first. Each is a limit of the wheel and its linkage, not of one joint."
)
_ABOUT = ["statute", "status"]
"""Columns that tell of a row and are no part of a wheel limits file."""


def statute_table() -> pd.DataFrame:
    """Return every row as text: statute, status, and the columns of a wheel limits file."""
    text = files("fleetwear.intake").joinpath("statutes.csv").read_text(encoding="utf-8")
    return pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)


def write_statute(name: str, folder: Path) -> Path:
    """Return a wheel limits file with the rows of a statute, written into a folder, ready to be loaded.

    Raises
    ------
    InputError
        If no statute has that name.
    """
    table = statute_table()
    own = table[table["statute"].str.casefold() == name.strip().casefold()]
    if own.empty:
        known = ", ".join(f'"{one}"' for one in table["statute"].unique())
        raise InputError(f"no statute {name!r} is known", mend=f"Name one of: {known}.")
    title = str(own["statute"].iloc[0])
    path = folder / f"statute_{title.lower().replace(' ', '_').replace('/', '_').replace('.', '_')}.csv"
    own.drop(columns=_ABOUT).to_csv(path, index=False, lineterminator="\n")
    return path
