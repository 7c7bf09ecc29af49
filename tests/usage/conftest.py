from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest


@dataclass(frozen=True)
class Fleet:
    vehicle: np.ndarray
    elapsed_days: np.ndarray
    running_km: np.ndarray
    group: np.ndarray
    rate: np.ndarray
    group_mean: np.ndarray


@pytest.fixture(scope="session")
def simulate_fleet():
    def simulate(rng, *, n_vehicles=200, mu=110.0, omega2=900.0, tau2=0.0, phi2=2.5e4, n_groups=1, most_entries=12):
        """Entries in shuffled order; entry counts 1..most_entries, gaps 5..90 days."""
        group_mean = mu + np.sqrt(tau2) * rng.standard_normal(n_groups)
        group_of = np.arange(n_vehicles) % n_groups
        rate = group_mean[group_of] + np.sqrt(omega2) * rng.standard_normal(n_vehicles)
        counts = rng.integers(1, most_entries + 1, n_vehicles)
        owner = np.repeat(np.arange(n_vehicles), counts)
        first = np.r_[0, np.cumsum(counts)[:-1]]
        t = rng.integers(5, 91, owner.size).astype(float)
        d = rate[owner] * t + np.sqrt(phi2 * t) * rng.standard_normal(owner.size)
        t[first], d[first] = rng.integers(0, 60, n_vehicles), 10_000.0
        day, km = np.cumsum(t), np.cumsum(d)
        day -= (day[first] - t[first])[owner]
        km -= (km[first] - d[first])[owner]
        shuffled = rng.permutation(owner.size)
        return Fleet(owner[shuffled], day[shuffled], km[shuffled], group_of[owner][shuffled], rate, group_mean)

    return simulate
