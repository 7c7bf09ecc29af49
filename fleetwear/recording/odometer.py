"""An odometer value against the vehicle's history, asked about on the spot: pure functions."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.intake.odometer_order import MAX_KM_PER_DAY, run_on
from fleetwear.planning.wording import say_date, say_distance

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from fleetwear.wear.sums import Floats

_SAME_KM = 0.1
"""Values this close are the same reading of the instrument."""
_TIMES_USUAL = 4.0
_FREE_KM = 1500.0
"""A run of 4 times the vehicle's usual pace and 1,500 km more is asked about; common practice, no source."""
_HISTORY_DAYS = 60
"""Days on record that a usual pace needs."""


class OdometerQuestion(StrEnum):
    """What is odd about an odometer value."""

    GOES_BACK = "goes back"
    LIES_AHEAD = "lies above a later value"
    TOO_FAR = "jumps too far"


@dataclass(frozen=True)
class OdometerDoubt:
    """An odometer value that is asked about.

    Attributes
    ----------
    question
        What is odd.
    against_km, against_date
        The value on record that it is held against, as the instrument showed it.
    words
        The question as it is put to a person.
    refused
        Whether loading will put the visit into quarantine if the value stays as it is and no swap is recorded.
    """

    question: OdometerQuestion
    against_km: float
    against_date: date
    words: str
    refused: bool


def running_km(odometer_km: float, on_date: date, swaps: pd.DataFrame) -> float:
    """Return the distance that a vehicle has run where its instrument shows a value, swaps undone, km."""
    return float(_running(np.array([_day(on_date)]), np.array([odometer_km]), swaps)[0])


def check_odometer(
    odometer_km: float, on_date: date, entries: pd.DataFrame, swaps: pd.DataFrame, *, distance_unit: str
) -> OdometerDoubt | None:
    """Return what to ask about an odometer value, None where it fits the history.

    Parameters
    ----------
    odometer_km, on_date
        The value, and the day on which it was read.
    entries
        on_date, odometer_km: the values on record.
    swaps
        on_date, old_km, new_km: swaps of the instrument, one of this visit included.
    distance_unit
        The person's unit.
    """
    if entries.empty:
        return None
    days = np.array([_day(value) for value in entries["on_date"]])
    values = entries["odometer_km"].to_numpy(float)
    run = _running(days, values, swaps)
    day, own = _day(on_date), running_km(odometer_km, on_date, swaps)
    shown = say_distance(odometer_km, distance_unit)
    before, after = days <= day, days > day
    if before.any():
        at = np.flatnonzero(before)[np.argmax(run[before])]
        last = f"{say_distance(values[at], distance_unit)} on {say_date(entries['on_date'].iloc[at])}"
        if own < run[at] - _SAME_KM:
            words = f"{shown} is less than the last value on record, {last}. Is it written right, or was it swapped?"
            return _doubt(OdometerQuestion.GOES_BACK, entries, at, words, refused=bool(days[at] < day))
        gap = max(day - int(days[at]), 1)
        refused = own - run[at] > MAX_KM_PER_DAY * gap
        if refused or own - run[at] > _TIMES_USUAL * _usual(days[before], run[before]) * gap + _FREE_KM:
            further = say_distance(own - run[at], distance_unit)
            words = f"{shown} is {further} more than the last value on record, {last}. Is it written right?"
            return _doubt(OdometerQuestion.TOO_FAR, entries, at, words, refused=bool(refused))
    if after.any():
        at = np.flatnonzero(after)[np.argmin(run[after])]
        if own > run[at] + _SAME_KM:
            later = f"{say_distance(values[at], distance_unit)} on {say_date(entries['on_date'].iloc[at])}"
            words = f"{shown} is more than a later value on record, {later}. Are value and date written right?"
            return _doubt(OdometerQuestion.LIES_AHEAD, entries, at, words, refused=True)
    return None


def _usual(days: np.ndarray, run: Floats) -> float:
    """Return km a day over the record, infinite where it is too short to tell."""
    span = float(days.max() - days.min())
    return float(run.max() - run.min()) / span if span >= _HISTORY_DAYS else np.inf


def _running(days: np.ndarray, values: Floats, swaps: pd.DataFrame) -> Floats:
    return run_on(
        days,
        values,
        swap_days=[_day(value) for value in swaps["on_date"]],
        swap_old_km=swaps["old_km"].to_numpy(float),
        swap_new_km=swaps["new_km"].to_numpy(float),
    )


def _doubt(question: OdometerQuestion, entries: pd.DataFrame, at: int, words: str, *, refused: bool) -> OdometerDoubt:
    entry = entries.iloc[at]
    return OdometerDoubt(question, float(entry["odometer_km"]), entry["on_date"].date(), words, refused)


def _day(value: object) -> int:
    return int(np.datetime64(str(value)[:10], "D").astype(int))
