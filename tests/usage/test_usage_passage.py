"""Passage times and distances against path simulation, quadrature and plain loops."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import invgauss, ks_2samp, kstest, norm

from fleetwear.usage import draw_crossing_days, draw_distance, draw_first_due

RATE, PHI2 = 100.0, 2.5e4


def simulate_first_due(rng, n, distance, days, *, steps_per_day=40):
    """Plain twin: fine paths of n vehicles, stopped at the distance or the date."""
    step = 1.0 / steps_per_day
    km, when = np.zeros(n), np.full(n, days)
    going = np.ones(n, dtype=bool)
    for k in range(1, int(days * steps_per_day) + 1):
        before = km[going]
        after = before + RATE * step + np.sqrt(PHI2 * step) * rng.standard_normal(before.size)
        # Between two points of the grid a path may touch the distance and come back.
        touched = np.exp(-2 * np.maximum(distance - before, 0) * np.maximum(distance - after, 0) / (PHI2 * step))
        hit = rng.random(before.size) < touched
        index = np.flatnonzero(going)
        km[index] = np.where(hit, distance, after)
        when[index[hit]] = (k - 0.5) * step
        going[index[hit]] = False
    return when, km, ~going


def test_crossing_days_follow_the_inverse_gaussian():
    days = draw_crossing_days(np.full(4000, RATE), PHI2, 3000.0, rng=np.random.default_rng(1))
    mean, shape = 3000.0 / RATE, 3000.0**2 / PHI2
    assert kstest(days, invgauss(mean / shape, scale=shape).cdf).pvalue > 1e-3


def test_crossing_days_equal_simulated_paths():
    rng = np.random.default_rng(2)
    when, _, reached = simulate_first_due(rng, 3000, 1500.0, 60.0)
    assert reached.mean() > 0.99
    days = draw_crossing_days(np.full(20000, RATE), PHI2, 1500.0, rng=rng)
    assert ks_2samp(when[reached], days[days < 60]).pvalue > 1e-3


def test_crossing_days_at_the_edges():
    days = draw_crossing_days(
        np.full((2, 5), 50.0),
        PHI2,
        np.array([[-3.0, 0.0, np.inf, np.nan, 1e-6]] * 2),
        rng=np.random.default_rng(0),
    )
    assert days.shape == (2, 5)
    assert (days[:, :2] == 0).all()
    assert np.isinf(days[:, 2]).all()
    assert np.isnan(days[:, 3]).all()
    assert (days[:, 4] >= 0).all()
    slow = draw_crossing_days(np.full(2000, 0.1), PHI2, 1.0, rng=np.random.default_rng(0))
    assert (slow >= 0).all()
    assert np.isfinite(slow).all()


def test_crossing_days_equal_the_plain_loop():
    rng = np.random.default_rng(9)
    rate, km = rng.uniform(20, 200, (3, 4)), rng.uniform(-500, 9000, (3, 4))
    found = draw_crossing_days(rate, PHI2, km, rng=np.random.default_rng(4))
    twin, expected = np.random.default_rng(4), np.zeros((3, 4))
    for i in range(3):
        for j in range(4):
            if km[i, j] > 0:
                expected[i, j] = twin.wald(km[i, j] / rate[i, j], km[i, j] ** 2 / PHI2)
    np.testing.assert_allclose(found, expected)


def test_distance_is_normal_above_zero():
    km = draw_distance(np.full((1, 4000), RATE), PHI2, np.array([[40.0]]), rng=np.random.default_rng(3))
    assert km.shape == (1, 4000)
    assert kstest(km.ravel(), norm(RATE * 40, np.sqrt(PHI2 * 40)).cdf).pvalue > 1e-3
    short = draw_distance(np.full(4000, RATE), PHI2, 1.0, rng=np.random.default_rng(3))
    assert short.min() == 0.0
    np.testing.assert_array_equal(draw_distance(np.ones(3), PHI2, 0.0, rng=np.random.default_rng(0)), 0.0)


@pytest.mark.parametrize(("distance", "days"), [(2000.0, 20.0), (3000.0, 22.0), (1500.0, 25.0)])
def test_first_due_equals_simulated_paths(distance, days):
    rng = np.random.default_rng(11)
    when, km, reached = simulate_first_due(rng, 6000, distance, days, steps_per_day=20)
    n = 30_000
    drawn_when, drawn_km, by_distance = draw_first_due(np.full(n, RATE), PHI2, distance, days, rng=rng)
    share = reached.mean()
    assert by_distance.mean() == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / 6000))
    assert ks_2samp(when[reached], drawn_when[by_distance]).pvalue > 1e-3
    assert (drawn_km[by_distance] == distance).all()
    assert (drawn_when[~by_distance] == days).all()
    assert ks_2samp(np.maximum(km[~reached], 0), drawn_km[~by_distance]).pvalue > 1e-3


def test_distance_at_the_date_follows_the_reflected_density():
    distance, days = 2500.0, 24.0
    _, km, by_distance = draw_first_due(np.full(40_000, RATE), PHI2, distance, days, rng=np.random.default_rng(5))
    found = km[~by_distance]

    def density(x):
        bridge = 1 - np.exp(-2 * distance * (distance - x) / (PHI2 * days))
        return norm(RATE * days, np.sqrt(PHI2 * days)).pdf(x) * bridge

    stays = quad(density, -8000, distance)[0]
    share = 1 - by_distance.mean()
    assert share == pytest.approx(stays, abs=4 * np.sqrt(stays * (1 - stays) / 40_000))
    mean = quad(lambda x: x * density(x), -8000, distance)[0] / stays
    square = quad(lambda x: x * x * density(x), -8000, distance)[0] / stays
    error = np.sqrt((square - mean**2) / found.size)
    assert found.mean() == pytest.approx(mean, abs=4 * error)
    # A truncated normal alone would be further off than that: the bridge matters.
    bound = (distance - RATE * days) / np.sqrt(PHI2 * days)
    truncated = RATE * days - np.sqrt(PHI2 * days) * norm.pdf(bound) / norm.cdf(bound)
    assert abs(truncated - mean) > 10 * error


def test_first_due_with_one_of_the_two():
    rng = np.random.default_rng(0)
    when, km, by_distance = draw_first_due(np.full((2, 3000), RATE), PHI2, np.inf, 30.0, rng=rng)
    assert not by_distance.any()
    assert (when == 30.0).all()
    assert kstest(km.ravel(), norm(3000, np.sqrt(PHI2 * 30)).cdf).pvalue > 1e-3
    when, km, by_distance = draw_first_due(np.full((2, 5), RATE), PHI2, 400.0, np.inf, rng=rng)
    assert by_distance.all()
    assert (km == 400.0).all()
    assert np.isfinite(when).all()
