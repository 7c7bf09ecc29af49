"""How fast each vehicle runs up distance: daily rates, partially pooled.

Increment i of vehicle v in group g (d_i km in t_i > 0 days) is taken as Brownian motion with drift::

    d_i | r_v  ~  N(r_v t_i, phi2 t_i)      increments independent
    r_v | mu_g ~  N(mu_g, omega2)           vehicles of a group
    mu_g       ~  N(mu, tau2)               groups; mu has a flat prior

======== ========== ==================================================================
symbol   unit       what it is
======== ========== ==================================================================
r_v      km/day     the vehicle's own rate
phi2     km^2/day   process variance: the distance of t days scatters by sqrt(phi2 t)
omega2   (km/day)^2 variance of rates between vehicles of a group
tau2     (km/day)^2 variance of mean rates between groups
mu, mu_g km/day     mean rate of the fleet, and of a group
======== ========== ==================================================================

With T_v = sum t, D_v = sum d, rbar_v = D_v / T_v, and W = sum_v (sum d^2 / t - D_v^2 / T_v), the three
levels nest and everything is a closed form of sums per vehicle. Let a = omega2 / phi2, b = tau2 / phi2 and

    w_v = T_v / (1 + a T_v)         A_g = sum_{v in g} w_v        m_g = sum_{v in g} w_v rbar_v / A_g
    B_g = A_g / (1 + b A_g)         mu^ = sum_g B_g m_g / sum_g B_g
    Q   = W + sum_v w_v (rbar_v - m_g)^2 + sum_g B_g (m_g - mu^)^2

    -2 l_R = k log(2 pi phi2) + sum_i log t_i + sum_v log(1 + a T_v) + sum_g log(1 + b A_g)
             + log(sum_g B_g) + Q / phi2,                                       k = n - 1

(ML: k = n and without log sum_g B_g.) Given a and b, phi2 = Q / k; a and b are found by a simplex search on
their logarithms, and each is compared with zero at the end. The rates' posterior, mu integrated out, is

    h_g = b A_g / (1 + b A_g)     E mu_g = h_g m_g + (1 - h_g) mu^
                                  V mu_g = phi2 (b (1 - h_g) + (1 - h_g)^2 / sum_g B_g)
    k_v = a T_v / (1 + a T_v)     E r_v  = k_v rbar_v + (1 - k_v) E mu_g
                                  V r_v  = phi2 a (1 - k_v) + (1 - k_v)^2 V mu_g

A vehicle without increments has T_v = 0 and so its group's mean; a group with few vehicles is drawn toward
the fleet's mean by h_g, without a threshold. phi2, omega2 and tau2 are plugged in as if known, and errors of
reading the odometer are ignored.

References
----------
Hartley & Rao (1967), Biometrika 54, 93-108: the profiled likelihood of a mixed model.
Patterson & Thompson (1971), Biometrika 58, 545-554: REML.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from fleetwear.errors import DoubtfulFitWarning, FitError
from fleetwear.usage.history import Floats, History, Labels, gather_history
from fleetwear.usage.variances import (
    FEW_VEHICLES,
    Criterion,
    Variances,
    estimate_variances,
    level_sums,
    log_likelihood,
)

SLOWEST_KM_PER_DAY = 0.1
"""Rates are drawn above this."""


@dataclass(frozen=True)
class UsageFit:
    """Daily rates of V vehicles in G groups, and the variances of the distance ahead."""

    vehicles: Labels
    """(V,) labels, ascending unless taken otherwise."""
    rate_mean: Floats
    """(V,) posterior mean of the daily rate, km/day."""
    rate_sd: Floats
    """(V,) posterior standard deviation of the daily rate, km/day."""
    last_day: Floats
    """(V,) elapsed days at the last odometer entry; nan without one."""
    last_km: Floats
    """(V,) running distance at the last odometer entry, km; nan without one."""
    n_increments: NDArray[np.int64]
    """(V,) increments that the rate rests on; 0 where it is the group's."""
    observed_days: Floats
    """(V,) days that the increments span."""
    group_codes: NDArray[np.intp]
    """(V,) index into ``groups``."""
    groups: Labels
    """(G,) labels."""
    group_mean: Floats
    """(G,) posterior mean of the group's mean rate, km/day."""
    group_sd: Floats
    """(G,) its posterior standard deviation, km/day."""
    mu: float
    """Mean rate over groups, km/day."""
    mu_se: float
    """Standard error of ``mu``, km/day."""
    phi2: float
    """Process variance, km^2/day."""
    omega2: float
    """Variance of rates between vehicles of a group, (km/day)^2."""
    tau2: float
    """Variance of mean rates between groups, (km/day)^2; 0 with a single group."""
    n: int
    """Increments in all."""
    criterion: Criterion
    """What ``loglik`` is and the variances maximise."""
    loglik: float
    """The log-likelihood (restricted for "reml") of the increments in km."""
    converged: bool
    """Whether the search for the variances ended as it should; True where they were assumed."""
    doubt: str
    """What makes the fit doubtful, in words; empty if nothing does."""
    note: str
    """Groups that borrow from the fleet and distances that fall, in words; empty if there are none."""

    def take(self, indices: ArrayLike) -> UsageFit:
        """Return the same fit for some vehicles only: ``indices`` are whole numbers, in order, or a mask."""
        chosen = np.arange(self.vehicles.size)[np.asarray(indices)]
        return replace(
            self,
            vehicles=self.vehicles[chosen],
            rate_mean=self.rate_mean[chosen],
            rate_sd=self.rate_sd[chosen],
            last_day=self.last_day[chosen],
            last_km=self.last_km[chosen],
            n_increments=self.n_increments[chosen],
            observed_days=self.observed_days[chosen],
            group_codes=self.group_codes[chosen],
        )


def fit_usage(
    vehicle: ArrayLike,
    elapsed_days: ArrayLike,
    running_km: ArrayLike,
    *,
    group: ArrayLike | None = None,
    criterion: Criterion = "reml",
) -> UsageFit:
    """Return every vehicle's daily rate and the variances of the distance ahead, from odometer entries.

    Parameters
    ----------
    vehicle
        (n,) labels of one type, in any order. A vehicle with a single entry gets its group's rate.
    elapsed_days
        (n,) days since any one origin. Entries of one vehicle on one day count as one, the largest.
    running_km
        (n,) distance run, freed of odometer swaps; nan only holds the vehicle's place.
    group
        (n,) labels of one type (duty or depot); the vehicle belongs to the group of its latest entry.
    criterion
        "reml" or "ml".

    Raises
    ------
    InputError
        If the entries cannot be taken: see :func:`fleetwear.usage.history.gather_history`.
    FitError
        If no vehicle has two entries on different days, or the fleet as a whole does not move.

    Warns
    -----
    DoubtfulFitWarning
        If variances had to be assumed, ended at zero, or the search did not converge.
    """
    history = gather_history(vehicle, elapsed_days, running_km, group)
    total_days = float(history.days.sum())
    fleet_rate = float(history.km.sum()) / total_days if total_days > 0 else 0.0
    if fleet_rate <= 0:
        raise FitError(
            f"no vehicle moves between two dated odometer values ({history.vehicles.size} vehicles, "
            f"{history.n} intervals)",
            where="daily rates",
            mend="Record a second odometer value of a vehicle, or its in-service date and distance.",
        )
    variances = estimate_variances(history, fleet_rate, criterion)
    if variances.doubt:
        warnings.warn(f"daily rates: {variances.doubt}", DoubtfulFitWarning, stacklevel=2)
    return _results(history, variances, criterion)


def usage_loglik(
    vehicle: ArrayLike,
    elapsed_days: ArrayLike,
    running_km: ArrayLike,
    *,
    phi2: float,
    omega2: float,
    tau2: float = 0.0,
    group: ArrayLike | None = None,
    criterion: Criterion = "reml",
) -> float:
    """Return the log-likelihood of the increments at given variances, the mean rate profiled out.

    Parameters
    ----------
    vehicle, elapsed_days, running_km, group, criterion
        As in :func:`fit_usage`.
    phi2
        Process variance, km^2/day, above 0.
    omega2, tau2
        Variances of rates between vehicles and between groups, (km/day)^2.

    Raises
    ------
    InputError
        If the entries cannot be taken.
    """
    history = gather_history(vehicle, elapsed_days, running_km, group)
    return log_likelihood(history, phi2, omega2, tau2, criterion)


def draw_rates(fit: UsageFit, *, n_draws: int, rng: np.random.Generator) -> Floats:
    """Return (V, n_draws) daily rates in km/day from the posterior, above SLOWEST_KM_PER_DAY.

    Vehicles are drawn one by one: what they share through an uncertain group mean is in each one's spread
    but not in their correlation.
    """
    mean, sd = fit.rate_mean[:, None], fit.rate_sd[:, None]
    room = np.divide(mean - SLOWEST_KM_PER_DAY, sd, out=np.full_like(mean, 37.0), where=sd > 0)
    share = ndtr(np.maximum(room, -37.0))
    draws = mean - sd * ndtri(share * (1.0 - rng.random((fit.vehicles.size, n_draws))))
    return np.asarray(np.maximum(draws, SLOWEST_KM_PER_DAY), dtype=np.float64)


def _results(history: History, variances: Variances, criterion: Criterion) -> UsageFit:
    phi2, omega2, tau2 = variances.phi2, variances.omega2, variances.tau2
    a, b = omega2 / phi2, tau2 / phi2
    at = level_sums(history, a, b, criterion)
    kept = 1.0 / (1.0 + b * at.group_weight)
    group_mean = (1.0 - kept) * at.group_raw + kept * at.mu
    group_variance = phi2 * (b * kept + kept**2 / at.information)
    borrowed = 1.0 / (1.0 + a * history.days)
    code = history.group_codes
    rate_mean = (1.0 - borrowed) * history.raw_rate + borrowed * group_mean[code]
    rate_variance = phi2 * a * borrowed + borrowed**2 * group_variance[code]
    return UsageFit(
        vehicles=history.vehicles,
        rate_mean=rate_mean,
        rate_sd=np.sqrt(rate_variance),
        last_day=history.last_day,
        last_km=history.last_km,
        n_increments=history.n_increments,
        observed_days=history.days,
        group_codes=code,
        groups=history.groups,
        group_mean=group_mean,
        group_sd=np.sqrt(group_variance),
        mu=at.mu,
        mu_se=float(np.sqrt(phi2 / at.information)),
        phi2=phi2,
        omega2=omega2,
        tau2=tau2,
        n=history.n,
        criterion=criterion,
        loglik=log_likelihood(history, phi2, omega2, tau2, criterion),
        converged=variances.converged,
        doubt=variances.doubt,
        note="; ".join(part for part in (_say_borrowing(history, tau2), history.falls) if part),
    )


def _say_borrowing(history: History, tau2: float) -> str:
    if history.groups.size == 1:
        return ""
    if tau2 == 0.0:
        return "the groups' mean rates are not told apart; all take the fleet's"
    moving = np.bincount(history.group_codes, history.days > 0, history.groups.size)
    small = history.groups[moving < FEW_VEHICLES]
    if not small.size:
        return ""
    return f"groups with fewer than {FEW_VEHICLES} vehicles on record borrow from the fleet's mean rate: " + ", ".join(
        str(label) for label in small
    )
