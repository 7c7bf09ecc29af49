"""Weibull and lognormal lifetimes: likelihood in plain loops, known truth, intervals, and when they refuse."""

import math

import numpy as np
import pytest
from scipy import stats

from fleetwear.errors import FitError
from fleetwear.survival import Lifetimes, fit_distribution, fit_distributions


def visited(rng, true, cluster):
    """Return what visits at random distances tell of true lifetimes."""
    n = len(true)
    ends = np.column_stack([np.zeros(n), np.sort(rng.uniform(0.0, 160.0, (n, 6)), axis=1), np.full(n, np.inf)])
    before = (ends[:, 1:-1] < true[:, None]).sum(axis=1)
    rows = np.arange(n)
    return Lifetimes.of(ends[rows, before], ends[rows, before + 1], cluster)


def of_weibull(seed, n=300, each=1):
    rng = np.random.default_rng(seed)
    return visited(rng, 100.0 * rng.weibull(2.0, n), np.arange(n) // each)


def plain_loglik(name, shape, scale, lifetimes):
    def beyond(x):
        if x <= 0.0:
            return 1.0
        if math.isinf(x):
            return 0.0
        z = math.log(x / scale)
        return math.exp(-math.exp(z * shape)) if name == "Weibull" else 0.5 * math.erfc(z / shape / math.sqrt(2.0))

    return sum(math.log(beyond(a) - beyond(b)) for a, b in zip(lifetimes.lower, lifetimes.upper, strict=True))


@pytest.mark.parametrize("name", ["Weibull", "lognormal"])
def test_the_fit_is_the_maximum_of_the_likelihood_in_plain_loops(name):
    lifetimes = of_weibull(1)
    told = fit_distribution(lifetimes, name)
    best = plain_loglik(name, told.shape, told.scale, lifetimes)
    assert told.loglik == pytest.approx(best, abs=1e-8)
    for a, b in ((1.01, 1.0), (0.99, 1.0), (1.0, 1.01), (1.0, 0.99)):
        assert plain_loglik(name, told.shape * a, told.scale * b, lifetimes) < best


def test_known_parameters_are_found_and_the_right_family_is_likelier():
    told = fit_distributions(of_weibull(2, n=1500))
    assert [one.name for one in told] == ["Weibull", "lognormal"]
    assert told[0].shape == pytest.approx(2.0, abs=4.0 * math.sqrt(told[0].cov[0, 0]) * 2.0)
    assert told[0].scale == pytest.approx(100.0, rel=0.05)
    assert math.sqrt(told[0].cov[1, 1]) < 0.03


def test_intervals_hold_the_truth_about_as_often_as_they_say_where_lives_of_a_vehicle_are_alike():
    """40 vehicles of 4 parts that wear out together; 20 fleets."""
    truth, held, independent = 100.0 * (-math.log(0.9)) ** 0.5, 0, 0
    for seed in range(20):
        rng = np.random.default_rng(1000 + seed)
        common = rng.standard_normal(40).repeat(4)
        alike = stats.norm.cdf(0.8 * common + 0.6 * rng.standard_normal(160))
        lifetimes = visited(rng, 100.0 * np.sqrt(-np.log1p(-alike)), np.arange(160) // 4)
        _, low, high = fit_distribution(lifetimes, "Weibull").distance(0.1)
        held += low <= truth <= high
        alone = Lifetimes(lifetimes.lower, lifetimes.upper, np.arange(len(lifetimes)))
        _, low, high = fit_distribution(alone, "Weibull").distance(0.1)
        independent += low <= truth <= high
    assert held >= 17
    assert independent < held


@pytest.mark.parametrize(("name", "family"), [("Weibull", stats.weibull_min), ("lognormal", stats.lognorm)])
def test_shares_and_distances_are_those_of_scipy(name, family):
    told = fit_distribution(of_weibull(3), name)
    frozen = family(told.shape, scale=told.scale)
    at = np.array([20.0, 60.0, 140.0])
    middle, low, high = told.survival(at)
    assert middle == pytest.approx(frozen.sf(at))
    assert (low < middle).all()
    assert (middle < high).all()
    ends = told.distance(0.1)
    assert ends[0] == pytest.approx(frozen.ppf(0.1))
    assert ends[1] < ends[0] < ends[2]
    assert told.survival([ends[0]])[0] == pytest.approx([0.9])


def test_exact_lifetimes_have_the_density():
    rng = np.random.default_rng(4)
    exact = 50.0 * rng.weibull(3.0, 200)
    told = fit_distribution(Lifetimes.of(exact, exact), "Weibull")
    shape, _, scale = stats.weibull_min.fit(exact, floc=0)
    assert (told.shape, told.scale) == (pytest.approx(shape, rel=1e-3), pytest.approx(scale, rel=1e-3))
    assert told.loglik == pytest.approx(stats.weibull_min(shape, scale=scale).logpdf(exact).sum(), abs=1e-3)


def test_the_same_in_any_unit():
    lifetimes = of_weibull(5)
    far = fit_distribution(Lifetimes(lifetimes.lower * 1e3, lifetimes.upper * 1e3, lifetimes.cluster), "lognormal")
    near = fit_distribution(lifetimes, "lognormal")
    assert far.shape == pytest.approx(near.shape, rel=1e-6)
    assert far.scale == pytest.approx(1e3 * near.scale, rel=1e-6)


def test_too_few_crossings_or_vehicles_are_refused():
    few = Lifetimes.of([1.0] * 4 + [9.0] * 20, [2.0] * 4 + [np.inf] * 20)
    with pytest.raises(FitError, match="4 crossings of 4 clusters"):
        fit_distribution(few, "Weibull")
    two = Lifetimes.of(np.ones(8), np.full(8, 2.0), np.arange(8) % 2)
    with pytest.raises(FitError, match="8 crossings of 2 clusters"):
        fit_distribution(two, "Weibull")
    assert fit_distributions(few) == ()
