"""Spread among lives and the interval of their mean: plain loops, known truth, edges."""

import math

import numpy as np
import pytest
from scipy import stats

from fleetwear.wear.spread import group_sums, mixture_density, mixture_quantiles, spread_of


@pytest.fixture
def lives():
    rng = np.random.default_rng(7)
    group, vehicle = rng.integers(0, 3, 80), rng.integers(0, 15, 80)
    return rng.normal(2.0, 0.5, 80), rng.uniform(0.01, 0.3, 80), group, vehicle


def test_the_same_as_plain_loops(lives):
    mean, variance, group, vehicle = lives
    found = spread_of(group_sums(*lives, n_groups=3))
    for g in range(3):
        rows = [i for i in range(80) if group[i] == g]
        middle = sum(mean[i] for i in rows) / len(rows)
        clusters = sorted({vehicle[i] for i in rows})
        scatter = sum(sum(mean[i] - middle for i in rows if vehicle[i] == c) ** 2 for c in clusters)
        unknown = sum(sum(math.sqrt(variance[i]) for i in rows if vehicle[i] == c) ** 2 for c in clusters)
        of_mean = (scatter * len(clusters) / (len(clusters) - 1) + unknown) / len(rows) ** 2
        half = stats.t.ppf(0.975, len(clusters) - 1) * math.sqrt(of_mean)
        assert (found.n[g], found.n_clusters[g]) == (len(rows), len(clusters))
        assert (found.mean[g], found.lower[g], found.upper[g]) == pytest.approx((middle, middle - half, middle + half))
        between = sum((mean[i] - middle) ** 2 for i in rows) / (len(rows) - 1)
        within = sum(variance[i] for i in rows) / len(rows)
        assert found.between[g] == pytest.approx(math.sqrt(between))
        assert found.within[g] == pytest.approx(math.sqrt(within))
        assert found.spread[g] == pytest.approx(math.sqrt(between + within))


def test_spread_and_interval_are_true_where_means_are_shrunken():
    """Lives of variance 1 about 5, of which 0.4 lies between vehicles, read with errors of variance 0.5."""
    held, spreads = 0, []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        true = 5.0 + math.sqrt(0.4) * rng.standard_normal(30).repeat(4) + math.sqrt(0.6) * rng.standard_normal(120)
        read = true + math.sqrt(0.5) * rng.standard_normal(120)
        shrunk = 5.0 + (read - 5.0) / 1.5
        found = spread_of(
            group_sums(shrunk, np.full(120, 0.5 / 1.5), np.zeros(120, int), np.arange(120) // 4, n_groups=1)
        )
        held += found.lower[0] <= 5.0 <= found.upper[0]
        spreads.append(found.spread[0])
        assert found.between[0] < found.spread[0]
    assert held >= 188
    assert np.mean(spreads) == pytest.approx(1.0, abs=0.03)


def test_one_vehicle_has_no_interval_and_an_empty_group_no_mean():
    found = spread_of(group_sums(np.array([1.0, 2.0]), np.zeros(2), np.array([0, 0]), np.array([4, 4]), n_groups=2))
    assert found.mean[0] == 1.5
    assert np.isnan(found.lower[0])
    assert found.n.tolist() == [2, 0]
    assert np.isnan(found.mean[1])


def test_the_mixture_of_the_lives_is_summed_and_inverted(lives):
    mean, variance, group, _ = lives
    at = np.linspace(0.0, 4.0, 9)
    wanted = [np.mean([stats.norm.pdf(x, m, math.sqrt(v)) for m, v in zip(mean, variance, strict=True)]) for x in at]
    assert mixture_density(mean, variance, at) == pytest.approx(wanted)
    points = mixture_quantiles(mean, variance, group, np.array([0.05, 0.5, 0.95]), n_groups=3)
    for g in range(3):
        own = group == g
        for point, share in zip(points[g], (0.05, 0.5, 0.95), strict=True):
            below = [stats.norm.cdf(point, m, math.sqrt(v)) for m, v in zip(mean[own], variance[own], strict=True)]
            assert np.mean(below) == pytest.approx(share, abs=1e-9)
