"""What the joints of one vehicle, and the load directions of one joint, have in common.

Each series (a life of a joint in one load direction) has a standardised growth effect u_j, standard
normal over the fleet: how much faster than its cohort it wears, over the spread of its cohort. They are
tied by three independent standard normal effects::

    u_j = sqrt(rho_v) f_vehicle + sqrt(rho_t - rho_v) h_joint + sqrt(1 - rho_t) eps_j

The mixed model fits lives one by one and leaves its prediction of u_j, the standardised random effect
a_j, with reliability R_j = 1 - posterior variance / prior variance. Then a_j / R_j = u_j + error, with
error variance (1 - R_j) / R_j (the deregressed prediction of animal breeding: Garrick, Taylor & Fernando
2009, Genet. Sel. Evol. 41:55, from memory), so that

    E(a_j a_k) = rho R_j R_k    for two series of one joint (rho_t) or of two joints of one vehicle (rho_v)

gives both correlations from sums, and draws from the posterior of all u of a vehicle come by
conditioning draws from the prior (Matheron's rule), with the covariance matrix inverted in closed form
level by level. The growth effect alone is tied; intercepts are taken as independent.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers

_HIGHEST = 0.95
_MIN_PAIRS = 30
"""Pairs of series below which a correlation is not estimated but taken as assumed."""

_ASSUMED_VEHICLE = 0.2
_ASSUMED_JOINT = 0.5


@dataclass(frozen=True)
class Sharing:
    """Correlation of growth effects within a vehicle and within a joint; 0 <= vehicle <= joint < 1."""

    vehicle: float
    joint: float
    note: str
    """What was assumed for want of pairs, or empty."""


def estimate_sharing(effect: Floats, reliability: Floats, vehicle: Integers, joint: Integers) -> Sharing:
    """Return the correlations by the method of moments over all pairs.

    Parameters
    ----------
    effect, reliability
        Standardised random effect a_j and reliability R_j of each series, shape (J,).
    vehicle, joint
        Codes of the series' vehicle, and of its joint (unique over vehicles), shape (J,).
    """
    same_joint = _pair_sums(effect, reliability, joint)
    same_vehicle = _pair_sums(effect, reliability, vehicle)
    across = tuple(whole - part for whole, part in zip(same_vehicle, same_joint, strict=True))
    notes = []
    if across[2] >= _MIN_PAIRS and across[1] > 1e-9:
        rho_vehicle = float(np.clip(across[0] / across[1], 0.0, _HIGHEST))
    else:
        rho_vehicle = _ASSUMED_VEHICLE
        notes.append(f"correlation within a vehicle assumed to be {rho_vehicle}")
    if same_joint[2] >= _MIN_PAIRS and same_joint[1] > 1e-9:
        rho_joint = float(np.clip(same_joint[0] / same_joint[1], rho_vehicle, _HIGHEST))
    else:
        rho_joint = max(_ASSUMED_JOINT, rho_vehicle)
        notes.append(f"correlation within a joint assumed to be {rho_joint}")
    return Sharing(rho_vehicle, rho_joint, "; ".join(notes))


def _pair_sums(effect: Floats, reliability: Floats, group: Integers) -> tuple[float, float, float]:
    """Return sums over pairs of one group of a_j a_k and of R_j R_k, and the number of pairs with data."""

    def pairs(values: Floats) -> float:
        total = np.bincount(group, weights=values)
        return float((total @ total - values @ values) / 2.0)

    return pairs(effect), pairs(reliability), pairs((reliability > 0.01).astype(np.float64))


def draw_shared(
    sharing: Sharing,
    effect: Floats,
    reliability: Floats,
    vehicle: Integers,
    joint: Integers,
    *,
    n_draws: int,
    rng: np.random.Generator,
) -> Floats:
    """Return joint draws of how far each growth effect lies from its own posterior, shape (J, n_draws).

    A draw z_j stands for growth effect a_j + sqrt(1 - R_j) z_j in units of the cohort's spread. Where
    nothing is shared, z is standard normal; a vehicle whose other joints wear fast shifts it up.

    Parameters
    ----------
    sharing
        The correlations.
    effect, reliability, vehicle, joint
        As in :func:`estimate_sharing`, any order.
    n_draws
        Draws K.
    rng
        Source of random numbers.
    """
    order = np.lexsort((joint, vehicle))
    inverse = np.argsort(order)
    a, R = effect[order], np.clip(reliability[order], 0.0, 1.0 - 1e-12)
    of_vehicle, of_joint = _Groups.of(vehicle[order]), _Groups.of(joint[order])
    rho_v, rho_t = sharing.vehicle, sharing.joint
    shape = (len(a), n_draws)

    f = rng.standard_normal((of_vehicle.count, n_draws))
    h = rng.standard_normal((of_joint.count, n_draws))
    prior = np.sqrt(rho_v) * f[of_vehicle.code] + np.sqrt(rho_t - rho_v) * h[of_joint.code]
    prior += np.sqrt(1.0 - rho_t) * rng.standard_normal(shape)

    # weight of a / R in the posterior, finite also where a series has no data (R = 0)
    weight = R / (1.0 - rho_t * R)
    error = np.sqrt(R * (1.0 - R))[:, None] * rng.standard_normal(shape)
    gap = (a[:, None] - R[:, None] * prior - error) / (1.0 - rho_t * R)[:, None]
    solved = _solve_nested(gap, weight, of_joint, of_vehicle, rho_v=rho_v, rho_t=rho_t)
    change = rho_v * of_vehicle.totals(solved)[of_vehicle.code]
    change += (rho_t - rho_v) * of_joint.totals(solved)[of_joint.code] + (1.0 - rho_t) * solved
    posterior = prior + change
    return np.asarray(((posterior - a[:, None]) / np.sqrt(1.0 - R)[:, None])[inverse])


@dataclass(frozen=True)
class _Groups:
    """Runs of equal codes in sorted order."""

    code: Integers
    starts: Integers

    @classmethod
    def of(cls, codes: Integers) -> _Groups:
        new = np.ones(len(codes), dtype=bool)
        new[1:] = codes[1:] != codes[:-1]
        return cls(np.cumsum(new) - 1, np.flatnonzero(new))

    @property
    def count(self) -> int:
        return len(self.starts)

    def totals(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return sums over each run along the first axis."""
        return np.asarray(np.add.reduceat(values, self.starts, axis=0))


def _solve_nested(
    weighted: Floats, weight: Floats, joints: _Groups, vehicles: _Groups, *, rho_v: float, rho_t: float
) -> Floats:
    """Return (diag(1 / weight) + (rho_t - rho_v) blocks + rho_v ones)^-1 x, given weighted = weight * x.

    Two rank-one updates a group (Sherman & Morrison), joints within vehicles.
    """
    alpha = rho_t - rho_v

    def within_joint(values: Floats, w: Floats) -> Floats:
        shrink = alpha / (1.0 + alpha * joints.totals(weight))
        shape = (-1,) + (1,) * (values.ndim - 1)
        return np.asarray(values - w.reshape(shape) * (shrink.reshape(shape) * joints.totals(values))[joints.code])

    inner = within_joint(weighted, weight)
    ones = within_joint(weight, weight)
    scale = rho_v / (1.0 + rho_v * vehicles.totals(ones))
    return np.asarray(inner - ones[:, None] * (scale[:, None] * vehicles.totals(inner))[vehicles.code])
