"""Weeks: which days make which, counted from the Monday of the first working week, and who crosses in them."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.planning.pressing import pressing_joints
from fleetwear.vocabulary import Outcome

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.planning.flags import Flags
    from fleetwear.wear.sums import Floats

AT_ONCE = (Outcome.OVER_LIMIT, Outcome.SYMPTOM_CONFIRMED)
"""Outcomes that do not wait for the next service: they stand in the first week."""


def week_starts(as_of: date, weeks: int) -> list[date]:
    """Return the Mondays of the weeks ahead; the first is that of the week in which the day after ``as_of`` lies."""
    following = as_of + timedelta(days=1)
    first = following - timedelta(days=following.weekday())
    return [first + timedelta(days=7 * number) for number in range(weeks)]


def week_numbers(as_of: date, days: Floats) -> NDArray[np.int64]:
    """Return the week, 0 the first, in which each day lies that is ``days`` after ``as_of``, begun days as whole."""
    first = week_starts(as_of, 1)[0]
    ahead = np.ceil(np.asarray(days, dtype=np.float64)).astype(np.int64)
    return np.maximum((ahead - (first - as_of).days) // 7, 0)


def crossing_by_week(flags: Flags, *, weeks: int) -> tuple[pd.DataFrame, int]:
    """Return the joints that press, by week and depot, and how many press whose vehicle is in only later.

    Parameters
    ----------
    flags
        The flags of the moved services.
    weeks
        How many weeks ahead.

    Returns
    -------
    The columns of ``pressing_joints`` with ``week`` (0 the first), ``week_start`` and ``when``, in order of week and
    depot. A joint over its limit or with a confirmed symptom stands in the first week.
    """
    joints = pressing_joints(flags)
    as_of = flags.run.as_of
    at_once = joints["outcome"].isin([str(outcome) for outcome in AT_ONCE]).to_numpy()
    ahead = pd.to_datetime(joints["next_service_date_50"]) - pd.Timestamp(as_of)
    days = np.asarray(ahead.dt.days, dtype=np.float64)
    week = np.where(at_once, 0, week_numbers(as_of, days)).astype(np.int64)
    starts = week_starts(as_of, weeks)
    when = np.where(at_once, "at once", np.where(joints["overdue"].astype(bool), "service overdue", "at its service"))
    frame = joints.assign(week=week, when=when)
    inside = frame[frame["week"] < weeks].copy()
    inside["week_start"] = [starts[number] for number in inside["week"]]
    inside["depot"] = inside["depot"].fillna("no depot")
    ordered = inside.sort_values(["week", "depot"], kind="stable").reset_index(drop=True)
    return ordered, int((frame["week"] >= weeks).sum())
