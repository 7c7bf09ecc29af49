"""Restricted maximum likelihood for studies that are incomplete or unbalanced.

Cell means m (c filled cells) are normal with mean mu and covariance::

    V = joint Zj Zj' + people Zp Zp' + interaction I + repeatability diag(1 / strokes)

and, apart from them, the scatter within cells is repeatability times chi-square. Both together are the likelihood of
all readings; -2 log of it, restricted for mu, is minimised over variances of nought or more.

Intervals are those of the profile: the values of a variation at which -2 log-likelihood, minimised over all else,
exceeds its minimum by the quantile of chi-square with one degree of freedom, times Bartlett's factor for a variance of
so many degrees of freedom as the study has of what limits it (people less one, joints less one, or those within cells).

References
----------
Bartlett, M. S. (1937), Proceedings of the Royal Society A 160. Searle, Casella & McCulloch (1992), Variance Components.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import linalg, optimize, special, stats

from fleetwear.errors import FitError
from fleetwear.measurement.results import PARTS, QUANTITIES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.measurement.cells import Cells, Floats

INTERVAL_METHOD = (
    "profile restricted likelihood, its quantile enlarged by Bartlett's factor for few people or joints; approximate"
)
_SMALLEST = 1e-8
"""Of the variance of all readings; repeatability is kept from nought by it."""


@dataclass(frozen=True)
class Likelihood:
    """The restricted likelihood of one study, in units of the variance of its cell means.

    Attributes
    ----------
    names
        The variance components.
    parts
        What one unit of each adds to the covariance of the cell means (components, c, c).
    means
        The filled cells' means (c).
    within_ss, within_df
        The scatter within cells.
    constant
        What does not depend on the variances.
    scale
        The variance by which means and scatter were divided.
    """

    names: tuple[str, ...]
    parts: Floats
    means: Floats
    within_ss: float
    within_df: int
    constant: float
    scale: float

    def minus_two(self, v: Floats) -> tuple[float, Floats]:
        """Return -2 log of the restricted likelihood at variances v, without the constant, and its gradient."""
        try:
            factor = np.linalg.cholesky((v @ self.parts.reshape(v.size, -1)).reshape(self.parts.shape[1:]))
        except np.linalg.LinAlgError:
            return 1e10, np.zeros_like(v)
        root, _ = linalg.lapack.dtrtri(factor, lower=1)
        inverse = root.T @ root
        ones = inverse.sum(axis=1)
        information = float(ones.sum())
        projection: NDArray[np.float64] = inverse - np.outer(ones, ones) / information
        left = projection @ self.means
        error = v[-1]
        value = (
            2.0 * float(np.log(np.diag(factor)).sum())
            + float(np.log(information))
            + float(self.means @ left)
            + self.within_df * float(np.log(error))
            + self.within_ss / error
        )
        gradient = self.parts.reshape(v.size, -1) @ (projection - np.outer(left, left)).ravel()
        gradient[-1] += self.within_df / error - self.within_ss / error**2
        return value, gradient

    def minimise(
        self, start: Floats, among: tuple[str, ...] = (), total: float = 0.0, *, tolerance: float = 1e-12
    ) -> tuple[float, Floats]:
        """Return the least -2 log-likelihood and its variances, those ``among`` summing to ``total`` if any."""
        inside = np.array([name in among for name in self.names], dtype=np.float64)
        constraints = [optimize.LinearConstraint(inside[None, :], total, total)] if among else []
        first = start.copy()
        if among:
            held = inside @ start
            first = np.where(inside > 0.0, start * total / held if held > 0.0 else total / inside.sum(), start)
        first[-1] = max(first[-1], _SMALLEST)
        found = optimize.minimize(
            self.minus_two, first, jac=True, method="SLSQP", constraints=constraints,
            bounds=[(0.0, None)] * (len(self.names) - 1) + [(_SMALLEST, None)],
            options={"maxiter": 300, "ftol": tolerance},
        )  # fmt: skip
        return float(found.fun), np.asarray(found.x, dtype=np.float64)


def likelihood(cells: Cells, *, pooled: bool) -> Likelihood:
    """Return the restricted likelihood of a study.

    Raises
    ------
    FitError
        If the strokes show no scatter at all.
    """
    i, j = np.nonzero(cells.counts)
    strokes = cells.counts[i, j].astype(np.float64)
    parts = {"joint": (i[:, None] == i[None, :]).astype(np.float64)}
    if len(cells.people) > 1:
        parts["people"] = (j[:, None] == j[None, :]).astype(np.float64)
        if not pooled:
            parts["interaction"] = np.eye(i.size)
    parts["repeatability"] = np.diag(1.0 / strokes)
    means = cells.means[i, j]
    scale = float(means.var()) + cells.within_ss / max(cells.within_df, 1)
    if scale == 0.0 or (cells.within_df > 0 and cells.within_ss == 0.0):
        raise FitError(
            "strokes of one joint by one person never differ, so repeatability cannot be estimated",
            mend="Read with a finer indicator.",
        )
    n = cells.n_readings
    constant = (n - 1) * float(np.log(2.0 * np.pi * scale)) + float(np.log(strokes).sum())
    centred = (means - means.mean()) / np.sqrt(scale)
    return Likelihood(
        tuple(parts), np.array(list(parts.values())), centred, cells.within_ss / scale, cells.within_df, constant, scale
    )


def estimate(cells: Cells, *, pooled: bool) -> tuple[dict[str, float], float]:
    """Return the variance components and the restricted log-likelihood (that of all readings)."""
    model = likelihood(cells, pooled=pooled)
    least, v = _best(model)
    found = dict(zip(model.names, (v * model.scale).tolist(), strict=True))
    nothing = 0.0 if len(cells.people) > 1 else float("nan")
    components = {"people": nothing, "interaction": nothing} | found
    return components, -0.5 * (least + model.constant)


def _best(model: Likelihood) -> tuple[float, Floats]:
    """Return the best of a few starts."""
    m = len(model.names)
    starts = [np.full(m, 1.0 / m), np.array([0.9] + [0.02] * (m - 1)), np.array([0.1] * (m - 1) + [0.7])]
    return min((model.minimise(start) for start in starts), key=lambda found: found[0])


def intervals(cells: Cells, *, pooled: bool, level: float) -> dict[str, tuple[float, float]]:
    """Return the interval of each standard deviation that the study tells."""
    model = likelihood(cells, pooled=pooled)
    least, v = _best(model)
    error_df = cells.n_readings - len(cells.joints) - len(cells.people) + 1 if pooled else cells.within_df
    degrees = {
        "repeatability": error_df,
        "reproducibility": len(cells.people) - 1,
        "gauge R&R": len(cells.people) - 1 or error_df,
        "joint to joint": len(cells.joints) - 1,
        "total": len(cells.joints) - 1,
    }
    out = {}
    for quantity in QUANTITIES:
        among = tuple(name for name in PARTS[quantity] if name in model.names)
        if among:
            cut = float(stats.chi2.ppf(level, 1)) * bartlett(degrees[quantity])
            low, high = _profile(model, least, v, among, cut)
            out[quantity] = (float(np.sqrt(low * model.scale)), float(np.sqrt(high * model.scale)))
    return out


def bartlett(degrees: int) -> float:
    """Return the mean of the likelihood ratio of one variance with so many degrees of freedom."""
    return float(degrees * (np.log(degrees / 2.0) - special.digamma(degrees / 2.0)))


def _profile(model: Likelihood, least: float, v: Floats, among: tuple[str, ...], cut: float) -> tuple[float, float]:
    """Return the ends of the interval of a sum of variances; nought below and infinity above where there is none."""
    estimate_ = float(sum(v[model.names.index(name)] for name in among))
    floor, ceiling = 1e-7, 1e7

    def over(log_total: float) -> float:
        return model.minimise(v, among, float(np.exp(log_total)), tolerance=1e-7)[0] - least - cut

    middle = np.log(max(estimate_, floor))
    low, high = 0.0, float("inf")
    step = middle
    while step > np.log(floor):
        inner, step = step, step - 1.5
        if over(step) > 0.0:
            low = float(np.exp(optimize.brentq(over, step, inner, xtol=1e-2)))
            break
    step = middle
    while step < np.log(ceiling):
        inner, step = step, step + 1.5
        if over(step) > 0.0:
            high = float(np.exp(optimize.brentq(over, inner, step, xtol=1e-2)))
            break
    return low, high
