"""Two-stage wear: slow until a seal or liner fails, then faster, at an onset that differs from life to life.

For a life whose onset lies at distance c::

    play(x) = intercept + growth * g_c(x)        g_c(x) = x + (pace - 1) max(x - c, 0)        (x over reference)

Given c the model is the mixed model of ``criterion``. The onset is one of a grid of C points with weights
pi_c, the last of them "later than any record" (infinity), so a life is a finite mixture::

    L_j = sum_c pi_c L_j|c(beta, T, sigma2, pace)

It is climbed by EM: shares r_jc of the onsets given the readings; pi from the shares, smoothed along the
grid (Silverman, Jones, Wilson & Nychka 1990, J. R. Stat. Soc. B 52, EMS; from memory); beta, sigma2 and T
from the criterion with every (life, onset) weighted by its share; pace by a search in the mixture's own
likelihood. The sums of any pace follow from sums taken once, because g_c is linear in pace.

It is maximum likelihood; a restricted likelihood is not defined for a mixture.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.criterion import Criterion, Marginal, log_marginals, marginalise, relative_covariance
from fleetwear.wear.mixed_model import Optimum, inside, minimise
from fleetwear.wear.sums import LifeSums

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.cohorts import Grouping
    from fleetwear.wear.sums import Floats, Integers, ReadingArrays

GRID = 16
"""Onsets tried: the middles of so many equal parts of the longest distance on record; "later" comes on top."""

PACE_RANGE = (1.2, 20.0)
_FIRST_PACES = (2.0, 5.0)
_ROUNDS = 60
_FIRST_ROUNDS = 6
_PACE_STEP = 0.15
"""Step of log(pace - 1) between the three points of the search."""

_LEAST_SHARE = 1e-3
"""Share of an onset in a life below which it is left out of a round's steps, though not of its likelihood."""

_TOLERANCE = 0.05
"""Change of the deviance below which EM stops."""

_SMOOTHING = np.array([0.25, 0.5, 0.25])


@dataclass(frozen=True)
class OnsetSums:
    """The sums of J rows (lives, or readings' pasts) from which those of every onset and pace follow.

    With h = max(x - c, 0) the arrays of shape (J, C) are sums of w h, w x h, w h^2 and w h y.
    """

    base: LifeSums
    h: Floats
    xh: Floats
    hh: Floats
    hy: Floats

    @property
    def n_onsets(self) -> int:
        """C."""
        return int(self.h.shape[1])

    def at(self, pace: float) -> LifeSums:
        """Return the sums of g_c, row by row and onset by onset within a row, J * C of them."""
        extra = pace - 1.0

        def each(values: Floats) -> Floats:
            return np.repeat(values, self.n_onsets)

        base = self.base
        return LifeSums(
            n=each(base.n),
            w=each(base.w),
            wg=each(base.wg) + extra * self.h.ravel(),
            wgg=each(base.wgg) + (2.0 * extra * self.xh + extra**2 * self.hh).ravel(),
            wy=each(base.wy),
            wgy=each(base.wgy) + extra * self.hy.ravel(),
            wyy=each(base.wyy),
            log_v=each(base.log_v),
        )

    def rows(self, life: Integers, onset: Integers) -> OnsetSums:
        """Return rows of one onset each."""
        each = (values[life, onset][:, None] for values in (self.h, self.xh, self.hh, self.hy))
        return OnsetSums(self.base.take(life), *each)

    def take(self, rows: NDArray[np.bool_]) -> OnsetSums:
        """Return some of the rows."""
        return OnsetSums(self.base.take(rows), self.h[rows], self.xh[rows], self.hh[rows], self.hy[rows])


def onset_grid(longest: float) -> Floats:
    """Return the onsets tried, up to the longest distance on record, and infinity."""
    return np.append((np.arange(GRID) + 0.5) * (longest / GRID), np.inf)


def onset_sums(readings: ReadingArrays, onsets: Floats, reference: float, *, earlier: bool = False) -> OnsetSums:
    """Return the sums of each life, or with ``earlier`` of each reading's past, for every onset.

    Parameters
    ----------
    readings
        n readings of J lives.
    onsets
        Shape (C,), in the unit of distance; infinity stands for "later".
    reference
        The distance that x and h are divided by.
    earlier
        Sums over earlier readings of the life, one row a reading, in place of one row a life.
    """
    x = readings.distance / reference
    w = 1.0 / readings.variance_ratio
    total = readings.before if earlier else readings.total
    columns: list[list[Floats]] = [[], [], [], []]
    for onset in onsets / reference:
        h = np.maximum(x - onset, 0.0)
        wh = w * h
        for column, values in zip(columns, (wh, wh * x, wh * h, wh * readings.play), strict=True):
            column.append(total(values))
    base = readings.earlier_sums(1.0, reference) if earlier else readings.sums(1.0, reference)
    return OnsetSums(base, *(np.stack(column, axis=1) for column in columns))


@dataclass(frozen=True)
class TwoStage:
    """The parameters of the mixture in the solver's coordinates; K groups, C onsets."""

    pace: float
    onset_weights: Floats
    beta: Floats
    optimum: Optimum
    deviance: float
    converged: bool
    shares: Floats
    """r_jc, shape (J, C)."""

    @property
    def sigma2(self) -> float:
        """Residual variance."""
        return self.optimum.profile.sigma2


@dataclass(frozen=True)
class OnsetProblem:
    """J lives of K groups, with the coordinates that the solver works in."""

    sums: OnsetSums
    grouping: Grouping
    centre: float
    spread: float

    def solver_sums(self, pace: float) -> LifeSums:
        """Return the sums of (g_c - centre) / spread at a pace, J * C rows."""
        return self.sums.at(pace).centred(self.centre, self.spread)

    def fit(self, start: Optimum, *, previous: TwoStage | None = None, rounds: int = _ROUNDS) -> TwoStage:
        """Return the mixture's maximum likelihood.

        ``start`` is the straight fit of the same lives; ``previous`` a mixture of nearly the same lives to go on
        from; ``rounds`` the most that are taken.
        """
        if previous is not None:
            return self._climb(previous.pace, previous.onset_weights, previous.optimum, previous.beta, rounds)
        flat = np.full(self.sums.n_onsets, 0.5 / (self.sums.n_onsets - 1))
        flat[-1] = 0.5
        tried = [self._climb(pace, flat, start, start.profile.beta, _FIRST_ROUNDS) for pace in _FIRST_PACES]
        best = min(tried, key=lambda one: one.deviance)
        return self._climb(best.pace, best.onset_weights, best.optimum, best.beta, rounds)

    def _climb(self, pace: float, weights: Floats, optimum: Optimum, beta: Floats, rounds: int) -> TwoStage:
        sigma2, theta = optimum.profile.sigma2, optimum.theta
        deviance, shares = self._mixture(pace, weights, theta, beta, sigma2)
        converged = False
        for round_ in range(rounds):
            weights = _smoothed(shares.mean(axis=0))
            likely = _Likely(self, shares)
            criterion = Criterion(
                likely.solver_sums(pace), likely.groups, len(self.grouping.labels), reml=False, weight=likely.shares
            )
            optimum = minimise(criterion, start=inside(theta), finish=False, steps=1)
            theta, beta, sigma2 = optimum.theta, optimum.profile.beta, optimum.profile.sigma2
            pace = likely.better_pace(pace, weights, theta, beta, sigma2)
            before = deviance
            deviance, shares = self._mixture(pace, weights, theta, beta, sigma2)
            if round_ > 2 and abs(before - deviance) < _TOLERANCE:
                converged = True
                break
        return TwoStage(pace, weights, beta, optimum, deviance, converged, shares)

    def shares(self, found: TwoStage) -> Floats:
        """Return the shares of the onsets of these lives under a mixture that was found, shape (J, C)."""
        theta, sigma2 = found.optimum.theta, found.sigma2
        return self._mixture(found.pace, found.onset_weights, theta, found.beta, sigma2)[1]

    def _mixture(
        self, pace: float, weights: Floats, theta: Floats, beta: Floats, sigma2: float
    ) -> tuple[float, Floats]:
        """Return minus twice the mixture's log-likelihood, and the shares of the onsets, shape (J, C)."""
        groups = np.repeat(self.grouping.codes, self.sums.n_onsets)
        log_density = log_marginals(self.solver_sums(pace), relative_covariance(theta), beta[groups], sigma2).reshape(
            -1, self.sums.n_onsets
        )
        total, shares = mix(log_density, weights)
        return -2.0 * float(total.sum()), shares


class _Likely:
    """The onsets of each life that have a share worth reckoning with: rows of (life, onset), life by life."""

    def __init__(self, problem: OnsetProblem, shares: Floats) -> None:
        self._problem = problem
        self._life, self._onset = np.nonzero(shares > _LEAST_SHARE)
        self.shares = shares[self._life, self._onset]
        self.groups = problem.grouping.codes[self._life]
        self._rows = problem.sums.rows(self._life, self._onset)
        self._starts = np.flatnonzero(np.diff(self._life, prepend=-1))

    def solver_sums(self, pace: float) -> LifeSums:
        """Return the sums of (g_c - centre) / spread at a pace."""
        return self._rows.at(pace).centred(self._problem.centre, self._problem.spread)

    def better_pace(self, pace: float, weights: Floats, theta: Floats, beta: Floats, sigma2: float) -> float:
        """Return a pace of higher likelihood: the vertex of a parabola through three, a step away at most."""
        log_pace = np.log(pace - 1.0) + _PACE_STEP * np.array([-1.0, 0.0, 1.0])
        low, middle, high = (self._deviance(1.0 + float(np.exp(x)), weights, theta, beta, sigma2) for x in log_pace)
        curvature = low - 2.0 * middle + high
        if curvature > 0.0:
            move = float(np.clip((low - high) / (2.0 * curvature), -2.0, 2.0))
        else:
            move = 2.0 * float(np.sign(low - high))
        return float(np.clip(1.0 + np.exp(log_pace[1] + _PACE_STEP * move), *PACE_RANGE))

    def _deviance(self, pace: float, weights: Floats, theta: Floats, beta: Floats, sigma2: float) -> float:
        log_density = log_marginals(self.solver_sums(pace), relative_covariance(theta), beta[self.groups], sigma2)
        with np.errstate(divide="ignore"):
            joint = log_density + np.log(weights[self._onset])
        highest = np.maximum.reduceat(joint, self._starts)
        counts = np.diff(np.append(self._starts, len(joint)))
        total = np.add.reduceat(np.exp(joint - np.repeat(highest, counts)), self._starts)
        return -2.0 * float((highest + np.log(total)).sum())


def mix(log_density: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Return the log density of each row's mixture, shape (J,), and the shares of its components, (J, C)."""
    with np.errstate(divide="ignore"):
        joint = log_density + np.log(weights)
    highest = joint.max(axis=1, keepdims=True)
    scaled = np.exp(joint - highest)
    total = scaled.sum(axis=1, keepdims=True)
    return (highest + np.log(total))[:, 0], scaled / total


def _smoothed(weights: Floats) -> Floats:
    """Return onset weights smoothed along the grid; that of "later" stands as it is."""
    inner = weights[:-1]
    padded = np.concatenate([inner[:1], inner, inner[-1:]])
    return np.append(np.convolve(padded, _SMOOTHING, mode="valid"), weights[-1])


def mixed_marginal(sums: LifeSums, relative_cov: NDArray[np.float64], shares: Floats) -> Marginal:
    """Return what each life says of its cohort's line, averaged over its onsets by share, shape (J, C)."""
    each = marginalise(sums, relative_cov)
    return Marginal(
        *((shares * getattr(each, field.name).reshape(shares.shape)).sum(axis=1) for field in fields(Marginal))
    )
