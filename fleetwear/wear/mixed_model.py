"""Minimising the profiled criterion over the relative covariance factor, by Newton's steps with exact derivatives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.criterion import Criterion, Profile, relative_covariance
from fleetwear.wear.sums import evenly

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, LifeSums

_BOUNDARY = 1e-4
"""A relative standard deviation below this, or a correlation this close to 1, is on the boundary."""

_GRADIENT_TOLERANCE = 1e-3
"""Largest derivative of the deviance at an optimum, per square root of the number of readings."""

_NEARLY_AT_REST = 1e-4
"""Largest derivative by theta, on the same scale, at which steps stop where the deviance need only be nearly lowest."""

_NOTHING = 1e-9
"""Fall of the deviance that a Newton step promises at which steps stop: theta is then within 1 / 20,000 of a standard
error. (The gradient would not do: beside a variance of zero the deviance is flat, and it vanishes long before.)"""

_DOWNHILL = 1e-4
"""Slope along a change of T, on the same scale, that is taken as leading down."""

_STEPS = 100
_ENOUGH = 5_000
"""Lives that a start is taken from."""
_CALMER = 0.2
"""Factor by which the last step must lower the gradient to be taken."""
_LONGEST = 1.0
"""Longest Newton step, over one plus the largest element of theta."""
_CUTS = (1.0, 0.5, 0.25, 0.1, 0.03, 0.01, 1e-3)


@dataclass(frozen=True)
class Optimum:
    """Where the criterion is lowest."""

    theta: Floats
    profile: Profile
    converged: bool
    boundary: str
    """Empty, or which variance ended at the edge of what is possible."""
    evaluations: int

    @property
    def relative_cov(self) -> NDArray[np.float64]:
        """T, the covariance of the random effects over the residual variance, shape (2, 2)."""
        return relative_covariance(self.theta)


def minimise(criterion: Criterion, *, start: Floats | None = None, finish: bool = True, steps: int = _STEPS) -> Optimum:
    """Return the optimum of the criterion over theta = (L11, L21, L22).

    No bounds are needed: the criterion is the same for (-L11, -L21) and for -L22, so a variance of zero is
    an ordinary minimum. It can also be a saddle (its gradient by theta vanishes there whatever lies beside
    it), so the derivative by T is asked whether any direction leads down, and followed if one does. With
    ``finish`` steps go on until none promises anything; without, the deviance is good to 1e-6 or so, which is
    enough to compare exponents. ``steps`` bounds the Newton steps; after the last of them, without ``finish``, no
    derivatives are taken, and whether it came to rest is not known.
    """
    scale = 1.0 / np.sqrt(max(float(criterion.sums.n.sum()), 1.0))
    counted = _Counted(criterion)
    theta = np.array([1.0, 0.0, 1.0]) if start is None else np.asarray(start, dtype=np.float64)
    if criterion.level:
        theta = np.array([theta[0], 0.0, 0.0])
    profile = counted.profile(theta)
    for left in reversed(range(steps)):
        step, fall = _newton_step(profile, counted.free)
        steep = fall > _NOTHING and (finish or np.abs(profile.gradient).max() * scale > _NEARLY_AT_REST)
        moved = _lower(counted, theta, profile, step, derived=left > 0 or finish) if steep else None
        if moved is None:
            moved = _beside_saddle(counted, theta, profile, slack=_DOWNHILL / scale)
        if moved is None:
            break
        theta, profile = moved
    if finish:
        theta, profile = _last_step(counted, theta, profile)
    theta = theta * np.sign([theta[0] or 1.0, theta[0] or 1.0, theta[2] or 1.0])
    return Optimum(theta, profile, _at_rest(profile, scale), _boundary(criterion, theta), counted.evaluations)


def _last_step(criterion: _Counted, theta: Floats, profile: Profile) -> tuple[Floats, Profile]:
    """Return a point at rest after one whole Newton step more: what is left of the way is then its square.

    Estimates of two ways of adding up the same lives so agree to many more digits than the bound on steps tells.
    """
    trial = theta + _newton_step(profile, criterion.free)[0]
    moved = criterion.profile(trial)
    # the deviance itself is rounding by now, so the gradient decides
    calmer = np.abs(moved.gradient).max() < _CALMER * np.abs(profile.gradient).max()
    return (trial, moved) if calmer else (theta, profile)


class _Counted:
    """The criterion, with a count of its evaluations."""

    def __init__(self, criterion: Criterion) -> None:
        self.free = slice(1 if criterion.level else 3)
        self.evaluations = 0
        self._criterion = criterion

    def profile(self, theta: Floats, *, derived: bool = True) -> Profile:
        """Return the profile at theta."""
        self.evaluations += 1
        return self._criterion.profile(theta, derived=derived)


def starting_theta(sums: LifeSums, *, known_variance: float | None = None) -> Floats:
    """Return a start from the scatter of the lives' own least-squares lines, inside the bounds; some lives of many."""
    return theta_of_lines([own_lines(sums, known_variance=known_variance)], known_variance=known_variance)


@dataclass(frozen=True)
class OwnLines:
    """What the lives' own least-squares lines say together; those of two halves of a fleet add up."""

    rich: bool
    """Whether they are those of lives of three readings or more; poor ones count only where none is rich."""
    n: int
    dof: float
    rss: float
    """Squared scatter of readings about the lines."""
    sum: Floats
    """Sum of (intercept, growth), shape (2,)."""
    squares: NDArray[np.float64]
    """Sum of their squares and products, shape (2, 2)."""
    inverse: NDArray[np.float64]
    """Sum of S_j^-1, shape (2, 2)."""


def own_lines(sums: LifeSums, *, known_variance: float | None = None) -> OwnLines:
    """Return the lives' own lines: of three readings or more where there are such lives and the error is not known.

    Of many lives some tell enough.
    """
    if len(sums) > _ENOUGH:
        sums = sums.take(evenly(len(sums), _ENOUGH))
    rich = sums.n >= 3
    lives = sums.take(rich) if known_variance is None and rich.any() else sums
    det = lives.w * lives.wgg - lives.wg**2
    lives = lives.take(det > 1e-3 * lives.w * lives.wgg)
    det = lives.w * lives.wgg - lives.wg**2
    i11, i12, i22 = lives.wgg / det, -lives.wg / det, lives.w / det
    b1, b2 = i11 * lives.wy + i12 * lives.wgy, i12 * lives.wy + i22 * lives.wgy
    lines = np.stack([b1, b2])
    inverse = np.array([[i11.sum(), i12.sum()], [i12.sum(), i22.sum()]])
    rss = float((lives.wyy - b1 * lives.wy - b2 * lives.wgy).sum())
    dof = float((lives.n - 2).sum())
    return OwnLines(bool(rich.any()), len(lives), dof, rss, lines.sum(axis=1), lines @ lines.T, inverse)


def theta_of_lines(parts: list[OwnLines], *, known_variance: float | None = None) -> Floats:
    """Return a start from the own lines of the parts of a fleet, inside the bounds.

    The covariance of the per-life estimates is that of the random effects plus the mean of
    sigma2 S_j^-1; sigma2, where it is not known, comes from the scatter about those lines.
    """
    inside = np.array([1.0, 0.0, 1.0])
    counted = [part for part in parts if part.rich] or parts
    n, dof = sum(part.n for part in counted), sum(part.dof for part in counted)
    if n < 4 or (known_variance is None and not dof > 0.0):
        return inside
    sigma2 = known_variance or sum(part.rss for part in counted) / dof
    if not sigma2 > 0.0:
        return inside
    mean = sum(part.sum for part in counted) / n
    squares, inverse = sum(part.squares for part in counted), sum(part.inverse for part in counted)
    T = (squares - n * np.outer(mean, mean)) / (n - 1) / sigma2 - inverse / n
    values, vectors = np.linalg.eigh(T)
    T = (vectors * np.maximum(values, 0.01 * max(values[-1], 1e-4))) @ vectors.T
    factor = np.linalg.cholesky(T)
    return np.array([factor[0, 0], factor[1, 0], factor[1, 1]])


def inside(theta: Floats) -> Floats:
    """Return a start off the axes of symmetry, where Newton steps would stay."""
    return np.where(np.abs(theta) < 0.02, 0.02, theta)


def _newton_step(profile: Profile, free: slice) -> tuple[Floats, float]:
    """Return the step to where the deviance would be lowest if it were quadratic, and by how much it would fall.

    Curvatures count by their size, so that the step leads down from a saddle as well.
    """
    curvature, axes = np.linalg.eigh(profile.hessian[free, free])
    curvature = np.maximum(np.abs(curvature), 1e-8 * np.abs(curvature).max() + 1e-300)
    along = axes.T @ profile.gradient[free]
    step = np.zeros(3)
    step[free] = -axes @ (along / curvature)
    return step, float((along * along / curvature).sum() / 2.0)


def _lower(
    criterion: _Counted, theta: Floats, best: Profile, step: Floats, *, derived: bool
) -> tuple[Floats, Profile] | None:
    """Return a lower point along a step, cut back until it helps, and its profile; None if none helps."""
    step = step * min(1.0, _LONGEST * (1.0 + np.abs(theta).max()) / float(np.abs(step).max() or 1.0))
    slack = 1e-12 * max(1.0, abs(best.deviance))
    for size in _CUTS:
        trial = theta + size * step
        profile = criterion.profile(trial, derived=derived)
        calmer = np.abs(profile.gradient).max() < np.abs(best.gradient).max()
        same = abs(profile.deviance - best.deviance) <= slack
        if profile.deviance < best.deviance - slack or (same and calmer):
            return trial, profile
    return None


def _beside_saddle(
    criterion: _Counted, theta: Floats, profile: Profile, *, slack: float
) -> tuple[Floats, Profile] | None:
    """Return a lower point beside a saddle, and its profile; None where no change of T leads down."""
    values, vectors = np.linalg.eigh(profile.slope)
    if values[0] > -slack:
        return None
    T, v = relative_covariance(theta), vectors[:, 0]
    for size in np.geomspace(1.0, 1e-6, 13):
        trial = _factor(T + size * np.outer(v, v))
        lower = criterion.profile(trial)
        if lower.deviance < profile.deviance - 1e-10 * max(1.0, abs(profile.deviance)):
            return trial, lower
    return None


def _factor(T: NDArray[np.float64]) -> Floats:
    """Return theta of a positive semi-definite T, shape (3,)."""
    a = np.sqrt(max(float(T[0, 0]), 0.0))
    b = float(T[0, 1]) / a if a > 0.0 else 0.0
    return np.array([a, b, np.sqrt(max(float(T[1, 1]) - b * b, 0.0))])


def _at_rest(profile: Profile, scale: float) -> bool:
    """Whether no feasible step lowers the criterion: its gradient vanishes, and no change of T leads down."""
    still = np.abs(profile.gradient) * scale < _GRADIENT_TOLERANCE
    return bool(still.all() and np.linalg.eigvalsh(profile.slope)[0] * scale > -_GRADIENT_TOLERANCE)


def _boundary(criterion: Criterion, theta: Floats) -> str:
    a, b, c = (abs(float(value)) for value in theta)
    if criterion.level:
        return "no spread between lives" if a < _BOUNDARY else ""
    if np.hypot(b, c) < _BOUNDARY:
        return "no spread of growth between lives"
    if a < _BOUNDARY:
        return "no spread of play between lives at the mean distance"
    if c < _BOUNDARY * np.hypot(b, c) or c < _BOUNDARY:
        return "play and growth of a life rise exactly together"
    return ""
