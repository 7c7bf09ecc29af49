"""Which limit holds on a day: limits begin on dates, and the reading of a day is judged by the limit of that day."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

LIMIT = [
    "limit_id", "limit_mm", "limit_source", "limit_basis", "limit_valid_from", "limit_method", "limit_support",
    "limit_read_at",
]  # fmt: skip
"""What is known of the limit of a series."""


def limits_on(candidates: pd.DataFrame, series: pd.Series, day: pd.Series, *, or_first: bool = False) -> pd.DataFrame:
    """Return the limit of each series on its day, the columns ``LIMIT``, indexed as ``series``; empty where none holds.

    Parameters
    ----------
    candidates
        The rows of ``forecast/limits.sql``: of those that have begun, that of the lowest rank holds.
    series, day
        Aligned; a day that is not known has no limit.
    or_first
        Whether the first limit to begin stands in where none has begun yet: a play that was measured before any limit
        was in force is still compared with something.
    """
    asked = pd.DataFrame(
        {"series": series.to_numpy(), "day": pd.to_datetime(day).to_numpy(), "at": np.arange(len(series))}
    )
    joined = asked.merge(candidates, on="series", how="inner")
    begun = pd.to_datetime(joined["limit_valid_from"])
    holds = joined[begun <= joined["day"]].sort_values(["at", "rank"]).drop_duplicates("at")
    if or_first:
        first = joined[joined["day"].notna() & ~joined["at"].isin(holds["at"])]
        holds = pd.concat([holds, first.sort_values(["at", "limit_valid_from", "rank"]).drop_duplicates("at")])
    found: pd.DataFrame = holds.set_index("at").reindex(range(len(series)))[LIMIT]
    return found.set_axis(series.index)


def with_limits(facts: pd.DataFrame, candidates: pd.DataFrame, next_service: NDArray[np.object_]) -> pd.DataFrame:
    """Return the facts with the limit valid at the next service, and that of the last measured reading's own day.

    Parameters
    ----------
    facts
        One row a series: series, measured_date, and the columns ``LIMIT``, which are replaced.
    candidates
        The rows of ``forecast/limits.sql``.
    next_service
        The median day of the next service of each row.
    """
    frame = facts.copy()
    then = limits_on(candidates, frame["series"], pd.Series(next_service, index=frame.index))
    frame[LIMIT] = then
    judged = limits_on(candidates, frame["series"], frame["measured_date"], or_first=True)
    frame["judged_limit_mm"], frame["judged_limit_source"] = judged["limit_mm"], judged["limit_source"]
    return frame
