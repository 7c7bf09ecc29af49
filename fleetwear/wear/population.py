"""The population: what the fleet's lives have in common, and what it says of any one life.

Cohorts are to their parents what lives are to cohorts: a cohort's mean line differs from its parent's
by N(0, Tau), Tau estimated by the same restricted likelihood, level by level, and the estimates are
shrunk by the same formula. With prior N(m, V) for the mean line of a life's cohort::

    u = e - P m    mean = m + T u    cov = sigma2 (T - T P T) + F V F'    F = I - T P

which is the conditional distribution of beta + b given the life's readings, the uncertainty of the
mean line included (Laird & Ware 1982, Biometrics 38, equations 3.1 to 3.6).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from fleetwear.wear.criterion import Marginal, log_marginals, marginalise
from fleetwear.wear.judging import judge
from fleetwear.wear.onset import mix

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.reading_errors import ReadingErrors
    from fleetwear.wear.shapes import Shape
    from fleetwear.wear.sums import Floats, LifeSums, ReadingArrays

SEPARATOR = "/"
"""Between the levels of a cohort's label: "ball joint/in-out/van" has the parent "ball joint/in-out"."""

ASSUMED_BETWEEN = 0.25
"""Covariance of cohorts about their parent, over that of lives about their cohort, where there are too few
cohorts to estimate it: cohort means differ by half as much as lives do. An assumption, stated in results."""

ROOT = "all"
"""The cohort above every other."""


def parent_of(cohort: str) -> str:
    """Return the label of a cohort's parent: what stands before its last separator, or the root."""
    return cohort.rpartition(SEPARATOR)[0] or ROOT


@dataclass(frozen=True)
class MeanLine:
    """The mean line of a cohort: N(mean, cov) of (intercept, growth) in the solver's coordinates."""

    mean: Floats
    cov: NDArray[np.float64]


@dataclass(frozen=True)
class Lines:
    """Gaussian knowledge of J lines (intercept, growth): mean (J, 2) and covariance (J, 2, 2)."""

    mean: Floats
    cov: Floats
    beyond: Floats | None = None
    """Of a prior: what T lacks of the covariance of lives about a mean that is a parent's, (J, 2, 2)."""

    def at(self, z: Floats) -> tuple[Floats, Floats]:
        """Return mean and variance of the line at growth values z, shape (J,)."""
        variance = self.cov[:, 0, 0] + 2.0 * z * self.cov[:, 0, 1] + z * z * self.cov[:, 1, 1]
        return self.mean[:, 0] + z * self.mean[:, 1], np.maximum(variance, 0.0)

    def take(self, rows: NDArray[np.int64]) -> Lines:
        """Return some of the lines."""
        return Lines(self.mean[rows], self.cov[rows], None if self.beyond is None else self.beyond[rows])


def condition(m: Marginal, T: NDArray[np.float64], prior: Lines, *, sigma2: float) -> tuple[Lines, Floats]:
    """Return what is known of each line after its own data, and u, shape (J, 2).

    T is the covariance of lines about the prior mean over sigma2, shape (2, 2) or (J, 2, 2); ``prior`` is one
    mean line a row.
    """
    P = np.stack([m.p11, m.p12, m.p12, m.p22], axis=-1).reshape(-1, 2, 2)
    u = np.stack([m.e1, m.e2], axis=-1) - np.einsum("jab,jb->ja", P, prior.mean)
    TP = T @ P
    F = np.eye(2) - TP
    cov = sigma2 * (T - TP @ T) + F @ prior.cov @ np.swapaxes(F, 1, 2)
    return Lines(prior.mean + (T @ u[:, :, None])[:, :, 0], (cov + np.swapaxes(cov, 1, 2)) / 2.0), u


@dataclass(frozen=True)
class Wander:
    """A path that wanders on from the last reading of J lives, in the solver's coordinate."""

    rate: float
    """Variance that a unit of the coordinate adds."""
    last: Floats
    """The coordinate at the last reading, shape (J,); the lines of the posterior hold from there on."""


@dataclass(frozen=True)
class LifePosterior:
    """What is known of J lives after their readings, as a mixture of C components (one but for onsets)."""

    lines: Lines
    """J * C lines, component by component within a life."""
    shares: Floats
    """Probability of each component, shape (J, C)."""
    log_density: Floats
    """Log density of each life's readings, the mean line taken as known, shape (J,)."""
    wander: Wander | None = None
    """What the path may do after the last reading; None where wear keeps to its line."""

    def at(self, z: Floats, rows: NDArray[np.int64] | None = None) -> tuple[Floats, Floats, Floats]:
        """Return mean and variance of play at growth values z, and the shares, each of the shape of z, (n, C).

        ``rows`` picks the life of each row of z; without it there is one row a life.
        """
        n, c = z.shape
        chosen = np.arange(n) if rows is None else rows
        flat = (chosen[:, None] * c + np.arange(c)).ravel()
        mean, variance = self.lines.take(flat).at(z.ravel())
        variance = variance.reshape(n, c)
        if self.wander is not None:
            variance = variance + self.wander.rate * np.maximum(z - self.wander.last[chosen][:, None], 0.0)
        return mean.reshape(n, c), variance, self.shares[chosen]


@dataclass(frozen=True)
class Population:
    """One fitted shape: everything that a forecast for any life needs, with the lives left out."""

    shape: Shape
    centre: float
    spread: float
    """The solver works with (g - centre) / spread."""
    relative_cov: NDArray[np.float64]
    """T in the solver's coordinates."""
    residual_variance: float
    lines: dict[str, MeanLine]
    """The shrunken mean line of each cohort and of each parent, up to the root."""
    between: dict[int, NDArray[np.float64]]
    """Covariance of cohorts about their parent, by the depth of the cohort."""
    doubt: str
    errors: ReadingErrors | None = field(default=None, kw_only=True)
    """How readings come from true plays; None where they were taken as exact up to a normal error."""

    @property
    def level(self) -> bool:
        """Whether the shape has no growth."""
        return self.shape.name == "level"

    def coordinate(self, distance: Floats) -> Floats:
        """Return the solver's growth coordinate at distances."""
        if self.level:
            return np.zeros_like(distance)
        return (self.shape.growth(distance) - self.centre) / self.spread

    def coordinates(self, distance: Floats) -> Floats:
        """Return the solver's growth coordinate at distances under each component, shape (n, C)."""
        return self.coordinate(distance)[:, None]

    @property
    def paces(self) -> Floats:
        """By how much growth is faster after the onset of each component, shape (C,)."""
        return np.ones(1)

    @property
    def onsets(self) -> Floats:
        """The distance at which the pace of each component changes, shape (C,)."""
        return np.zeros(1)

    def sums_of(self, readings: ReadingArrays, *, earlier: bool = False) -> Any:
        """Return the sums of each life, or of each reading's past, in the form that :meth:`know` takes."""
        take = readings.earlier_sums if earlier else readings.sums
        return take(self.shape.exponent, self.shape.reference)

    @property
    def wander_variance(self) -> float:
        """Variance that wear which does not keep to its line adds per unit of distance, in play squared."""
        return 0.0

    def settle(self, readings: ReadingArrays, prior: Lines) -> ReadingArrays:
        """Return readings as normal ones (see module ``judging``); as they are where that is what they are."""
        if self.errors is None or (self.errors.slips is None and readings.plain):
            return readings
        return judge(self, self.errors, readings, prior).settled

    def cavity(self, settled: ReadingArrays, prior: Lines) -> tuple[Floats, Floats, Floats]:
        """Return what the other readings of its life say of the true play at each reading.

        Mean, variance and share of each component, shape (n, C).
        """
        known = self.know(self.sums_of(settled), prior)
        mean, variance, shares = known.at(self.coordinates(settled.distance), settled.life)
        play, site = settled.play[:, None], 1.0 / (self.residual_variance * settled.variance_ratio)[:, None]
        spread = 1.0 / np.maximum(1.0 / variance - site, 1e-6 / variance)
        middle = spread * (mean / variance - site * play)
        if shares.shape[1] == 1:
            return middle, spread, shares
        off = spread + 1.0 / site
        with np.errstate(divide="ignore"):
            without = np.log(shares) + 0.5 * (np.log(off) + (play - middle) ** 2 / off)
        return middle, spread, mix(without, np.ones(shares.shape[1]))[1]

    def know(self, sums: Any, prior: Lines) -> LifePosterior:
        """Return what is known of each life after the readings behind its sums."""
        lines, _ = self.posterior(sums, prior)
        return LifePosterior(lines, np.ones((len(lines.mean), 1)), self.log_marginal(sums, prior))

    def solver_sums(self, sums: LifeSums) -> LifeSums:
        """Return sums of g as sums of the solver's coordinate."""
        return sums.without_growth() if self.level else sums.centred(self.centre, self.spread)

    def mean_line(self, cohort: str) -> tuple[MeanLine, str]:
        """Return the mean line of a cohort and whose it is; a cohort never seen gets its parent's, wider."""
        known, extra = self._nearest(cohort)
        line = self.lines[known]
        return MeanLine(line.mean, line.cov + extra), known

    def _nearest(self, cohort: str) -> tuple[str, NDArray[np.float64]]:
        """Return the nearest cohort or parent with a line, and the spread of this cohort about it."""
        depth, extra, known = cohort.count(SEPARATOR), np.zeros((2, 2)), cohort
        assumed = ASSUMED_BETWEEN * self.residual_variance * self.relative_cov
        while known not in self.lines and known != ROOT:
            extra = extra + self.between.get(depth, assumed)
            known, depth = parent_of(known), depth - 1
        return known, extra

    def prior(self, cohorts: list[str], codes: NDArray[np.int64]) -> Lines:
        """Return the mean line of each life's cohort; codes index ``cohorts``, shape (J,)."""
        nearest = [self._nearest(cohort) for cohort in cohorts]
        lines = [self.lines[known] for known, _ in nearest]
        extra = np.stack([spread for _, spread in nearest]) / self.residual_variance
        whole = Lines(
            np.stack([line.mean for line in lines]),
            np.stack([line.cov for line in lines]),
            extra if extra.any() else None,
        )
        return whole.take(codes)

    def covariance(self, prior: Lines) -> NDArray[np.float64]:
        """Return the covariance of lives about the prior means over sigma2, (2, 2) or (J, 2, 2)."""
        return self.relative_cov if prior.beyond is None else self.relative_cov + prior.beyond

    def posterior(self, sums: LifeSums, prior: Lines) -> tuple[Lines, Floats]:
        """Return what is known of each life after its readings (sums of g), and u, shape (J, 2)."""
        T = self.covariance(prior)
        return condition(marginalise(self.solver_sums(sums), T), T, prior, sigma2=self.residual_variance)

    def log_marginal(self, sums: LifeSums, prior: Lines) -> Floats:
        """Return the log density of each life's readings, the mean line taken as known, shape (J,)."""
        return log_marginals(self.solver_sums(sums), self.covariance(prior), prior.mean, self.residual_variance)

    def effects(self, sums: Any, prior: Lines) -> tuple[Floats, Floats]:
        """Return the random effects of each life about its mean line, (J, 2), and their covariance, (J, 2, 2)."""
        T = self.covariance(prior)
        m = marginalise(self.solver_sums(sums), T)
        lines, _ = condition(m, T, prior, sigma2=self.residual_variance)
        P = np.stack([m.p11, m.p12, m.p12, m.p22], axis=-1).reshape(-1, 2, 2)
        return lines.mean - prior.mean, self.residual_variance * (T - T @ P @ T)

    def growth_effects(self, sums: Any, prior: Lines) -> tuple[Floats, Floats]:
        """Return each life's growth effect over the spread of its cohort, and its reliability, shape (J,).

        The reliability is one less the posterior variance of the effect over its prior variance.
        """
        variance = self.residual_variance * float(self.relative_cov[1, 1])
        if variance <= 0.0:
            return np.zeros(len(prior.mean)), np.zeros(len(prior.mean))
        effect, cov = self.effects(sums, replace(prior, beyond=None))
        return effect[:, 1] / np.sqrt(variance), np.clip(1.0 - cov[:, 1, 1] / variance, 0.0, 1.0)

    def to_user(self) -> NDArray[np.float64]:
        """Return H', which turns the solver's coefficients into those of (1, g), shape (2, 2)."""
        if self.level:
            return np.eye(2)
        return np.array([[1.0, -self.centre / self.spread], [0.0, 1.0 / self.spread]])
