"""The variances of the usage model: its likelihood, and the search for where that is largest.

Equations and symbols are those at the head of :mod:`fleetwear.usage.rates`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import minimize

from fleetwear.usage.history import Floats, History

Criterion = Literal["reml", "ml"]

FEW_VEHICLES = 5
"""Below this many vehicles with increments, omega2 is assumed; groups below it are named in the note."""
FEW_DEGREES = 5
"""Below this many increments beyond the first of each vehicle, phi2 is assumed."""
ASSUMED_RATE_VARIATION = 0.5
"""Assumed standard deviation of rates between vehicles, as a share of the mean rate."""
ASSUMED_MONTH_VARIATION = 0.3
"""Assumed standard deviation of the distance of 30 days, as a share of its mean."""

_RATIO_BOUND = float(np.log(1e8))


@dataclass(frozen=True)
class Levels:
    """The closed forms of the rate model at one a and b, with phi2 = 1."""

    quadratic: float
    log_determinant: float
    information: float
    group_weight: Floats
    group_raw: Floats
    mu: float


@dataclass(frozen=True)
class Variances:
    """The variances of the rate model, and how far they are to be trusted."""

    phi2: float
    """Process variance, km^2/day."""
    omega2: float
    """Variance of rates between vehicles of a group, (km/day)^2."""
    tau2: float
    """Variance of mean rates between groups, (km/day)^2."""
    converged: bool
    doubt: str


def level_sums(history: History, a: float, b: float, criterion: Criterion) -> Levels:
    """Return the closed forms at a = omega2 / phi2 and b = tau2 / phi2, both per day."""
    weight = history.days / (1.0 + a * history.days)
    n_groups = history.groups.size
    raw = history.raw_rate
    group_weight = np.bincount(history.group_codes, weight, n_groups).astype(np.float64)
    group_sum = np.bincount(history.group_codes, weight * raw, n_groups)
    group_raw = np.divide(group_sum, group_weight, out=np.zeros(n_groups), where=group_weight > 0)
    precision = group_weight / (1.0 + b * group_weight)
    information = float(precision.sum())
    mu = float(precision @ group_raw) / information
    quadratic = (
        history.within
        + float(weight @ (raw - group_raw[history.group_codes]) ** 2)
        + float(precision @ (group_raw - mu) ** 2)
    )
    log_determinant = float(np.log1p(a * history.days).sum() + np.log1p(b * group_weight).sum())
    if criterion == "reml":
        log_determinant += float(np.log(information))
    return Levels(quadratic, log_determinant, information, group_weight, group_raw, mu)


def _degrees(history: History, criterion: Criterion) -> int:
    return history.n - 1 if criterion == "reml" else history.n


def log_likelihood(history: History, phi2: float, omega2: float, tau2: float, criterion: Criterion) -> float:
    """Return the (restricted) log-likelihood of the increments in km, the mean rate profiled out."""
    at = level_sums(history, omega2 / phi2, tau2 / phi2, criterion)
    k = _degrees(history, criterion)
    return -0.5 * (k * float(np.log(2.0 * np.pi * phi2)) + history.log_days + at.log_determinant + at.quadratic / phi2)


def estimate_variances(history: History, fleet_rate: float, criterion: Criterion) -> Variances:
    """Return the variances that maximise the criterion, or assumed ones where the record is too short."""
    n_moving = int(np.count_nonzero(history.n_increments))
    doubts = ["distances are as regular as if they were computed"] if history.regular else []
    if history.within_df >= FEW_DEGREES and n_moving >= FEW_VEHICLES:
        phi2, omega2, tau2, converged = _search(history, criterion)
        if not converged:
            doubts.append("the search for the variances did not converge")
        if omega2 == 0.0:
            doubts.append("the vehicles of a group show no difference in rate (variance at zero)")
        return Variances(phi2, omega2, tau2, converged, "; ".join(doubts))
    omega2 = (ASSUMED_RATE_VARIATION * fleet_rate) ** 2
    doubts.append(
        f"with {n_moving} vehicles and {history.n} intervals, rates are assumed to differ between vehicles "
        f"by {ASSUMED_RATE_VARIATION:.0%} of their mean"
    )
    if history.within_df >= FEW_DEGREES:
        phi2 = history.within / history.within_df
    else:
        phi2 = 30.0 * (ASSUMED_MONTH_VARIATION * fleet_rate) ** 2
        doubts.append(f"and the distance of a month to scatter by {ASSUMED_MONTH_VARIATION:.0%}")
    return Variances(phi2, omega2, 0.0, True, "; ".join(doubts))


def _search(history: History, criterion: Criterion) -> tuple[float, float, float, bool]:
    k = _degrees(history, criterion)
    # A vehicle of median record is where a ratio times days is 1: the search starts near there.
    scale = 1.0 / float(np.median(history.days[history.days > 0]))
    grouped = np.unique(history.group_codes[history.days > 0]).size > 1

    def deviance(a: float, b: float) -> float:
        at = level_sums(history, a, b, criterion)
        return k * float(np.log(at.quadratic / k)) + at.log_determinant

    def ratios(logs: Floats) -> tuple[float, float]:
        kept = scale * np.exp(np.clip(logs, -_RATIO_BOUND, _RATIO_BOUND))
        return float(kept[0]), float(kept[1]) if grouped else 0.0

    def objective(logs: Floats) -> float:
        return deviance(*ratios(logs))

    found = minimize(objective, np.ones(2 if grouped else 1), method="Nelder-Mead", tol=1e-6)
    a, b = ratios(np.asarray(found.x, dtype=np.float64))
    best = float(found.fun) + 1e-6
    # A variance far too small to matter is told from zero by the criterion alone.
    candidates = [(0.0, 0.0), (0.0, b), (a, 0.0)]
    a, b = next((pair for pair in candidates if deviance(*pair) <= best), (a, b))
    phi2 = level_sums(history, a, b, criterion).quadratic / k
    return phi2, phi2 * a, phi2 * b, bool(found.success)
