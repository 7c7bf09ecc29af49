"""Wording: numbers, dates and spans as people read them; a value that is not known is said to be so."""

from __future__ import annotations

import pandas as pd

from fleetwear.units import factor, say

UNKNOWN = "not known"


def is_known(value: object) -> bool:
    """Return whether a cell holds a value."""
    return value is not None and not pd.isna(value)  # type: ignore[call-overload]


def begin_sentence(words: str) -> str:
    """Return words as they stand at the beginning of a sentence: the first letter large, all others as they are."""
    return words[:1].upper() + words[1:]


def say_probability(value: object) -> str:
    """Return a probability with two figures, never a bare 0 or 1: "0.57", "0.073", "below 0.01"."""
    if not is_known(value):
        return UNKNOWN
    p = float(str(value))
    if p < 0.005:
        return "below 0.01"
    if p > 0.995:
        return "above 0.99"
    return f"{p:.3f}" if p < 0.1 else f"{p:.2f}"


def say_date(value: object) -> str:
    """Return a date as "2026-11-18"."""
    return pd.Timestamp(str(value)).strftime("%Y-%m-%d") if is_known(value) else UNKNOWN


def say_dates(low: object, middle: object, high: object) -> str:
    """Return a date with its window: "2026-12-22 (2026-12-02 to 2027-02-03)"."""
    if not is_known(middle):
        return UNKNOWN
    return f"{say_date(middle)} ({say_date(low)} to {say_date(high)})"


def say_distance(value: object, unit: str) -> str:
    """Return a distance stored in km in a person's own unit: "127,100 mi"."""
    return say(float(str(value)), unit, stored_in="km") if is_known(value) else UNKNOWN


def say_distances(low: object, middle: object, high: object, unit: str) -> str:
    """Return a distance with its window, the unit once: "130,090 (129,400 to 132,870) mi"."""
    if not is_known(middle):
        return UNKNOWN
    parts = [say_distance(value, unit).removesuffix(f" {unit}") for value in (middle, low, high)]
    return f"{parts[0]} ({parts[1]} to {parts[2]}) {unit}"


def say_play(value: object, unit: str) -> str:
    """Return a play stored in mm in a person's own unit: "20 thou", "0.51 mm"."""
    return say(float(str(value)), unit, stored_in="mm") if is_known(value) else UNKNOWN


def say_small_play(mm: float) -> str:
    """Return a small play in both units, for what concerns fleets that use either: "0.044 mm (1.7 thou)"."""
    return f"{mm:.3f} mm ({mm * factor('mm', 'thou'):.1f} thou)"


def say_count(number: int, one: str, many: str) -> str:
    """Return a count with its noun: "1 vehicle", "12 vehicles"."""
    return f"{number:,} {one if number == 1 else many}"


def say_fixed(value: float, digits: int) -> str:
    """Return a number with so many decimals; what rounds to zero has no sign."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def say_growth(growth_mm_per_km: list[object], play_unit: str, distance_unit: str) -> str:
    """Return growth with its interval per 10,000 of a person's own units: "2 (1 to 3) thou".

    Parameters
    ----------
    growth_mm_per_km
        The growth, its lower and its upper end, mm/km.
    play_unit, distance_unit
        The person's own units.
    """
    if not is_known(growth_mm_per_km[0]):
        return UNKNOWN
    scale = 10_000.0 * factor(distance_unit, "km") * factor("mm", play_unit)
    digits = {"thou": 1, "in": 4, "mm": 3, "um": 0}[play_unit]
    middle, low, high = (say_fixed(float(str(value)) * scale, digits) for value in growth_mm_per_km)
    return f"{middle} ({low} to {high}) {play_unit}"
