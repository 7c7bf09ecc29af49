"""Wear that does not keep to its line: a Brownian path on top of a straight line.

    play(x) = intercept + growth x + B(x)        B Brownian, variance wander * sigma2 per unit of x

(x over the reference distance). Readings of a life are then correlated along x, and six sums no longer hold what
they say. But B is a random walk seen with noise, and a Kalman filter over the visits turns any column u (ones, x,
readings) into innovations e with variances sigma2 S that are independent::

    P- = P + wander dx    S = P- + v    e = u - a    a <- a + (P- / S) e    P <- P- v / S

so that sums of products of e / sqrt(S) take the place of the sums of ``sums``, and everything that follows from sums
stands as it is. The recursion runs over visit numbers, all lives at once. The filter's state after the last reading
tells where B stands, as a linear function of the line; from there it wanders on (Durbin & Koopman 2012, Time Series
Analysis by State Space Methods, section 6.2.2, augmentation for regression effects; from memory).

What the other readings say of one reading (the cavity that slips are judged in) follows from the smoother: with R the
covariance of B plus error, R^-1 u = (u - smoothed u) / v and its diagonal is (1 - smoothed P / v) / v.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.population import LifePosterior, Lines, Population, Wander
from fleetwear.wear.sums import LifeSums

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, ReadingArrays


@dataclass(frozen=True)
class PathSums:
    """Sums of J rows (lives, or readings' pasts) with the filter's state after the last of them; shape (J,)."""

    base: LifeSums
    of_one: Floats
    of_x: Floats
    of_play: Floats
    """State of the filter of each column: a linear function of the line says where the path stands."""
    left: Floats
    """Variance of the path about that, over sigma2."""
    last: Floats
    """x at that state."""

    def take(self, rows: NDArray[np.bool_]) -> PathSums:
        """Return some of the rows."""
        return PathSums(
            self.base.take(rows), self.of_one[rows], self.of_x[rows], self.of_play[rows], self.left[rows],
            self.last[rows],
        )  # fmt: skip


class Filter:
    """The recursion over the readings of all lives, forward and, where asked for, back.

    Columns are ones, x and play; arrays of shape (n, 3), variances over sigma2 of shape (n,).
    """

    def __init__(self, readings: ReadingArrays, wander: float, reference: float) -> None:
        self._readings = readings
        self.x = readings.distance / reference
        self.columns = np.stack([np.ones_like(self.x), self.x, readings.play], axis=1)
        n = len(self.x)
        self.before, self.after = np.zeros((n, 3)), np.zeros((n, 3))
        self.variance_before, self.variance_after = np.empty(n), np.empty(n)
        v = readings.variance_ratio
        for number, rows in enumerate(self._steps):
            if number:
                earlier = rows - 1
                self.before[rows] = self.after[earlier]
                P = self.variance_after[earlier] + wander * (self.x[rows] - self.x[earlier])
            else:
                P = wander * self.x[rows]
            share = P / (P + v[rows])
            self.variance_before[rows] = P
            self.after[rows] = self.before[rows] + share[:, None] * (self.columns[rows] - self.before[rows])
            self.variance_after[rows] = share * v[rows]
        self.innovation_variance = self.variance_before + v

    @cached_property
    def _counts(self) -> NDArray[np.int64]:
        return np.bincount(self._readings.life, minlength=self._readings.n_lives)

    @cached_property
    def _steps(self) -> list[NDArray[np.int64]]:
        """Positions of first readings, of second readings and so on."""
        counts = self._counts
        starts = np.cumsum(counts) - counts
        return [starts[counts > number] + number for number in range(int(counts.max(initial=0)))]

    def sums(self, *, earlier: bool) -> PathSums:
        """Return the sums of each life, or with ``earlier`` of each reading's past."""
        readings = self._readings
        add = readings.before if earlier else readings.total
        one, x, y = ((self.columns - self.before) / np.sqrt(self.innovation_variance)[:, None]).T
        ratio = readings.variance_ratio
        own = np.log(ratio) if readings.log_ratio is None else readings.log_ratio
        base = LifeSums(
            n=add(np.ones_like(x) if readings.count is None else readings.count),
            w=add(one * one),
            wg=add(one * x),
            wgg=add(x * x),
            wy=add(one * y),
            wgy=add(x * y),
            wyy=add(y * y),
            log_v=add(own + np.log(self.innovation_variance / ratio)),
        )
        if earlier:
            at = readings.visit_starts
            one, x, y = self.before[at].T
            return PathSums(base, one, x, y, self.variance_before[at], self.x)
        ends = np.cumsum(self._counts) - 1
        read = self._counts > 0
        at = np.where(read, ends, 0)

        def last(values: Floats) -> Floats:
            return np.where(read, values[at], 0.0) if len(values) else np.zeros(len(at))

        one, x, y = (last(column) for column in self.after.T)
        return PathSums(base, one, x, y, last(self.variance_after), last(self.x))

    def smoothed(self) -> tuple[Floats, Floats]:
        """Return the smoothed columns, shape (n, 3), and the smoothed variance over sigma2."""
        columns, variance = self.after.copy(), self.variance_after.copy()
        for later in reversed(self._steps[1:]):
            rows = later - 1
            ahead = self.variance_before[later]
            gain = np.divide(self.variance_after[rows], ahead, out=np.zeros_like(ahead), where=ahead > 0.0)
            columns[rows] += gain[:, None] * (columns[later] - self.before[later])
            variance[rows] += gain**2 * (variance[later] - ahead)
        return columns, variance


@dataclass(frozen=True)
class WanderingPopulation(Population):
    """A population whose lives wander about straight lines."""

    wander: float
    """Variance of the path per unit of the growth coordinate, over the residual variance."""

    @property
    def wander_variance(self) -> float:
        """Variance that wandering adds per unit of distance, in play squared."""
        return self.wander * self.residual_variance / self.shape.reference

    def sums_of(self, readings: ReadingArrays, *, earlier: bool = False) -> PathSums:
        """Return the sums of each life, or of each reading's past, with the state of the path."""
        return Filter(readings, self.wander, self.shape.reference).sums(earlier=earlier)

    def know(self, sums: PathSums, prior: Lines) -> LifePosterior:
        """Return what is known of each life from its last reading on.

        The path stands at (play - line) as the filter has it, so that the line ahead is the life's own line with
        another intercept, its uncertainty with it.
        """
        lines, _ = self.posterior(sums.base, prior)
        of_z = (sums.of_x - self.centre * sums.of_one) / self.spread
        turn = np.zeros((len(of_z), 2, 2))
        turn[:, 0, 0], turn[:, 0, 1], turn[:, 1, 1] = 1.0 - sums.of_one, -of_z, 1.0
        mean = np.einsum("jab,jb->ja", turn, lines.mean)
        mean[:, 0] += sums.of_play
        cov = turn @ lines.cov @ np.swapaxes(turn, 1, 2)
        cov[:, 0, 0] += self.residual_variance * sums.left
        last = (sums.last - self.centre) / self.spread
        wander = Wander(self.wander * self.residual_variance * self.spread, last)
        return LifePosterior(Lines(mean, cov), np.ones((len(mean), 1)), self.log_marginal(sums.base, prior), wander)

    def effects(self, sums: PathSums, prior: Lines) -> tuple[Floats, Floats]:
        """Return the random effects of each life about its mean line, and their covariance."""
        return super().effects(sums.base, prior)

    def cavity(self, settled: ReadingArrays, prior: Lines) -> tuple[Floats, Floats, Floats]:
        """Return mean and variance of the true play at each reading given the others of its life, shape (n, 1)."""
        run = Filter(settled, self.wander, self.shape.reference)
        smooth, variance = run.smoothed()
        v, sigma2 = settled.variance_ratio, self.residual_variance
        one, x, y = ((run.columns - smooth) / v[:, None]).T
        diagonal = (1.0 - variance / v) / v
        pull = np.stack([one, (x - self.centre * one) / self.spread], axis=1)
        sums = self.solver_sums(run.sums(earlier=False).base)
        T = self.covariance(prior) + prior.cov / sigma2
        S = np.stack([sums.w, sums.wg, sums.wg, sums.wgg], axis=-1).reshape(-1, 2, 2)
        r = np.stack([sums.wy, sums.wgy], axis=-1) - np.einsum("jab,jb->ja", S, prior.mean)
        G = T @ np.linalg.inv(np.eye(2) + S @ T)
        life = settled.life
        after = (
            y - (pull * prior.mean[life]).sum(axis=1) - np.einsum("na,na->n", pull, np.einsum("jab,jb->ja", G, r)[life])
        )
        precision = diagonal - np.einsum("na,nab,nb->n", pull, G[life], pull)
        precision = np.clip(precision, 1e-300, (1.0 - 1e-9) / v)
        mean = settled.play - after / precision
        spread = np.maximum(sigma2 * (1.0 / precision - v), 1e-9 * sigma2)
        return mean[:, None], spread[:, None], np.ones((len(mean), 1))
