"""The share of lifetimes that last, without assuming a distribution: Turnbull's estimator.

References
----------
Turnbull, B. W. (1976), The empirical distribution function with arbitrarily grouped, censored and truncated data,
J. R. Statist. Soc. B 38, 290-295: all mass lies on the maximal intersections, and the likelihood is highest where the
estimate is self-consistent. Peto, R. (1973), Appl. Statist. 22, 86-91. Varadhan, R. and Roland, C. (2008), Scand. J.
Statist. 35, 335-353, scheme S3: the steps of the self-consistency iteration are extrapolated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fleetwear.survival.lifetimes import Lifetimes

_ROUNDS = 2000
_OPEN, _CLOSED, _EXACT = 2, 1, 0
"""The order of ends at one value: an exact lifetime begins before what ends there, and what begins there is beyond."""


@dataclass(frozen=True)
class Turnbull:
    """The nonparametric maximum likelihood estimate of a distribution of lifetimes.

    ``mass`` lies somewhere in each of the intervals (left, right]; where in it, the data cannot tell.
    """

    left: NDArray[np.float64]
    right: NDArray[np.float64]
    mass: NDArray[np.float64]
    n: int
    loglik: float
    shortfall: float
    """The log-likelihood that is missing from its maximum is no more than this."""
    converged: bool

    def bounds(self, at: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the lowest and the highest share of lifetimes beyond each distance, of the shape of ``at``.

        They differ only within an interval that holds mass.
        """
        x = np.asarray(at, dtype=np.float64)
        spent = np.concatenate([[0.0], np.cumsum(self.mass)])
        surely = spent[np.searchsorted(self.right, x, side="right")]
        at_most = spent[np.searchsorted(self.left, x, side="left")]
        at_most = np.maximum(at_most, surely)
        return np.clip(1.0 - at_most, 0.0, 1.0), np.clip(1.0 - surely, 0.0, 1.0)


def turnbull(lifetimes: Lifetimes, *, tolerance: float = 0.01) -> Turnbull:
    """Return the estimate for lifetimes of which at least one is given.

    Every step costs the number of lifetimes plus the number of intervals: each lifetime covers intervals that follow
    each other, so sums over them are differences of running sums.

    Parameters
    ----------
    lifetimes
        n of them, n at least 1.
    tolerance
        The log-likelihood that may be missing from the maximum.
    """
    left, right, first, last = _intersections(lifetimes)
    n = len(lifetimes)
    mass = np.full(len(left), 1.0 / len(left))
    shortfall = np.inf
    for _ in range(_ROUNDS):
        once, gain, _ = _step(mass, first, last, n)
        shortfall = max(n * (float(gain.max()) - 1.0), 0.0)
        if shortfall <= tolerance:
            break
        twice, _, before = _step(once, first, last, n)
        mass = _leap(mass, once, twice, before, first, last)
    loglik = _loglik(mass, first, last)
    some = mass > 1e-12
    kept = mass[some] / mass[some].sum()
    return Turnbull(left[some], right[some], kept, n, loglik, shortfall, shortfall <= tolerance)


def _intersections(
    lifetimes: Lifetimes,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    """Return the ends of the maximal intersections, and the first and one past the last that each lifetime covers."""
    n = len(lifetimes)
    exact = lifetimes.lower == lifetimes.upper
    value = np.concatenate([lifetimes.lower, lifetimes.upper])
    order_at = np.concatenate([np.where(exact, _EXACT, _OPEN), np.full(n, _CLOSED)])
    order = np.lexsort((order_at, value))
    rank = np.empty(2 * n, dtype=np.int64)
    rank[order] = np.arange(2 * n)
    is_left = order < n
    at = np.flatnonzero(is_left[:-1] & ~is_left[1:])
    first = np.searchsorted(at, rank[:n], side="left")
    last = np.searchsorted(at + 1, rank[n:], side="right")
    return value[order[at]], value[order[at + 1]], first.astype(np.int64), last.astype(np.int64)


def _covered(mass: NDArray[np.float64], first: NDArray[np.int64], last: NDArray[np.int64]) -> NDArray[np.float64]:
    running = np.concatenate([[0.0], np.cumsum(mass)])
    return np.asarray(np.maximum(running[last] - running[first], 1e-300))


def _step(
    mass: NDArray[np.float64], first: NDArray[np.int64], last: NDArray[np.int64], n: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Return the self-consistent step, the mean of each interval's gain (1 at the maximum), and the log-likelihood."""
    covered = _covered(mass, first, last)
    share = 1.0 / covered
    size = len(mass) + 1
    change = np.bincount(first, weights=share, minlength=size) - np.bincount(last, weights=share, minlength=size)
    gain = np.cumsum(change)[:-1] / n
    new = mass * np.maximum(gain, 0.0)
    return new / new.sum(), gain, float(np.log(covered).sum())


def _loglik(mass: NDArray[np.float64], first: NDArray[np.int64], last: NDArray[np.int64]) -> float:
    return float(np.log(_covered(mass, first, last)).sum())


def _leap(
    start: NDArray[np.float64],
    once: NDArray[np.float64],
    twice: NDArray[np.float64],
    loglik: float,
    first: NDArray[np.int64],
    last: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Return two steps extrapolated, or the two steps themselves where that lowers the likelihood."""
    r, v = once - start, twice - 2.0 * once + start
    length = float(np.sqrt(v @ v))
    if length < 1e-15:
        return twice
    alpha = max(float(np.sqrt(r @ r)) / length, 1.0)
    leapt = np.maximum(start + 2.0 * alpha * r + alpha * alpha * v, 0.0)
    leapt = np.maximum(leapt, 1e-3 * twice)
    leapt /= leapt.sum()
    return leapt if _loglik(leapt, first, last) >= loglik else twice
