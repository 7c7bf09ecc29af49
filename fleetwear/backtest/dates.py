"""The dates that a backtest looks from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

EVERY_MONTHS = 6
DATES = 4
"""How many dates are looked from where none are named."""


def choose_dates(
    first_day: date,
    last_day: date,
    *,
    dates: Sequence[date] | None = None,
    start: date | None = None,
    every_months: int = EVERY_MONTHS,
) -> list[date]:
    """Return the as-of dates of a backtest, the earliest first.

    Those given; or from ``start`` on every so many months; or else four dates, every so many months back from
    the last reading.

    Parameters
    ----------
    first_day, last_day
        The days of the first and the last reading of the record.
    dates, start, every_months
        As said above.

    Raises
    ------
    InputError
        If no date lies between the first and the last reading, or a named one does not, or ``every_months`` is
        not a positive number.
    """
    if every_months < 1:
        raise InputError(f"every {every_months} months", mend="Give a whole number of months, such as 6.")
    if dates:
        return _checked(sorted(set(dates)), first_day, last_day)
    if start is not None:
        _checked([start], first_day, last_day)
        return _steps(start, last_day, every_months)
    back = [(pd.Timestamp(last_day) - pd.DateOffset(months=every_months * k)).date() for k in range(DATES, 0, -1)]
    chosen = [day for day in back if day >= first_day]
    if not chosen:
        raise InputError(
            f"the readings cover {first_day} to {last_day}, less than {every_months} months",
            mend="Name dates between them, or take shorter steps with --every-months.",
        )
    return chosen


def _steps(start: date, last_day: date, every_months: int) -> list[date]:
    """Return ``start`` and every so many months after it, each counted from ``start``, before the last day."""
    found, day = [], start
    while day < last_day:
        found.append(day)
        day = (pd.Timestamp(start) + pd.DateOffset(months=every_months * len(found))).date()
    return found


def _checked(dates: list[date], first_day: date, last_day: date) -> list[date]:
    outside = [day for day in dates if not first_day <= day < last_day]
    if outside:
        raise InputError(
            f"no reading lies on both sides of {', '.join(str(day) for day in outside)}",
            mend=f"Name dates from {first_day}, the first reading, to before {last_day}, the last.",
        )
    return dates
