"""A fleet of any size, written as Parquet a block of vehicles at a time, so that memory holds one block only."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.files import SEED, live_and_write_down, visible
from demo_fleet.roster import SMALLEST
from demo_fleet.truth_tables import truth_tables

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import pandas as pd

BLOCK = 5_000
"""Powered vehicles lived through together; about 1 GB."""

_OF_ALL = ("positions", "limits", "parts", "stock", "wheel_limits")
"""Tables that are the same in every block, written with the first."""


def write_blocks(folder: Path, *, seed: int = SEED, vehicles: int, block: int = BLOCK) -> Iterator[Path]:
    """Write a fleet's files block by block, and yield the files to load as they are written, in loading order.

    Each block is a fleet of its own: its own unit numbers, special cases and mistakes, at the same depots. Block 3 lies
    in ``block_0003/`` (``readings_hill_0003.parquet``), so that blocks can be loaded one at a time; its truth in
    ``truth/`` there, where a row's number counts from 1, there being no header. The number of vehicles changes no block
    but the last.

    Parameters
    ----------
    folder
        Made if it is not there.
    seed
        The same seed and size of block give the same tables.
    vehicles
        Powered vehicles, at least 30; trailers come on top.
    block
        Powered vehicles a block, at least 60: what is left over in the end joins the last block where it is too small
        to be one.

    Raises
    ------
    ValueError
        If a block would hold fewer vehicles than the special cases need.
    """
    if block < 2 * SMALLEST:
        raise ValueError(f"a block of {block} vehicles is too small; it needs at least {2 * SMALLEST}")
    for number, size in enumerate(_sizes(vehicles, block), start=1):
        streams = np.random.default_rng([seed, number]).spawn(4)
        fleet, written = live_and_write_down(size, streams, first=(number - 1) * (block + SMALLEST))
        place = folder / f"block_{number:04d}"
        (place / "truth").mkdir(parents=True, exist_ok=True)
        tables = {f"{PurePath(name).stem}_{number:04d}.parquet": table for name, table in written.items()}
        for name, table in tables.items():
            if number == 1 or not name.startswith(_OF_ALL):
                _write(place / name, visible(table))
                yield place / name
        for name, table in truth_tables(fleet, tables, first_row=1).items():
            _write(place / "truth" / f"{name}.parquet", table)


def _sizes(vehicles: int, block: int) -> list[int]:
    """Return how many powered vehicles each block has."""
    whole, rest = divmod(vehicles, block)
    sizes = [block] * whole
    if rest >= SMALLEST or not sizes:
        return [*sizes, rest]
    return [*sizes[:-1], sizes[-1] + rest]


def _write(path: Path, table: pd.DataFrame) -> None:
    table.to_parquet(path, index=False)
