"""How long a maintenance record is kept: 49 CFR 396.3(c), counted by the calendar.

The rule: a record is kept where the vehicle is housed or maintained for one year, and for six months after the
vehicle leaves the motor carrier's control. Both are counted here, and the later day stands. A year or a month ends on
the same day of the later month; where that month has no such day, on the first day of the month after it, so that
nothing is let go a day early.
"""

from __future__ import annotations

from datetime import date

KEPT_MONTHS = 12
"""For how long an entry is kept from its own day on: 49 CFR 396.3(c), "1 year"."""
KEPT_AFTER_LEAVING_MONTHS = 6
"""For how long it is kept after the vehicle has left: 49 CFR 396.3(c), "6 months"."""

RULE = (
    "Each entry is kept where the vehicle is housed or maintained for 1 year, and for 6 months after the vehicle "
    "leaves the motor carrier's control (49 CFR 396.3(c)); the later of the two days is shown. Months end on the same "
    "day of the later month, or on the first day of the month after it where that month has no such day."
)


def after_months(day: date, months: int) -> date:
    """Return the day so many months later, by the rule of this module.

    >>> after_months(date(2024, 2, 29), 12)
    datetime.date(2025, 3, 1)
    """
    count = day.year * 12 + day.month - 1 + months
    year, month = count // 12, count % 12 + 1
    try:
        return date(year, month, day.day)
    except ValueError:
        return date(year + month // 12, month % 12 + 1, 1)


def keep_through(entry: date, left: date | None) -> date:
    """Return the last day on which an entry must still be kept.

    Parameters
    ----------
    entry
        The day of the entry.
    left
        The day on which the vehicle left; where None, the day is the earliest that it can be.
    """
    own = after_months(entry, KEPT_MONTHS)
    return own if left is None else max(own, after_months(left, KEPT_AFTER_LEAVING_MONTHS))
