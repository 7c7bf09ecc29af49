"""Mixtures of normals against scipy and numeric inversion."""

import numpy as np
import pytest
from scipy import optimize, stats

from fleetwear.wear.prediction import Components


@pytest.fixture(scope="module")
def mixture():
    rng = np.random.default_rng(0)
    weight = rng.dirichlet(np.ones(3), 12)
    return Components(3 * rng.normal(size=(12, 3)), rng.uniform(0.01, 2, (12, 3)), rng.uniform(0, 1, (12, 3)), weight)


@pytest.mark.parametrize("reading", [False, True])
def test_tails_equal_a_loop(mixture, reading):
    limit = np.linspace(-2, 2, 12)
    got = mixture.exceeds(limit, reading=reading)
    for i in range(12):
        sd = np.sqrt(mixture.variance[i] + (mixture.noise[i] if reading else 0))
        assert got[i] == pytest.approx((mixture.weight[i] * stats.norm.sf(limit[i], mixture.mean[i], sd)).sum())


@pytest.mark.parametrize("reading", [False, True])
@pytest.mark.parametrize("probability", [0.001, 0.025, 0.5, 0.9, 0.999])
def test_quantiles_equal_numeric_inversion(mixture, probability, reading):
    got = mixture.quantile(probability, reading=reading)
    for i in range(12):
        sd = np.sqrt(mixture.variance[i] + (mixture.noise[i] if reading else 0))

        def excess(x, i=i, sd=sd):
            return (mixture.weight[i] * stats.norm.cdf(x, mixture.mean[i], sd)).sum() - probability

        assert got[i] == pytest.approx(optimize.brentq(excess, -50, 50, xtol=1e-13), abs=1e-9)


def test_quantiles_of_mixtures_far_apart_leave_what_is_asked_beyond():
    """Components of all scales and weights, so that Newton's steps fail where the density is next to nothing."""
    rng = np.random.default_rng(5)
    weight = rng.dirichlet(np.full(4, 0.2), 4000)
    scale = 10.0 ** rng.uniform(-6, 6, (4000, 4))
    hard = Components(scale * rng.normal(size=(4000, 4)), scale**2 * 10.0 ** rng.uniform(-8, 2, (4000, 4)),
                      np.zeros((4000, 4)), weight)  # fmt: skip
    for probability in (0.001, 0.025, 0.5, 0.975):
        beyond = hard.exceeds(hard.quantile(probability))
        assert np.abs(beyond - (1.0 - probability)).max() < 1e-8


def test_a_step_among_components_is_found():
    mean, variance = np.array([[1.0, 3.0]]), np.array([[0.0, 0.04]])
    mixed = Components(mean, variance, np.zeros((1, 2)), np.array([[0.6, 0.4]]))
    assert mixed.quantile(0.5)[0] == pytest.approx(1.0, abs=1e-9)


def test_moments_equal_a_loop(mixture):
    mean, sd = mixture.moments()
    for i in range(12):
        m = (mixture.weight[i] * mixture.mean[i]).sum()
        second = (mixture.weight[i] * (mixture.variance[i] + mixture.mean[i] ** 2)).sum()
        assert mean[i] == pytest.approx(m)
        assert sd[i] == pytest.approx(np.sqrt(second - m * m))


def test_one_component_is_a_normal():
    one = Components(np.array([[1.0]]), np.array([[4.0]]), np.array([[5.0]]), np.ones((1, 1)))
    assert one.quantile(0.975)[0] == pytest.approx(stats.norm.ppf(0.975, 1, 2))
    assert one.quantile(0.975, reading=True)[0] == pytest.approx(stats.norm.ppf(0.975, 1, 3))


def test_no_variance_is_a_step():
    sure = Components(np.array([[1.0], [1.0], [1.0]]), np.zeros((3, 1)), np.zeros((3, 1)), np.ones((3, 1)))
    assert sure.exceeds(np.array([0.9, 1.0, 1.1])).tolist() == [1.0, 0.0, 0.0]


def test_far_tails_keep_their_digits():
    one = Components(np.array([[0.0]]), np.array([[1.0]]), np.zeros((1, 1)), np.ones((1, 1)))
    assert one.exceeds(np.array([12.0]))[0] == pytest.approx(stats.norm.sf(12.0), rel=1e-9)
