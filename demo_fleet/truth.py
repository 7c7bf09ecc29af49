"""The truth behind the files: what each joint's play and each vehicle's distance really are.

These read the truth files back, so that readings and forecasts can be scored. Nothing here is loaded.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from demo_fleet.wear import play_mm

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Truth:
    """The truth files, read back.

    Attributes
    ----------
    lives
        One row a life of a joint in a load direction: unit, joint, direction, life, started_by, supplier,
        start_date, start_running_km, end_date and end_running_km (empty for the life that goes on), process,
        initial_mm, rate_mm_per_km, exponent, fast_factor, onset_km (empty for none), limit_mm (at the as-of
        date, empty for none).
    usage
        One row a vehicle and first day of a month: unit, date, running_km, odometer_km.
    vehicles
        One row a vehicle: unit, in_service_date, rough_route_factor, next_service_date,
        next_service_running_km, next_service_odometer_km.
    readings
        One row a reading: file, row (the header is row 1), unit, date, joint, direction, life,
        running_km, true_mm, expected_mm (by that method, without error),
        measured_mm (empty where nothing was measured), slipped.
    events
        One row a special case: case, file, row, unit, joint, says.
    """

    lives: pd.DataFrame
    usage: pd.DataFrame
    vehicles: pd.DataFrame
    readings: pd.DataFrame
    events: pd.DataFrame


def read_truth(folder: Path) -> Truth:
    """Return the truth files of a demo fleet's folder."""
    frames = {
        name: pd.read_csv(folder / "truth" / f"{name}.csv")
        for name in ("lives", "usage", "vehicles", "readings", "events")
    }
    frames["events"] = frames["events"].fillna({"file": "", "unit": "", "joint": ""})
    return Truth(**frames)


def true_play(lives: pd.DataFrame, running_km: ArrayLike) -> NDArray[np.float64]:
    """Return the true play of lives at running distances, in mm.

    Parameters
    ----------
    lives
        Rows of ``Truth.lives``.
    running_km
        A vehicle's distance since new, one for each row or one for all. Play before a life's start is
        that at its start.
    """
    x = np.maximum(np.asarray(running_km, dtype=np.float64) - lives["start_running_km"].to_numpy(), 0)
    names = ("initial_mm", "rate_mm_per_km", "exponent", "fast_factor")
    initial, rate, exponent, fast = (lives[name].to_numpy(dtype=np.float64) for name in names)
    onset = lives["onset_km"].fillna(np.inf).to_numpy(dtype=np.float64)
    return play_mm(x, initial, rate, exponent, fast, onset)


def crossing_running_km(lives: pd.DataFrame, limit_mm: ArrayLike) -> NDArray[np.float64]:
    """Return the running distances at which lives reach a limit, in km; to 1 km, nan beyond 5,000,000 km.

    Parameters
    ----------
    lives
        Rows of ``Truth.lives``.
    limit_mm
        A limit for each row or one for all.
    """
    start = lives["start_running_km"].to_numpy(dtype=np.float64)
    limit = np.broadcast_to(np.asarray(limit_mm, dtype=np.float64), start.shape)
    low, high = np.zeros(start.size), np.full(start.size, 5_000_000.0)
    reached = true_play(lives, start + high) >= limit
    for _ in range(24):
        middle = (low + high) / 2
        over = true_play(lives, start + middle) >= limit
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return np.where(reached, start + high, np.nan)


def running_km_on(usage: pd.DataFrame, unit: str, dates: ArrayLike) -> NDArray[np.float64]:
    """Return a vehicle's true distance since new on days, in km.

    Parameters
    ----------
    usage
        ``Truth.usage``.
    unit
        The vehicle's unit number.
    dates
        Days, as anything that numpy takes for dates; up to more than a year past the as-of date.

    Raises
    ------
    KeyError
        If there is no such unit.
    ValueError
        If a day is outside the usage that is known.
    """
    mine = usage[usage["unit"] == unit]
    if mine.empty:
        raise KeyError(f"there is no unit {unit!r} in the demo fleet")
    known = mine["date"].to_numpy().astype("datetime64[D]").astype(np.int64)
    asked = np.asarray(dates, dtype="datetime64[D]").astype(np.int64)
    if np.any((asked < known[0]) | (asked > known[-1])):
        raise ValueError(f"the usage of {unit} is known from {mine['date'].iloc[0]} to {mine['date'].iloc[-1]} only")
    running: NDArray[np.float64] = np.interp(asked, known, mine["running_km"].to_numpy(dtype=np.float64))
    return running
