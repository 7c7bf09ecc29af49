"""Scores of forecasts against what was observed: arrays in, figures out.

Arrays have shape (m,), one entry a case. ``p`` is the probability that was given to an event, ``event`` whether it
came. Lower is better for the Brier score, the log score and the CRPS; for skill, higher.

References
----------
Brier (1950), Monthly Weather Review 78, 1-3: the mean squared error of probabilities (half of his two-class sum).
Murphy (1973), J. Applied Meteorology 12, 595-600: the uncertainty o (1 - o), which is the Brier score of the base
rate and so the reference of the skill.
Good (1952), J. Royal Statistical Society B 14, 107-114: the logarithmic score.
Gneiting & Raftery (2007), JASA 102, 359-378: proper scores; the CRPS, equations 20 and 21, and that it is the absolute
error where the forecast is a point.
Grimit, Gneiting, Berrocal & Johnson (2006), Q. J. Royal Meteorological Society 132, 2925-2942: the CRPS of a mixture
of normals in closed form.
Wilson (1927), JASA 22, 209-212: the interval of an observed share.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

FLOOR = 1e-4
"""Probabilities are held within FLOOR and 1 - FLOOR where their logarithm is taken: a forecast that gave 0 to what
happened would otherwise be infinitely bad."""

BIN_EDGES = (0.0, 0.01, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)
"""Bins of forecast probability, narrower where most forecasts of rare events lie; a bin holds its upper edge."""

_CELLS = 2_000_000
"""Pairs of components that are held in memory at a time."""


def brier(p: Floats, event: Flags) -> float:
    """Return the Brier score: the mean of (p - event) squared."""
    return float(np.mean((p - event) ** 2))


def brier_skill(p: Floats, event: Flags) -> float:
    """Return 1 - Brier score / that of giving the cases' own share of events to every case.

    1 is perfect, 0 no better than the base rate; nan where every case, or none, is an event. The base rate is
    that of the cases themselves, which nobody knew beforehand: a reference that is hard to beat.
    """
    base = float(event.mean())
    if not 0.0 < base < 1.0:
        return float("nan")
    return 1.0 - brier(p, event) / (base * (1.0 - base))


def log_score(p: Floats, event: Flags) -> float:
    """Return the mean of minus the natural logarithm of the probability given to what happened."""
    held = np.clip(p, FLOOR, 1.0 - FLOOR)
    return float(-np.mean(np.where(event, np.log(held), np.log1p(-held))))


def crps_mixture(mean: Floats, sd: Floats, weight: Floats, observed: Floats) -> Floats:
    """Return the continuous ranked probability score of mixtures of normals, shape (m,), in the unit of ``observed``.

    Parameters
    ----------
    mean, sd, weight
        Components, shape (m, k); weights sum to one a row. An sd of 0 is a point.
    observed
        What was observed, shape (m,).
    """
    score = np.empty(len(observed))
    step = max(_CELLS // max(mean.shape[1] ** 2, 1), 1)
    for start in range(0, len(observed), step):
        rows = slice(start, start + step)
        mu, variance, w = mean[rows], sd[rows] ** 2, weight[rows]
        apart = _absolute_mean(observed[rows, None] - mu, variance)
        within = _absolute_mean(mu[:, :, None] - mu[:, None, :], variance[:, :, None] + variance[:, None, :])
        score[rows] = (w * apart).sum(axis=1) - 0.5 * np.einsum("ij,ijk,ik->i", w, within, w)
    return score


def _absolute_mean(mean: Floats, variance: Floats) -> Floats:
    """Return the mean of the absolute value of normal variables (the function A of Grimit et al. 2006)."""
    from scipy import special

    sd = np.sqrt(variance)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(sd > 0.0, mean / sd, 0.0)
    density = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    return np.asarray(np.where(sd > 0.0, 2.0 * sd * density + mean * (2.0 * special.ndtr(z) - 1.0), np.abs(mean)))


def coverage(lower: Floats, upper: Floats, observed: Floats) -> float:
    """Return the share of intervals, ends included, that hold what was observed."""
    return float(np.mean((lower <= observed) & (observed <= upper)))


def calibration_curve(
    p: Floats, event: Flags, *, edges: Sequence[float] = BIN_EDGES, level: float = 0.95
) -> pd.DataFrame:
    """Return forecast probabilities beside observed shares, bin by bin; empty bins are left out.

    Returns
    -------
    DataFrame with p_from, p_to (the bin), n (cases), mean_forecast, events, observed (the share), lower and upper
    (Wilson's interval of that share, as if cases were independent).
    """
    from statsmodels.stats.proportion import proportion_confint

    at = np.clip(np.searchsorted(np.asarray(edges), p, side="left") - 1, 0, len(edges) - 2)
    n = np.bincount(at, minlength=len(edges) - 1)
    events = np.bincount(at, weights=event, minlength=len(edges) - 1)
    total = np.bincount(at, weights=p, minlength=len(edges) - 1)
    full = n > 0
    observed = events[full] / n[full]
    lower, upper = proportion_confint(events[full], n[full], alpha=1.0 - level, method="wilson")
    return pd.DataFrame(
        {
            "p_from": np.asarray(edges)[:-1][full],
            "p_to": np.asarray(edges)[1:][full],
            "n": n[full],
            "mean_forecast": total[full] / n[full],
            "events": events[full].astype(np.int64),
            "observed": observed,
            "lower": np.clip(lower, 0.0, observed),
            "upper": np.clip(upper, observed, 1.0),
        }
    )


def flag_highest(score: Floats, number: int) -> Floats:
    """Return which cases are flagged when the ``number`` highest scores are, shape (m,).

    1 is flagged and 0 is not. Cases that tie for the last places share them, each with the chance that it has of
    being taken at random, so that the order of the rows decides nothing.
    """
    if number <= 0:
        return np.zeros(len(score))
    if number >= len(score):
        return np.ones(len(score))
    last = np.sort(score)[-number]
    above, tied = score > last, score == last
    return np.where(above, 1.0, np.where(tied, (number - above.sum()) / tied.sum(), 0.0))


def missed(flagged: Floats, event: Flags) -> float:
    """Return how many events were not flagged."""
    return float(((1.0 - flagged) * event).sum())


def false_flags(flagged: Floats, event: Flags) -> float:
    """Return how many flags were followed by no event."""
    return float((flagged * ~event).sum())
