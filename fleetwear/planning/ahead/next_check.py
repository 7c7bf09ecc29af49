"""The next check of a joint: how far it may run until the probability of being over its limit is the accepted risk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fleetwear.forecast.curves import LINE, components_at

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.wear.sums import Floats

_HALVINGS = 40


def probability_over(lines: pd.DataFrame, limit_mm: Floats, distance_km: Floats) -> Floats:
    """Return the probability that the true play of J series is over its limit at distances since its life began, (J,).

    Parameters
    ----------
    lines
        Components of the posteriors, sorted by ``series`` (0 .. J - 1), every series at least one.
    limit_mm, distance_km
        (J,)
    """
    series = lines["series"].to_numpy(dtype=np.int64)
    parts = components_at(
        {name: lines[name].to_numpy(dtype=np.float64)[:, None] for name in LINE}, distance_km[series][:, None]
    )
    tail = parts.exceeds(limit_mm[series])
    weight = lines["weight"].to_numpy(dtype=np.float64)
    whole = np.bincount(series, weights=weight, minlength=len(limit_mm))
    return np.asarray(np.bincount(series, weights=weight * tail, minlength=len(limit_mm)) / whole)


def check_distances(lines: pd.DataFrame, limit_mm: Floats, risk: Floats, now_km: Floats, furthest_km: Floats) -> Floats:
    """Return the distance since the life began at which the probability first reaches the accepted risk, (J,).

    That of now where it is reached already; nan where it is not reached by ``furthest_km``. The probability is taken
    to grow with distance beyond now, and the distance is found by halving, to a thousandth of a km or less.

    Parameters
    ----------
    lines
        As in `probability_over`.
    limit_mm, risk
        Limit and accepted risk of each series, (J,).
    now_km, furthest_km
        Distance since the life began now, and the furthest that is looked at, (J,).
    """
    low, high = now_km.astype(np.float64), np.maximum(furthest_km, now_km).astype(np.float64)
    reached = probability_over(lines, limit_mm, low) >= risk
    within = probability_over(lines, limit_mm, high) >= risk
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        there = probability_over(lines, limit_mm, middle) >= risk
        low, high = np.where(there, low, middle), np.where(there, middle, high)
    return np.asarray(np.where(reached, now_km, np.where(within, high, np.nan)))
