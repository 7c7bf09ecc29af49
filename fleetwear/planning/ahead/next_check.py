"""The next check of a joint: how far it may run until the probability of being over its limit is the accepted risk."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.forecast.curves import LINE, components_at

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.wear.sums import Floats

_HALVINGS = 40


def probability_over(lines: pd.DataFrame, limit_mm: Floats, distance_km: Floats, *, limit_sd_mm: Floats) -> Floats:
    """Return the probability that the true play of J series is over its limit at distances since its life began, (J,).

    The limit is known to ``limit_sd_mm`` as the fit's play is compared with it: where a joint is read in another way
    than its limit is stated for, that error widens the play's own (`forecast.procedures`).

    Parameters
    ----------
    lines
        Components of the posteriors, sorted by ``series`` (0 .. J - 1), every series at least one.
    limit_mm, distance_km, limit_sd_mm
        (J,); the limit less what its own procedure adds to the play.
    """
    series = lines["series"].to_numpy(dtype=np.int64)
    parts = components_at(
        {name: lines[name].to_numpy(dtype=np.float64)[:, None] for name in LINE}, distance_km[series][:, None]
    )
    wider = replace(parts, variance=parts.variance + limit_sd_mm[series][:, None] ** 2)
    tail = wider.exceeds(limit_mm[series])
    weight = lines["weight"].to_numpy(dtype=np.float64)
    whole = np.bincount(series, weights=weight, minlength=len(limit_mm))
    return np.asarray(np.bincount(series, weights=weight * tail, minlength=len(limit_mm)) / whole)


def check_distances(
    lines: pd.DataFrame,
    limit_mm: Floats,
    risk: Floats,
    now_km: Floats,
    furthest_km: Floats,
    *,
    limit_sd_mm: Floats,
) -> Floats:
    """Return the distance since the life began at which the probability first reaches the accepted risk, (J,).

    That of now where it is reached already; nan where it is not reached by ``furthest_km``. The probability is taken
    to grow with distance beyond now, and the distance is found by halving, to a thousandth of a km or less.

    Parameters
    ----------
    lines, limit_sd_mm
        As in `probability_over`.
    limit_mm, risk
        Limit and accepted risk of each series, (J,).
    now_km, furthest_km
        Distance since the life began now, and the furthest that is looked at, (J,).
    """
    low, high = now_km.astype(np.float64), np.maximum(furthest_km, now_km).astype(np.float64)
    reached = probability_over(lines, limit_mm, low, limit_sd_mm=limit_sd_mm) >= risk
    within = probability_over(lines, limit_mm, high, limit_sd_mm=limit_sd_mm) >= risk
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        there = probability_over(lines, limit_mm, middle, limit_sd_mm=limit_sd_mm) >= risk
        low, high = np.where(there, low, middle), np.where(there, middle, high)
    return np.asarray(np.where(reached, now_km, np.where(within, high, np.nan)))
