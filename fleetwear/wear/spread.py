"""How lives of a group differ, and how well their mean is known, from what is known of each life.

Of life i the posterior of a quantity has mean m_i and variance v_i. Posterior means lie closer together than what they
stand for, because each is drawn toward its cohort; by the law of total variance the spread among the lives is::

    spread^2 = var(m_i) + mean(v_i)                              between^2 + within^2

The mean of the group has the variance::

    [ G / (G - 1) sum_c (S_c - n_c mean)^2 + sum_c (sum_{i in c} sqrt(v_i))^2 ] / n^2

over clusters c of n_c lives whose means sum to S_c: lives of a cluster may be alike, and what is not known of them is
taken to move together, which errs to the wide side. Its t has G - 1 degrees of freedom.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers

_BISECTIONS = 50
SUMS = (
    "n", "n_clusters", "total", "squares", "variances", "total_squares", "total_counts", "count_squares",
    "deviation_squares",
)  # fmt: skip
"""What a group's spread is made from: lives, clusters, and the sums of m, m^2, v, S_c^2, S_c n_c, n_c^2 and
(sum of sqrt(v) in c)^2."""


@dataclass(frozen=True)
class Spread:
    """K groups of lives; arrays of shape (K,), in the unit of the quantity."""

    n: Integers
    n_clusters: Integers
    mean: Floats
    lower: Floats
    upper: Floats
    """The interval of the mean; nan with fewer than two clusters."""
    between: Floats
    """Standard deviation of the lives' posterior means."""
    within: Floats
    """Root mean square of the lives' posterior standard deviations."""

    @property
    def spread(self) -> Floats:
        """Standard deviation among the lives themselves."""
        return np.sqrt(self.between**2 + self.within**2)


def group_sums(
    mean: Floats, variance: Floats, group: Integers, cluster: Integers, *, n_groups: int
) -> dict[str, Floats]:
    """Return the sums of K groups that `spread_of` takes.

    Parameters
    ----------
    mean, variance
        Of each life's posterior, shape (n,).
    group
        Each life's group, 0 to K - 1, shape (n,).
    cluster
        Each life's cluster, not negative, shape (n,).
    n_groups
        K.
    """
    pairs, code = np.unique(np.stack([group, cluster]), axis=1, return_inverse=True)
    code = code.reshape(-1)
    size = pairs.shape[1]

    def by_pair(values: Floats | None) -> Floats:
        return np.bincount(code, weights=values, minlength=size).astype(np.float64)

    def by_group(values: Floats) -> Floats:
        return np.bincount(pairs[0], weights=values, minlength=n_groups).astype(np.float64)

    counts, totals = by_pair(None), by_pair(mean)
    return {
        "n": by_group(counts),
        "n_clusters": by_group(np.ones(size)),
        "total": by_group(totals),
        "squares": by_group(by_pair(mean**2)),
        "variances": by_group(by_pair(variance)),
        "total_squares": by_group(totals**2),
        "total_counts": by_group(totals * counts),
        "count_squares": by_group(counts**2),
        "deviation_squares": by_group(by_pair(np.sqrt(variance)) ** 2),
    }


def spread_of(sums: Mapping[str, Floats], *, level: float = 0.95) -> Spread:
    """Return mean, interval and spread of K groups from their ``SUMS``, arrays of shape (K,)."""
    from scipy import special

    n, clusters, total, squares, variances, total_squares, total_counts, count_squares, deviation_squares = (
        np.asarray(sums[name], dtype=np.float64) for name in SUMS
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / n
        between = np.sqrt(np.maximum(squares - n * mean**2, 0.0) / np.maximum(n - 1.0, 1.0))
        scatter = np.maximum(total_squares - 2.0 * mean * total_counts + mean**2 * count_squares, 0.0)
        variance = (clusters / (clusters - 1.0) * scatter + deviation_squares) / n**2
        half = special.stdtrit(np.maximum(clusters - 1.0, 1.0), 0.5 + level / 2.0) * np.sqrt(variance)
        half = np.where(clusters >= 2.0, half, np.nan)
        within = np.sqrt(variances / n)
    return Spread(n.astype(np.int64), clusters.astype(np.int64), mean, mean - half, mean + half, between, within)


def mixture_density(mean: Floats, variance: Floats, at: Floats) -> Floats:
    """Return the mean of the lives' posterior densities, taken as normal, at points; shape of ``at``, (m,)."""
    sd = np.sqrt(np.maximum(variance, 1e-300))[:, None]
    z = (at[None, :] - mean[:, None]) / sd
    return np.asarray((np.exp(-0.5 * z * z) / (sd * np.sqrt(2.0 * np.pi))).mean(axis=0))


def mixture_quantiles(
    mean: Floats, variance: Floats, group: Integers, shares: Floats, *, n_groups: int
) -> NDArray[np.float64]:
    """Return quantiles of the mean of the lives' posteriors, taken as normal, shape (n_groups, len(shares)).

    Every group must hold a life.
    """
    from scipy import special

    sd = np.sqrt(np.maximum(variance, 1e-300))
    count = np.bincount(group, minlength=n_groups)
    found = np.empty((n_groups, len(shares)))
    for column, share in enumerate(shares):
        low, high = np.full(n_groups, np.inf), np.full(n_groups, -np.inf)
        np.minimum.at(low, group, mean - 8.0 * sd)
        np.maximum.at(high, group, mean + 8.0 * sd)
        for _ in range(_BISECTIONS):
            middle = (low + high) / 2.0
            below = np.bincount(group, weights=special.ndtr((middle[group] - mean) / sd), minlength=n_groups) / count
            low, high = np.where(below < share, middle, low), np.where(below < share, high, middle)
        found[:, column] = (low + high) / 2.0
    return found
