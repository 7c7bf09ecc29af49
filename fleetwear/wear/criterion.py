"""The profiled (restricted) likelihood of the random intercept and growth model, and its gradient.

For life j of cohort c, with Z_j the (n_j, 2) matrix of rows (1, g) and W_j the diagonal of 1 / v::

    y_j = Z_j (beta_c + b_j) + e_j      b_j ~ N(0, sigma2 T)      e_j ~ N(0, sigma2 W_j^-1)

    S_j = Z_j' W_j Z_j     r_j = Z_j' W_j y_j     V_j = W_j^-1 + Z_j T Z_j'        (all closed 2 x 2 forms)
    P_j = Z_j' V_j^-1 Z_j = S_j (I + T S_j)^-1       e_j = Z_j' V_j^-1 y_j = (I + S_j T)^-1 r_j
    y_j' V_j^-1 y_j = y_j' W_j y_j - r_j' T e_j      log |W_j V_j| = log |I + S_j T|
    A_c = sum_j P_j     beta_c = A_c^-1 sum_j e_j    RSS = sum_j y_j' V_j^-1 y_j - sum_c beta_c' sum_j e_j

beta and sigma2 are profiled out. With N readings, p fixed effects and d = N - p (REML) or N (ML),
minus twice the log-likelihood is::

    sum_j log |I + S_j T| + [sum_c log |A_c|] + d log(2 pi RSS / d) + d + sum log v     ([...] in REML only)

(Bates, Maechler, Bolker & Walker 2015, J. Stat. Softw. 67(1), equations 34 and 39, written in sums.)
T = L L' with L = [[theta_0, 0], [theta_1, theta_2]]; derivatives are in module ``derivatives``. Every step is a
handful of array operations over all lives, a block of them at a time, so that no life costs more than five numbers
beside its sums.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.blocks import Block, blocks_of, places
from fleetwear.wear.derivatives import Derivatives, derivatives

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers, LifeSums


@dataclass(frozen=True)
class Marginal:
    """What the lives say once their random effects are integrated out; arrays of shape (J,)."""

    log_det: Floats
    p11: Floats
    p12: Floats
    p22: Floats
    e1: Floats
    e2: Floats
    yy: Floats
    """y' V^-1 y."""


def marginalise(sums: LifeSums, T: NDArray[np.float64]) -> Marginal:
    """Return P, e, y' V^-1 y and log |I + S T| of every life, T of shape (2, 2) or (J, 2, 2)."""
    t11, t12, t22 = T[..., 0, 0], T[..., 0, 1], T[..., 1, 1]
    det_t = t11 * t22 - t12 * t12
    n, s, q, r1, r2 = sums.w, sums.wg, sums.wgg, sums.wy, sums.wgy
    det_s = n * q - s * s
    m11, m22 = 1.0 + t11 * n + t12 * s, 1.0 + t12 * s + t22 * q
    det = m11 + t12 * s + t22 * q + det_t * det_s
    inv = 1.0 / det
    e1 = (m22 * r1 - (t12 * n + t22 * s) * r2) * inv
    e2 = (m11 * r2 - (t11 * s + t12 * q) * r1) * inv
    return Marginal(
        log_det=np.log(det),
        p11=(n + t22 * det_s) * inv,
        p12=(s - t12 * det_s) * inv,
        p22=(q + t11 * det_s) * inv,
        e1=e1,
        e2=e2,
        yy=sums.wyy - (t11 * r1 + t12 * r2) * e1 - (t12 * r1 + t22 * r2) * e2,
    )


def marginal_totals(sums: LifeSums, T: NDArray[np.float64], codes: Integers, n_groups: int) -> Marginal:
    """Return the same added up by group; ``codes`` is the group of each life, shape (J,), T of shape (2, 2)."""
    totals = {field.name: np.zeros(n_groups) for field in fields(Marginal)}
    for place in places(len(sums)):
        m, group = marginalise(sums.take(place), T), codes[place]
        for name, total in totals.items():
            total += np.bincount(group, weights=getattr(m, name), minlength=n_groups)
    return Marginal(**totals)


def log_marginals(sums: LifeSums, T: NDArray[np.float64], mean: Floats, sigma2: float) -> Floats:
    """Return the log density of each row's readings given its mean line, shape (rows,).

    ``mean`` holds intercept and growth of the mean line of each row, shape (rows, 2).
    """
    m = marginalise(sums, T)
    b1, b2 = mean[:, 0], mean[:, 1]
    quadratic = m.yy - 2.0 * (b1 * m.e1 + b2 * m.e2) + b1 * b1 * m.p11 + 2.0 * b1 * b2 * m.p12 + b2 * b2 * m.p22
    log_norm = sums.n * np.log(2.0 * np.pi * sigma2) + m.log_det + sums.log_v
    return np.asarray(-0.5 * (log_norm + quadratic / sigma2))


@dataclass(frozen=True)
class Profile:
    """The criterion at one theta, with what is profiled out. C cohorts, p fixed effects."""

    deviance: float
    """Minus twice the (restricted) log-likelihood."""
    gradient: Floats
    """Its derivative by theta, shape (3,)."""
    hessian: NDArray[np.float64]
    """Its second derivatives by theta, shape (3, 3)."""
    slope: NDArray[np.float64]
    """Its derivative by T (Gamma), shape (2, 2): at a minimum no direction v has v' Gamma v < 0."""
    beta: Floats
    """Fixed effects, shape (C, 2): intercept and growth."""
    information: Floats
    """A_c, shape (C, 2, 2); the covariance of beta_c is sigma2 A_c^-1."""
    sigma2: float


_NOT_DERIVED = np.full(3, np.nan), np.full((3, 3), np.nan), np.full((2, 2), np.nan)


def relative_covariance(theta: Floats) -> NDArray[np.float64]:
    """Return T = L L', shape (2, 2), of theta = (L11, L21, L22)."""
    a, b, c = (float(value) for value in theta)
    return np.array([[a * a, a * b], [a * b, b * b + c * c]])


@dataclass(frozen=True)
class Criterion:
    """The profiled criterion as a function of theta, for lives of C cohorts.

    ``known_variance`` fixes sigma2 (used where "lives" are estimates with known covariance);
    ``level`` drops growth: only theta_0 counts, and there is one fixed effect a cohort. ``weight`` counts a
    life as so much of one, shape (J,): the share of a mixture's component (maximum likelihood only).
    """

    sums: LifeSums
    cohort: Integers
    n_cohorts: int
    reml: bool
    level: bool = False
    known_variance: float | None = None
    weight: Floats | None = None

    @property
    def n_fixed(self) -> int:
        """The number of fixed effects p."""
        return self.n_cohorts * (1 if self.level else 2)

    def profile(self, theta: Floats, *, derived: bool = True) -> Profile:
        """Return the criterion, its derivatives and the profiled estimates at theta.

        Derivatives are nan where they are not asked for, which takes half the time.
        """
        log_det, yy, totals = self._integrated(relative_covariance(theta))
        a11, a12, a22, q1, q2 = totals
        if self.level:
            a22 = a22 + 1.0
        det_a = a11 * a22 - a12 * a12
        inverse = np.array([a22, -a12, a11]) / det_a
        beta = inverse[:2] * q1 + inverse[1:] * q2
        rss = yy - float(beta[0] @ q1 + beta[1] @ q2)
        if self.known_variance is None:
            rss = max(rss, 1e-16 * self._yy)  # less than this is rounding
        dof = self._n - (self.n_fixed if self.reml else 0)
        sigma2 = rss / dof if self.known_variance is None else self.known_variance

        deviance = log_det + dof * np.log(2.0 * np.pi * sigma2) + rss / sigma2 + self._log_v
        if self.reml:
            deviance += float(np.log(det_a).sum())
        by_theta = _NOT_DERIVED
        if derived:
            by_theta = self._derivatives(beta, inverse, sigma2, dof).by_theta(theta, level=self.level)
        information = np.array([a11, a12, a12, a22]).T.reshape(-1, 2, 2)
        return Profile(deviance, *by_theta, beta.T, information, sigma2)

    def _integrated(self, T: NDArray[np.float64]) -> tuple[float, float, Floats]:
        """Return log |I + S T| and y' V^-1 y of all lives, and P and e by cohort, shape (5, C).

        P and e of each life are kept for the derivatives.
        """
        log_det, yy, totals = 0.0, 0.0, np.zeros((5, self.n_cohorts))
        for block in self._blocks:
            m = marginalise(block.sums, T)
            kept = self._kept[:, block.place]
            kept[0], kept[1], kept[2], kept[3], kept[4] = m.p11, m.p12, m.p22, m.e1, m.e2
            totals[:, block.cohorts] += block.by_cohort(block.weighed(kept))
            log_det += float(block.total(m.log_det))
            yy += float(block.total(m.yy))
        return log_det, yy, totals

    def _derivatives(self, beta: Floats, inverse: Floats, sigma2: float, dof: float) -> Derivatives:
        blocks = ((block, self._kept[:, block.place]) for block in self._blocks)
        profiled = dof if self.known_variance is None else np.inf
        return derivatives(blocks, beta, inverse, sigma2, profiled, reml=self.reml)

    @cached_property
    def _blocks(self) -> list[Block]:
        return blocks_of(self.sums, self.cohort, self.weight)

    @cached_property
    def _kept(self) -> Floats:
        """Room for P and e of each life in the order of cohorts, shape (5, J)."""
        return np.empty((5, len(self.sums)))

    @cached_property
    def _n(self) -> float:
        return self._total(self.sums.n)

    @cached_property
    def _log_v(self) -> float:
        return self._total(self.sums.log_v)

    @cached_property
    def _yy(self) -> float:
        return float(self.sums.wyy.sum())

    def _total(self, values: Floats) -> float:
        return float((values if self.weight is None else values * self.weight).sum())
