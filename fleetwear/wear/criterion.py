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
T = L L' with L = [[theta_0, 0], [theta_1, theta_2]]; with u_j = e_j - P_j beta_c, the derivative is
tr(Gamma dT) where::

    Gamma = sum_j P_j - [sum_j P_j A_c^-1 P_j] - (d / RSS) sum_j u_j u_j'

Every step is a handful of array operations over all lives at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers, LifeSums


_ONE_THREAD = 5_000
"""Length up to which the linear algebra library takes one thread by itself."""


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
    slope: NDArray[np.float64]
    """Its derivative by T (Gamma), shape (2, 2): at a minimum no direction v has v' Gamma v < 0."""
    beta: Floats
    """Fixed effects, shape (C, 2): intercept and growth."""
    information: Floats
    """A_c, shape (C, 2, 2); the covariance of beta_c is sigma2 A_c^-1."""
    sigma2: float


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

    def profile(self, theta: Floats) -> Profile:
        """Return the criterion, its gradient and the profiled estimates at theta."""
        m = marginalise(self.sums, relative_covariance(theta))
        a11, a12, a22 = (self._by_cohort(value) for value in (m.p11, m.p12, m.p22))
        if self.level:
            a22 = a22 + 1.0
        q1, q2 = self._by_cohort(m.e1), self._by_cohort(m.e2)
        det_a = a11 * a22 - a12 * a12
        i11, i12, i22 = a22 / det_a, -a12 / det_a, a11 / det_a
        beta1, beta2 = i11 * q1 + i12 * q2, i12 * q1 + i22 * q2
        rss = float(self._sum(m.yy) - beta1 @ q1 - beta2 @ q2)
        if self.known_variance is None:
            rss = max(rss, 1e-16 * float(self.sums.wyy.sum()))  # less than this is rounding

        c = self.cohort
        u1 = m.e1 - m.p11 * beta1[c] - m.p12 * beta2[c]
        u2 = m.e2 - m.p12 * beta1[c] - m.p22 * beta2[c]
        sigma2, dof = self._variance(rss)
        w1, w2 = (u1, u2) if self.weight is None else (u1 * self.weight, u2 * self.weight)
        g11 = self._sum(m.p11) - _dot(w1, u1) / sigma2
        g12 = self._sum(m.p12) - _dot(w1, u2) / sigma2
        g22 = self._sum(m.p22) - _dot(w2, u2) / sigma2
        if self.reml:
            b11, b12, b22 = i11[c], i12[c], i22[c]
            x1, x2 = m.p11 * b11 + m.p12 * b12, m.p11 * b12 + m.p12 * b22
            z1, z2 = m.p12 * b11 + m.p22 * b12, m.p12 * b12 + m.p22 * b22
            g11 -= _dot(x1, m.p11) + _dot(x2, m.p12)
            g12 -= _dot(x1, m.p12) + _dot(x2, m.p22)
            g22 -= _dot(z1, m.p12) + _dot(z2, m.p22)
        if self.level:
            g12 = g22 = 0.0
        a, b, d = (float(value) for value in theta)
        gradient = 2.0 * np.array([g11 * a + g12 * b, g12 * a + g22 * b, g22 * d])

        deviance = self._sum(m.log_det) + dof * np.log(2.0 * np.pi * sigma2) + rss / sigma2
        deviance += self._sum(self.sums.log_v)
        if self.reml:
            deviance += float(np.log(det_a).sum())
        information = np.stack([a11, a12, a12, a22], axis=-1).reshape(-1, 2, 2)
        slope = np.array([[g11, g12], [g12, g22]])
        return Profile(deviance, gradient, slope, np.stack([beta1, beta2], axis=-1), information, sigma2)

    def second_derivatives(self, theta: Floats) -> NDArray[np.float64] | None:  # noqa: ARG002
        """Return the second derivatives of the deviance by theta, shape (3, 3); None where they are not at hand."""
        return None

    def _sum(self, values: Floats) -> float:
        return float(values.sum()) if self.weight is None else _dot(self.weight, values)

    def _by_cohort(self, values: Floats) -> Floats:
        if self.n_cohorts == 1:
            return np.array([self._sum(values)])
        if self.weight is not None:
            values = values * self.weight
        return np.bincount(self.cohort, weights=values, minlength=self.n_cohorts).astype(np.float64, copy=False)

    def _variance(self, rss: float) -> tuple[float, float]:
        dof = self._sum(self.sums.n) - (self.n_fixed if self.reml else 0)
        return (rss / dof if self.known_variance is None else self.known_variance), dof


def _dot(a: Floats, b: Floats) -> float:
    """Return the inner product in one thread: a product this short loses more by waiting for others."""
    return float(np.dot(a, b)) if len(a) < _ONE_THREAD else float(np.einsum("j,j->", a, b))
