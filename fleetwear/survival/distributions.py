"""Weibull and lognormal lifetimes fitted to censored ones by maximum likelihood, with intervals.

References
----------
Censored likelihood and maximum: ``scipy.stats.CensoredData`` and ``fit``. The covariance of the two parameters is the
sandwich over clusters (Liang and Zeger 1986, Biometrika 73, 13-22), its derivatives by central differences.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import FitError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    from fleetwear.survival.lifetimes import Lifetimes

LEAST_CROSSED = 5
LEAST_CLUSTERS = 3
"""Crossings, and clusters with a crossing, below which no distribution is fitted."""
NAMES = ("Weibull", "lognormal")
_STEP = 1e-4


@dataclass(frozen=True)
class LifeDistribution:
    """A distribution fitted to lifetimes, in the parameters log shape and log scale.

    With z = (log x - log scale) * shape for Weibull, or / shape for lognormal, the share that lasts beyond x is
    exp(-exp(z)), or 1 - Phi(z).
    """

    name: str
    shape: float
    scale: float
    loglik: float
    cov: NDArray[np.float64]
    """Of (log shape, log scale), 2 by 2."""
    n_clusters: int

    def survival(self, at: ArrayLike, *, level: float = 0.95) -> tuple[NDArray[np.float64], ...]:
        """Return the share that lasts beyond distances, with its lower and upper end; shapes of ``at``."""
        x = np.maximum(np.asarray(at, dtype=np.float64), 1e-12)
        parameters = np.log([self.shape, self.scale])
        z = _z(self.name, parameters, x)
        gradient = np.stack([_slope(lambda p: _z(self.name, p, x), parameters, which) for which in (0, 1)])
        spread = self._t(level) * np.sqrt(np.maximum(np.einsum("i...,ij,j...->...", gradient, self.cov, gradient), 0.0))
        middle, upper, lower = (_lasting(self.name, value) for value in (z, z - spread, z + spread))
        return middle, lower, upper

    def distance(self, share: float, *, level: float = 0.95) -> tuple[float, float, float]:
        """Return the distance by which a share has crossed, with its lower and upper end."""
        from scipy import special

        z = np.log(-np.log1p(-share)) if self.name == "Weibull" else float(special.ndtri(share))
        off = z / self.shape if self.name == "Weibull" else z * self.shape
        gradient = np.array([-off if self.name == "Weibull" else off, 1.0])
        spread = self._t(level) * float(np.sqrt(max(gradient @ self.cov @ gradient, 0.0)))
        ends = np.log(self.scale) + off + np.array([0.0, -spread, spread])
        middle, lower, upper = (float(value) for value in np.exp(np.minimum(ends, 700.0)))
        return middle, lower, upper

    def _t(self, level: float) -> float:
        from scipy import special

        return float(special.stdtrit(max(self.n_clusters - 1, 1), 0.5 + level / 2.0))


def fit_distributions(lifetimes: Lifetimes) -> tuple[LifeDistribution, ...]:
    """Return both distributions, the likelier first; empty where too few crossed or a search fails."""
    fitted = []
    for name in NAMES:
        try:
            fitted.append(fit_distribution(lifetimes, name))
        except FitError:
            continue
    return tuple(sorted(fitted, key=lambda one: -one.loglik))


def fit_distribution(lifetimes: Lifetimes, name: str) -> LifeDistribution:
    """Return one distribution fitted by maximum likelihood.

    Parameters
    ----------
    lifetimes
        n of them.
    name
        "Weibull" or "lognormal".

    Raises
    ------
    FitError
        If fewer than ``LEAST_CROSSED`` crossed or those lie in fewer than ``LEAST_CLUSTERS`` clusters, or the search
        ends nowhere.
    """
    from scipy import stats

    if lifetimes.n_crossed < LEAST_CROSSED or lifetimes.clusters_crossed() < LEAST_CLUSTERS:
        raise FitError(
            f"{lifetimes.n_crossed} crossings of {lifetimes.clusters_crossed()} clusters",
            mend=f"A distribution needs {LEAST_CROSSED} of {LEAST_CLUSTERS}.",
        )
    lower, upper, cluster = lifetimes.lower, lifetimes.upper, lifetimes.cluster
    unit = float(np.median(np.where(np.isfinite(upper), upper, lower)))
    family = {"Weibull": stats.weibull_min, "lognormal": stats.lognorm}[name]
    exact = (lower == upper) & np.isfinite(upper)
    left, right = (lower == 0.0) & np.isfinite(upper), np.isinf(upper)
    between = ~(exact | left | right)
    data = stats.CensoredData(
        uncensored=lower[exact] / unit,
        left=upper[left] / unit,
        right=lower[right] / unit,
        interval=np.column_stack([lower[between], upper[between]]) / unit,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            shape, _, scale = family.fit(data, *((1.5,) if name == "Weibull" else (0.6,)), scale=1.0, floc=0)
        except stats.FitError as error:
            raise FitError(f"the {name} distribution was not found: {error}") from error
    parameters = np.log([shape, scale * unit])
    if not np.isfinite(parameters).all() or not 0.05 < shape < 50.0:
        raise FitError(f"the {name} distribution ran to shape {shape:g}")
    cov, n_clusters = _sandwich(name, parameters, lower, upper, cluster)
    loglik = float(_loglik(name, parameters, lower, upper).sum())
    return LifeDistribution(name, float(shape), float(scale * unit), loglik, cov, n_clusters)


def _z(name: str, parameters: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float64]:
    off = np.log(x) - parameters[1]
    return np.asarray(off * np.exp(parameters[0] if name == "Weibull" else -parameters[0]))


def _lasting(name: str, z: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy import special

    return np.asarray(np.exp(-np.exp(np.minimum(z, 700.0))) if name == "Weibull" else special.ndtr(-z))


def _loglik(
    name: str, parameters: NDArray[np.float64], lower: NDArray[np.float64], upper: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return each lifetime's log-likelihood: of its interval, or of its density where it is known exactly."""
    lasts = np.where(lower > 0.0, _lasting(name, _z(name, parameters, np.maximum(lower, 1e-300))), 1.0)
    finite = np.where(np.isfinite(upper), upper, 1.0)
    z = _z(name, parameters, finite)
    ends = np.where(np.isfinite(upper), _lasting(name, z), 0.0)
    if name == "Weibull":
        density = np.exp(parameters[0] + z - np.exp(np.minimum(z, 700.0))) / finite
    else:
        density = np.exp(-parameters[0] - 0.5 * z * z) / (finite * np.sqrt(2.0 * np.pi))
    chance = np.where(lower == upper, density, lasts - ends)
    return np.asarray(np.log(np.maximum(chance, 1e-300)))


def _slope(
    function: Callable[[NDArray[np.float64]], NDArray[np.float64]], at: NDArray[np.float64], which: int
) -> NDArray[np.float64]:
    step = np.zeros(2)
    step[which] = _STEP
    return np.asarray((function(at + step) - function(at - step)) / (2.0 * _STEP))


def _sandwich(
    name: str,
    parameters: NDArray[np.float64],
    lower: NDArray[np.float64],
    upper: NDArray[np.float64],
    cluster: NDArray[np.int64],
) -> tuple[NDArray[np.float64], int]:
    """Return the covariance of the log parameters over clusters, and the number of clusters."""

    def scores(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.stack([_slope(lambda q: _loglik(name, q, lower, upper), p, which) for which in (0, 1)])

    hessian = np.stack([_slope(scores, parameters, which).sum(axis=-1) for which in (0, 1)])
    codes = np.unique(cluster, return_inverse=True)[1]
    n = int(codes.max()) + 1
    each = np.stack([np.bincount(codes, weights=row, minlength=n) for row in scores(parameters)])
    try:
        bread = np.linalg.inv(-(hessian + hessian.T) / 2.0)
    except np.linalg.LinAlgError as error:
        raise FitError(f"the {name} distribution is not told by these lifetimes") from error
    cov = bread @ (each @ each.T * (n / max(n - 1, 1))) @ bread
    if not np.isfinite(cov).all() or bread[0, 0] <= 0.0 or bread[1, 1] <= 0.0:
        raise FitError(f"the {name} distribution is not told by these lifetimes")
    return cov, n
