"""Fitting mean growth that levels multiply: T and sigma2 of the lives, and Gauss-Newton steps (see `effects`)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import FitError
from fleetwear.wear.criterion import Criterion, marginalise
from fleetwear.wear.mixed_model import minimise, starting_theta
from fleetwear.wear.sums import LifeSums

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fleetwear.wear.design import Design, Factor
    from fleetwear.wear.sums import Floats, Integers

_STEPS = 300
_STILL = 1e-8
"""Steps stop when none is larger than this, over its standard error."""
_FEWEST = 8
"""Lives of two or more readings that a covariance of lives needs."""
_NO_SCATTER = 1e-9
"""A residual variance below this share of the mean square of all readings is rounding."""


@dataclass(frozen=True)
class Spread:
    """The covariance of lives about their mean lines, by block: B blocks."""

    T: NDArray[np.float64]
    """Relative covariance of intercept and growth, shape (B, 2, 2); of growth over its mean if ``relative``."""
    sigma2: Floats
    """Residual variance, shape (B,)."""
    relative: bool = False


@dataclass(frozen=True)
class Lives:
    """The lives that are taken, clusters and blocks renumbered from 0."""

    sums: LifeSums
    stratum: Integers
    factors: tuple[Factor, ...]
    cluster: Integers
    block: Integers

    @classmethod
    def of(
        cls,
        sums: LifeSums,
        stratum: Integers,
        factors: Sequence[Factor],
        cluster: Integers,
        block: Integers,
        keep: NDArray[np.bool_],
    ) -> Lives:
        """Return the lives of a mask, shape (J,)."""

        def renumbered(codes: Integers) -> Integers:
            return np.unique(codes[keep], return_inverse=True)[1].astype(np.int64)

        return cls(
            sums.take(keep), stratum[keep], tuple(f.take(keep) for f in factors), renumbered(cluster), renumbered(block)
        )


@dataclass(frozen=True)
class Fitted:
    """Where Gauss-Newton ended."""

    intercept: Floats
    log_growth: Floats
    information: NDArray[np.float64]
    rows: NDArray[np.float64]
    """R_j, shape (J, 2, p)."""
    scores: NDArray[np.float64]
    """D_j' u_j, shape (J, p)."""
    growth: Floats
    """exp(x_j' d), shape (J,)."""
    converged: bool
    spread: Spread


def first_fit(lives: Lives, design: Design, spread: Spread | None, *, level_intercepts: bool) -> Fitted:
    """Return the fit at T and sigma2 as given, or else as of a model with one line a stratum."""
    ones, mean = np.ones(len(lives.sums)), np.zeros((len(lives.sums), 2))
    given = spread if spread is not None else _spread(lives, mean, ones, relative=False)
    return _gauss_newton(lives, design, given, ones, _start(lives, design), level_intercepts=level_intercepts)


def second_fit(lives: Lives, design: Design, fitted: Fitted, *, level_intercepts: bool) -> Fitted:
    """Return the fit at T and sigma2 of what a first fit leaves, growth of a life over its mean."""
    columns = _intercepts(design, level_intercepts=level_intercepts)
    mean = np.stack([columns @ fitted.intercept, fitted.growth], axis=1)
    spread = _spread(lives, mean, fitted.growth, relative=True)
    start = fitted.log_growth
    return _gauss_newton(lives, design, spread, fitted.growth, start, level_intercepts=level_intercepts)


def _start(lives: Lives, design: Design) -> Floats:
    """Return d of strata that grow as all lives of their block do, and levels that do not differ, shape (r,)."""
    growth = np.empty(len(lives.sums))
    for code in np.unique(lives.block):
        own = lives.block == code
        s = lives.sums.take(own)
        within = float((s.wgg - s.wg**2 / s.w).sum())
        slope = float((s.wgy - s.wg * s.wy / s.w).sum()) / within if within > 0.0 else 0.0
        if not slope > 0.0:
            raise FitError(
                "play does not grow with distance in these readings", mend="Compare growth when there are more visits."
            )
        growth[own] = slope
    return np.asarray(np.linalg.lstsq(design.columns, np.log(growth), rcond=None)[0])


def _spread(lives: Lives, mean: Floats, growth: Floats, *, relative: bool) -> Spread:
    """Return T and sigma2 of each block, of what is left once mean lines, shape (J, 2), are taken off.

    ``growth`` scales g of each life, so that T is of growth over it.
    """
    left = _without(lives.sums, mean)
    scaled = LifeSums(
        left.n, left.w, left.wg * growth, left.wgg * growth**2, left.wy, left.wgy * growth, left.wyy, left.log_v
    )
    T, sigma2 = [], []
    for code in range(int(lives.block.max()) + 1):
        own = lives.block == code
        sums = scaled.take(own)
        if int((sums.n >= 2).sum()) < _FEWEST:
            raise FitError(
                f"{int((sums.n >= 2).sum())} lives have two readings or more",
                mend=f"A comparison of growth needs {_FEWEST} of them.",
            )
        cohort = np.unique(lives.stratum[own], return_inverse=True)[1].astype(np.int64)
        best = minimise(Criterion(sums, cohort, int(cohort.max()) + 1, reml=True), start=starting_theta(sums))
        if not best.profile.sigma2 > _NO_SCATTER * float(lives.sums.wyy[own].sum() / lives.sums.w[own].sum()):
            raise FitError(
                "the readings of every life lie on a line, without any scatter",
                mend="Compare readings as they were taken.",
            )
        T.append(best.relative_cov)
        sigma2.append(best.profile.sigma2)
    return Spread(np.stack(T), np.array(sigma2), relative)


def _without(sums: LifeSums, mean: Floats) -> LifeSums:
    """Return the sums of y less the mean line of each life, shape (J, 2)."""
    a, b = mean[:, 0], mean[:, 1]
    wy = sums.wy - a * sums.w - b * sums.wg
    wgy = sums.wgy - a * sums.wg - b * sums.wgg
    wyy = sums.wyy - 2.0 * (a * sums.wy + b * sums.wgy)
    wyy = wyy + a * a * sums.w + 2.0 * a * b * sums.wg + b * b * sums.wgg
    return replace(sums, wy=wy, wgy=wgy, wyy=np.maximum(wyy, 0.0))


def _intercepts(design: Design, *, level_intercepts: bool) -> Floats:
    """Return the columns of the intercept, shape (J, p - r)."""
    if level_intercepts:
        return design.columns
    strata = [at for at in design.kept if design.labels[at][0] == ""]
    return design.matrix[:, strata]


def _gauss_newton(
    lives: Lives, design: Design, spread: Spread, growth: Floats, start: Floats, *, level_intercepts: bool
) -> Fitted:
    """Return the minimum of the criterion at T and sigma2; ``growth`` is what relative T is relative to."""
    T = spread.T[lives.block]
    if spread.relative:
        scale = np.stack([np.ones_like(growth), growth], axis=1)
        T = T * scale[:, :, None] * scale[:, None, :]
    m = marginalise(lives.sums, T)
    over = 1.0 / spread.sigma2[lives.block]
    p11, p12, p22, e1, e2 = (value * over for value in (m.p11, m.p12, m.p22, m.e1, m.e2))
    Z, X = _intercepts(design, level_intercepts=level_intercepts), design.columns
    split = Z.shape[1]

    def criterion(a: Floats, d: Floats) -> float:
        line, slope = Z @ a, np.exp(X @ d)
        return float((p11 * line**2 + 2.0 * p12 * line * slope + p22 * slope**2 - 2.0 * (line * e1 + slope * e2)).sum())

    def intercepts_given(d: Floats) -> Floats:
        slope = np.exp(X @ d)
        return np.asarray(np.linalg.lstsq(Z.T @ (p11[:, None] * Z), Z.T @ (e1 - p12 * slope), rcond=None)[0])

    d = np.array(start)
    a = intercepts_given(d)
    best = criterion(a, d)
    converged = False
    for _ in range(_STEPS):
        line, slope = Z @ a, np.exp(X @ d)
        u1, u2 = e1 - p11 * line - p12 * slope, e2 - p12 * line - p22 * slope
        XS = X * slope[:, None]
        information = np.block(
            [
                [Z.T @ (p11[:, None] * Z), Z.T @ (p12[:, None] * XS)],
                [XS.T @ (p12[:, None] * Z), XS.T @ (p22[:, None] * XS)],
            ]
        )
        gradient = np.concatenate([Z.T @ u1, XS.T @ u2])
        step = np.linalg.lstsq(information, gradient, rcond=None)[0]
        if float(step @ gradient) < _STILL**2 * len(step):
            converged = True
            break
        step *= min(1.0, 1.0 / float(np.abs(step[split:]).max(initial=1e-300)))
        for size in (1.0, 0.5, 0.25, 0.1, 0.01, 1e-3):
            trial = criterion(a + size * step[:split], d + size * step[split:])
            if trial <= best:
                a, d, best = a + size * step[:split], d + size * step[split:], trial
                break
        else:
            # no step lowers it: at the minimum to rounding if what is left to gain is nothing beside it
            converged = float(step @ gradient) < 1e-10 * max(abs(best), 1.0)
            break
        if float(d.min(initial=0.0)) < -80.0:
            break
    R = np.stack(
        [np.concatenate([f1[:, None] * Z, g1[:, None] * XS], axis=1) for f1, g1 in _roots(p11, p12, p22)], axis=1
    )
    scores = np.concatenate([u1[:, None] * Z, u2[:, None] * XS], axis=1)
    return Fitted(a, d, information, R, scores, np.exp(X @ d), converged, spread)


def _roots(p11: Floats, p12: Floats, p22: Floats) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Return the rows of an upper triangular root of each P: P = R' R."""
    r11 = np.sqrt(np.maximum(p11, 1e-300))
    r12 = p12 / r11
    return (r11, r12), (np.zeros_like(r11), np.sqrt(np.maximum(p22 - r12**2, 0.0)))
