"""Lateness fractions and their conditional draws against plain loops."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import kstest

from fleetwear.errors import InputError
from fleetwear.usage import draw_lateness, lateness_fractions
from fleetwear.usage.lateness import EARLIEST_FRACTION, LATEST_FRACTION, lateness_quantiles


def loop_fractions(vehicle, day, km, every_km, every_days):
    found = []
    for v in sorted(set(vehicle.tolist())):
        mine = np.flatnonzero(vehicle == v)
        mine = mine[np.argsort(day[mine])]
        for a, b in pairwise(mine):
            parts = [(km[b] - km[a]) / every_km[a], (day[b] - day[a]) / every_days[a]]
            parts = [part for part in parts if not np.isnan(part)]
            if parts and EARLIEST_FRACTION <= max(parts) <= LATEST_FRACTION:
                found.append(max(parts))
    return np.array(found)


def test_fractions_equal_the_plain_loop():
    rng = np.random.default_rng(1)
    n = 300
    vehicle = rng.integers(0, 60, n)
    day = rng.permutation(n) * 5.0
    km = day * 80 + rng.normal(0, 300, n)
    every_km = rng.choice([20_000.0, 30_000.0, np.nan], n)
    every_days = rng.choice([180.0, 365.0, np.nan], n)
    km[rng.random(n) < 0.1] = np.nan
    found = lateness_fractions(vehicle, day, km, every_km, every_days)
    expected = loop_fractions(vehicle, day, km, every_km, every_days)
    assert 50 < found.size < n
    np.testing.assert_allclose(found, expected)


def test_the_interval_is_that_of_the_service_before():
    found = lateness_fractions(
        ["a", "a"], [0, 110], [1000, 9000], [10_000, np.nan], [100, 500]
    )  # 8,000 of 10,000 km; 110 of 100 days
    np.testing.assert_allclose(found, [1.1])


def test_absurd_fractions_and_doubles_are_dropped():
    day = [0, 0, 10, 300, 400]
    found = lateness_fractions(["a"] * 5, day, [np.nan] * 5, [np.nan] * 5, [100.0] * 5)
    np.testing.assert_allclose(found, [1.0])  # 0 (one day), 0.1 and 2.9 are dropped
    assert lateness_fractions([], [], [], [], []).size == 0
    with pytest.raises(InputError, match="shapes"):
        lateness_fractions(["a"], [0, 1], [0], [1], [1])


def test_draws_equal_the_plain_loop():
    quantiles = np.array([0.7, 0.9, 1.0, 1.0, 1.0, 1.1, 1.4])
    used = np.array([[0.0, 0.7, 0.95, 1.0], [1.05, 1.39, 1.4, 2.0]])
    found = draw_lateness(quantiles, used, rng=np.random.default_rng(7))
    uniform = 1.0 - np.random.default_rng(7).random(used.shape)
    for index in np.ndindex(used.shape):
        u = used[index]
        below = 0.0  # the share of the distribution at or below u
        for i in range(6):
            a, b = quantiles[i], quantiles[i + 1]
            below += (1.0 if b <= u else (u - a) / (b - a) if a < u else 0.0) / 6
        level = (below + (1 - below) * uniform[index]) * 6
        i = min(int(level), 5)
        expected = quantiles[i] + (level - i) * (quantiles[i + 1] - quantiles[i])
        assert found[index] == pytest.approx(max(expected, u))
    assert found[1, 2] == 1.4
    assert found[1, 3] == 2.0


def test_draws_follow_the_conditional_distribution():
    rng = np.random.default_rng(3)
    quantiles = np.sort(rng.normal(1.0, 0.1, 400))
    used = np.full(5000, 1.05)
    found = draw_lateness(quantiles, used, rng=rng)
    assert found.min() > 1.05
    level = np.linspace(0, 1, 400)
    at = np.interp(1.05, quantiles, level)
    assert kstest(found, lambda f: (np.interp(f, quantiles, level) - at) / (1 - at)).pvalue > 1e-3


def test_few_fractions_take_the_assumed_ones_and_say_so():
    quantiles, doubt = lateness_quantiles([1.0] * 9)
    assert "only 9 services" in doubt
    assert np.median(quantiles) == pytest.approx(1.0)
    assert np.log(quantiles).std() == pytest.approx(0.15, rel=0.02)
    quantiles, doubt = lateness_quantiles([1.2, 1.0] * 5)
    assert doubt == ""
    np.testing.assert_array_equal(quantiles, [1.0] * 5 + [1.2] * 5)
    with pytest.raises(InputError, match="above 0"):
        lateness_quantiles([1.0, np.nan, -1.0])
