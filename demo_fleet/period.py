"""The days that the demo fleet's records cover; days are whole numbers counted from 1970-01-01."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

DAYS_PER_MONTH = 365.25 / 12


def day_number(text: str) -> int:
    """Return the day number of a date such as "2026-11-01"."""
    return int(np.datetime64(text, "D").astype(np.int64))


def iso_dates(days: NDArray[np.int64]) -> NDArray[np.str_]:
    """Return day numbers as dates such as "2026-11-01", in the same shape."""
    return np.datetime_as_string(np.asarray(days, dtype=np.int64).astype("datetime64[D]"), unit="D")


FIRST_DAY = day_number("2021-11-01")
"""The day on which the fleet began to keep records."""

LAST_DAY = day_number("2026-10-31")
"""The last day with records."""

AS_OF = date(2026, 11, 1)
"""The day as of which forecasts are made."""
