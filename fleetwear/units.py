"""Units at the edge: what people write in, millimetres and kilometres inside.

Only units on the lists below are known. Text is never handed to pint to be evaluated: a spelling is
looked up here, and pint converts between two unit names that this module chose.

References
----------
NIST SP 811 (2008), Appendix B: 1 in = 25.4 mm and 1 mile = 1609.344 m, both exact.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from fleetwear.errors import InputError, UnitError

if TYPE_CHECKING:
    import pint
    from numpy.typing import ArrayLike, NDArray

Quantity = Literal["play", "distance"]

CANONICAL: dict[Quantity, str] = {"play": "mm", "distance": "km"}
"""The unit that each quantity is stored in."""

SPELLINGS: dict[Quantity, dict[str, str]] = {
    "play": {
        "thou": "thou", "mil": "thou", "mils": "thou", "thousandths": "thou", ".001 in": "thou",
        "0.001 in": "thou", "thousandths of an inch": "thou",
        "in": "in", "inch": "in", "inches": "in", '"': "in",
        "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
        "um": "um", "µm": "um", "μm": "um", "micron": "um", "microns": "um",
        "micrometre": "um", "micrometres": "um", "micrometer": "um", "micrometers": "um",
    },
    "distance": {
        "km": "km", "kilometre": "km", "kilometres": "km", "kilometer": "km", "kilometers": "km",
        "mi": "mi", "mile": "mi", "miles": "mi",
    },
}  # fmt: skip
"""The spellings that are understood, and the unit that each one means."""

_PINT_NAMES = {
    "thou": "thou", "in": "inch", "mm": "millimeter", "um": "micrometer", "km": "kilometer", "mi": "mile",
}  # fmt: skip

NUMBER_PATTERN = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
"""A plain decimal number: no thousands separators, hexadecimal, nan or inf."""

_MEASURE = re.compile(rf"\s*({NUMBER_PATTERN})\s*(.*?)\s*", re.DOTALL)


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(cache_folder=None)


@cache
def factor(unit: str, to: str) -> float:
    """Return how many ``to`` units make one ``unit``; both are names such as "thou", "mm", "mi", "km"."""
    registry = _registry()
    return float(registry.Quantity(1.0, _PINT_NAMES[unit]).to(_PINT_NAMES[to]).magnitude)


def resolve(spelling: str, quantity: Quantity) -> str:
    """Return the unit that a spelling means.

    Raises
    ------
    UnitError
        If the spelling is not on the list for that quantity.
    """
    unit = SPELLINGS[quantity].get(spelling.strip().lower())
    if unit is None:
        known = ", ".join(sorted(set(SPELLINGS[quantity].values())))
        raise UnitError(f"unknown {quantity} unit {spelling!r}", mend=f"Write one of: {known}.")
    return unit


def convert(values: ArrayLike, unit: str, to: str) -> NDArray[np.float64]:
    """Return values converted between two units of one quantity, as an array of the same shape.

    Parameters
    ----------
    values
        Numbers in ``unit``.
    unit, to
        Unit names: "thou", "in", "mm", "um" for play; "mi", "km" for distance.
    """
    return np.asarray(values, dtype=np.float64) * factor(unit, to)


def parse_measure(text: str, quantity: Quantity, *, default_unit: str | None = None) -> tuple[float, str]:
    """Return the number and the unit of a text such as "20 thou" or "0.5 mm".

    Parameters
    ----------
    text
        A number with or without a unit behind it.
    quantity
        "play" or "distance".
    default_unit
        The unit of a number without one.

    Raises
    ------
    InputError
        If there is no plain number, or no unit and no default.
    UnitError
        If the unit is not on the list.
    """
    found = _MEASURE.fullmatch(text)
    if found is None:
        raise InputError(f"{text!r} is not a number with a unit", mend='Write it like "20 thou" or "0.5 mm".')
    spelling = found[2] or default_unit
    if not spelling:
        raise InputError(f"{text!r} has no unit", mend='Write the unit behind it, like "20 thou".')
    value = float(found[1])
    if not np.isfinite(value):
        raise InputError(f"{text!r} is too large to be a number", mend='Write it like "20 thou" or "0.5 mm".')
    return value, resolve(spelling, quantity)


def spelling_table() -> pd.DataFrame:
    """Return every spelling as a row: quantity, spelling, unit, canonical_unit, to_canonical (factor)."""
    rows = [
        (quantity, spelling, unit, CANONICAL[quantity], factor(unit, CANONICAL[quantity]))
        for quantity, spellings in SPELLINGS.items()
        for spelling, unit in spellings.items()
    ]
    return pd.DataFrame(rows, columns=["quantity", "spelling", "unit", "canonical_unit", "to_canonical"])


_DIGITS = {"thou": 0, "in": 3, "mm": 2, "um": 0, "km": 0, "mi": 0}


def say(value: float, unit: str, *, stored_in: str) -> str:
    """Return a stored value as people read it in their own unit: "20 thou", "0.51 mm", "12,400 mi"."""
    shown = value * factor(stored_in, unit)
    return f"{shown:,.{_DIGITS[unit]}f} {unit}"
