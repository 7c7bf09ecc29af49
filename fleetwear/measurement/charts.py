"""Control charts of standardised points with known spread: single points, the moving average, and when a step came.

With points u_1, ..., u_n that are N(0, 1) while nothing has changed, single points signal beyond 3 (Shewhart 1931), and
the exponentially weighted moving average z_i = lambda u_i + (1 - lambda) z_(i-1), z_0 = 0, beyond
L sqrt(lambda / (2 - lambda) (1 - (1 - lambda)^(2 i))).

References
----------
Roberts (1959), Technometrics 1, 239-250 (the moving average).
Lucas & Saccucci (1990), Technometrics 32, 1-12 (choice of lambda and L by average run length).
Brook & Evans (1972), Biometrika 59, 539-549 (run lengths by a Markov chain).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SINGLE_LIMIT = 3.0
"""Single points beyond this signal: once in 370 points while nothing has changed."""

AVERAGE_WEIGHT, AVERAGE_LIMIT = 0.2, 2.962
"""lambda and L of the moving average: a false signal in 500 points (Lucas & Saccucci 1990, from memory; recomputed)."""

_STATES = 201


@dataclass(frozen=True)
class MovingAverage:
    """The moving average of n points and the limit of its absolute value at each, both of shape (n,)."""

    values: Floats
    limits: Floats

    @property
    def signals(self) -> NDArray[np.bool_]:
        """Where it lies beyond its limit, shape (n,)."""
        return np.abs(self.values) > self.limits


def moving_average(points: Floats, *, weight: float = AVERAGE_WEIGHT, limit: float = AVERAGE_LIMIT) -> MovingAverage:
    """Return the moving average of points in the order of time.

    Parameters
    ----------
    points
        Standardised points, shape (n,).
    weight, limit
        lambda in (0, 1], and L.
    """
    from scipy.signal import lfilter

    n = np.arange(1, len(points) + 1)
    values = lfilter([weight], [1.0, weight - 1.0], points) if len(points) else np.zeros(0)
    spread = np.sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2.0 * n)))
    return MovingAverage(np.asarray(values, dtype=np.float64), limit * spread)


def average_run_length(shift: float = 0.0, *, weight: float = AVERAGE_WEIGHT, limit: float = AVERAGE_LIMIT) -> float:
    """Return the mean number of points until the moving average signals, its limit at its final width.

    Parameters
    ----------
    shift
        Mean of the points, in standard deviations.
    weight, limit
        lambda in (0, 1], and L.

    Notes
    -----
    Brook & Evans (1972): the average as a Markov chain of 201 states; their mean times to absorption.
    """
    edge = limit * np.sqrt(weight / (2.0 - weight))
    width = 2.0 * edge / _STATES
    middle = -edge + width * (np.arange(_STATES) + 0.5)
    held = (1.0 - weight) * middle[:, None]
    above = stats.norm.cdf((middle + width / 2.0 - held) / weight - shift)
    below = stats.norm.cdf((middle - width / 2.0 - held) / weight - shift)
    times = np.linalg.solve(np.eye(_STATES) - (above - below), np.ones(_STATES))
    return float(times[_STATES // 2])


@dataclass(frozen=True)
class Step:
    """The most likely single step in the mean of points in the order of time."""

    first: int
    """The first point after it; 0 where all points lie off."""
    shift: float
    """Mean of the points from there on, weighted, in their own unit."""
    standard_error: float
    p_value: float
    """Two-sided, Bonferroni-adjusted for the places at which the step might have been."""


def most_likely_step(values: Floats, variances: Floats, *, least: int = 3) -> Step | None:
    """Return the step from mean 0 to another mean that explains points best; None with fewer than ``least`` of them.

    Parameters
    ----------
    values, variances
        Points in the order of time with their known variances, shape (n,).
    least
        Points that must follow a step.

    Notes
    -----
    For a step before point k the log likelihood ratio is S_k^2 / 2 with S_k = sum_(i >= k) w_i y_i /
    sqrt(sum_(i >= k) w_i), w_i = 1 / v_i; S_k is N(0, 1) without a step.
    """
    n = len(values)
    if n < least:
        return None
    weight = 1.0 / variances
    total = np.cumsum(weight[::-1])[::-1]
    mean = np.cumsum((weight * values)[::-1])[::-1] / total
    score = np.abs(mean) * np.sqrt(total)
    k = int(score[: n - least + 1].argmax())
    p = min(1.0, 2.0 * float(stats.norm.sf(score[k])) * (n - least + 1))
    return Step(k, float(mean[k]), float(1.0 / np.sqrt(total[k])), p)
