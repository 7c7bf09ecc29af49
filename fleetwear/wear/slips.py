"""Slipped setups: a few readings in a hundred that are far off, mostly low, because the indicator moved.

A reading's error is normal with the residual variance, or, with a small probability, that of a slip::

    e_i ~ (1 - share) N(0, sigma2 v_i) + share N(shift, variance)

Whether a reading slipped is judged from the other readings of its life: with N(m, s) what they say of the
true play at its distance (its cavity), the probability p_i that it slipped follows from Bayes' rule. It
then enters the sums as the one normal reading that the two possibilities average to, in precision::

    w_i = (1 - p_i) / (sigma2 v_i) + p_i / variance
    y_i = ((1 - p_i) y_i / (sigma2 v_i) + p_i (y_i - shift) / variance) / w_i

and counts as 1 - p_i of a reading toward the residual variance. All readings are judged at once, a few times
over, because one slipped reading makes its neighbours look odd at first. This is an approximation (a fixed
point in the manner of expectation propagation; Minka 2001, from memory), exact where nothing slips.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.onset import mix

if TYPE_CHECKING:
    from fleetwear.wear.population import Lines, Population
    from fleetwear.wear.sums import Floats, ReadingArrays

ROUNDS = 4
"""Times that all readings are judged."""

_FIRST_SHARE = 0.03
_FIRST_RATIO = 25.0
"""Variance of a slip over the residual variance, before any is seen."""
_LEAST_RATIO = 6.0
_PRIOR_SHARE = (1.0, 50.0)
"""Slips and readings that the share of slips starts from, so that a fleet of a few readings has some."""
_PRIOR_SLIPS = 4.0
"""Slips' worth of the first variance, and of no shift, likewise."""


@dataclass(frozen=True)
class Slips:
    """How often readings slip, and how far: N(shift, variance) in play and play squared."""

    share: float
    shift: float
    variance: float

    @classmethod
    def first(cls, residual_variance: float) -> Slips:
        """Return what is assumed before any reading is seen."""
        return cls(_FIRST_SHARE, 0.0, _FIRST_RATIO * residual_variance)

    def improved(self, judged: Judged, residual_variance: float) -> Slips:
        """Return the estimate from judged readings, with a little weight on what was assumed."""
        slipped = float(judged.slipped.sum())
        share = (slipped + _PRIOR_SHARE[0]) / (len(judged.slipped) + _PRIOR_SHARE[1])
        shift = float(judged.slipped @ judged.gap) / (slipped + _PRIOR_SLIPS)
        squares = float(judged.slipped @ ((judged.gap - shift) ** 2 - judged.spread))
        assumed = _PRIOR_SLIPS * _FIRST_RATIO * residual_variance
        variance = max((squares + assumed) / (slipped + _PRIOR_SLIPS), _LEAST_RATIO * residual_variance)
        return Slips(min(share, 0.3), shift, variance)


@dataclass(frozen=True)
class Judged:
    """Readings judged by the others of their lives, shape (n,)."""

    settled: ReadingArrays
    """The normal readings that they average to."""
    slipped: Floats
    """Probability that each slipped."""
    gap: Floats
    """How far it lies from what the others say of it."""
    spread: Floats
    """Variance of what they say."""


def judge(population: Population, slips: Slips, readings: ReadingArrays, prior: Lines) -> Judged:
    """Return the readings judged: which slipped, and what they are worth.

    Parameters
    ----------
    population
        The fitted shape.
    slips
        How often and how far readings slip.
    readings
        n readings of J lives as they were taken.
    prior
        The mean line of each life's cohort, J rows.
    """
    sigma2, y = population.residual_variance, readings.play
    good_variance = sigma2 * readings.variance_ratio
    z = population.coordinates(readings.distance)
    settled = readings
    for _ in range(ROUNDS):
        known = population.know(population.sums_of(settled), prior)
        mean, variance, shares = known.at(z, readings.life)
        site = 1.0 / (sigma2 * settled.variance_ratio)[:, None]
        spread = 1.0 / np.maximum(1.0 / variance - site, 1e-6 / variance)
        middle = spread * (mean / variance - site * settled.play[:, None])
        with np.errstate(divide="ignore"):
            without = np.log(shares) - log_normal(settled.play[:, None], middle, spread + 1.0 / site)
        _, cavity = mix(without, np.ones(shares.shape[1]))
        with np.errstate(divide="ignore"):
            log_cavity = np.log(cavity)
        good, _ = mix(log_cavity + log_normal(y[:, None], middle, spread + good_variance[:, None]), np.ones(1))
        bad, _ = mix(log_cavity + log_normal(y[:, None], middle + slips.shift, spread + slips.variance), np.ones(1))
        odds = np.log(slips.share / (1.0 - slips.share)) + bad - good
        slipped = 1.0 / (1.0 + np.exp(-np.clip(odds, -500.0, 500.0)))
        kept, lost = (1.0 - slipped) / good_variance, slipped / slips.variance
        settled = replace(
            readings,
            play=(kept * y + lost * (y - slips.shift)) / (kept + lost),
            variance_ratio=1.0 / (sigma2 * (kept + lost)),
            count=1.0 - slipped,
            log_ratio=(1.0 - slipped) * np.log(readings.variance_ratio),
        )
    expected = (cavity * middle).sum(axis=1)
    scatter = (cavity * (spread + (middle - expected[:, None]) ** 2)).sum(axis=1)
    return Judged(settled, slipped, y - expected, scatter)


def log_normal(y: Floats, mean: Floats, variance: Floats | float) -> Floats:
    """Return the log density of N(mean, variance) at y, of the shape that they broadcast to."""
    return np.asarray(-0.5 * (np.log(2.0 * np.pi * variance) + (y - mean) ** 2 / variance))
