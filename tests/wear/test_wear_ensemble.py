"""The results of "auto": a mixture of shapes that speaks like one fit."""

import numpy as np
import pandas as pd
import pytest

from fleetwear.errors import InputError
from fleetwear.wear import fit
from fleetwear.wear.ensemble import EnsembleResults
from fleetwear.wear.stacking import Weights


@pytest.fixture(scope="module")
def fleet(make_fleet):
    return make_fleet(1, lives=80, exponent=1.25, cohorts=("a", "b"))


@pytest.fixture(scope="module")
def results(fleet):
    return fit(*fleet.readings)


def test_weights(results):
    assert list(results.weights) == ["straight", "power", "two-stage", "wandering"]
    assert sum(results.weights.values()) == pytest.approx(1.0)
    assert results.shape == max(results.weights, key=results.weights.get)


def test_properties_are_those_of_the_best(results):
    best = results.fit_of(results.shape)
    assert results.best is best
    for name in ("params", "fixed_effects", "bse"):
        pd.testing.assert_series_equal(getattr(results, name), getattr(best, name))
    pd.testing.assert_frame_equal(results.cov_params(), best.cov_params())
    pd.testing.assert_frame_equal(results.conf_int(0.8), best.conf_int(0.8))
    pd.testing.assert_frame_equal(results.random_effects(), best.random_effects())
    pd.testing.assert_frame_equal(results.cov_re, best.cov_re)
    assert (results.loglik, results.llf, results.residual_variance) == (
        best.loglik,
        best.llf,
        best.residual_variance,
    )
    assert results.converged


def test_forecast_is_the_mixture(results):
    weights = {"straight": 0.3, "power": 0.7, "two-stage": 0.0, "wandering": 0.0}
    stacked = Weights(weights, results.stacked.by_cohort.iloc[:0], np.inf)
    mixed = EnsembleResults(results.fits, stacked, results.scores, results.scored_cohorts)
    parts = {name: results.fit_of(name).predict(np.arange(80), 3e5) for name in weights}
    mean = sum(weights[name] * parts[name]["mean"] for name in weights)
    second = sum(weights[name] * (parts[name]["se"] ** 2 + parts[name]["mean"] ** 2) for name in weights)
    table = mixed.predict(np.arange(80), 3e5)
    np.testing.assert_allclose(table["mean"], mean)
    np.testing.assert_allclose(table["se"], np.sqrt(second - mean**2), rtol=1e-6)
    each = {name: results.fit_of(name).crossing_probability(np.arange(80), 3e5, 1.2) for name in weights}
    np.testing.assert_allclose(
        mixed.crossing_probability(np.arange(80), 3e5, 1.2),
        sum(weights[name] * each[name] for name in weights),
    )
    # the interval's ends are quantiles of the mixture
    for column, probability in (("play_lower", 0.025), ("play_upper", 0.975)):
        over = [mixed.crossing_probability(j, 3e5, table[column][j])[0] for j in range(10)]
        np.testing.assert_allclose(over, 1 - probability, atol=1e-9)


def test_update_keeps_weights_and_gives_the_same(results, fleet):
    again = results.update(*fleet.readings)
    assert again.weights == results.weights
    pd.testing.assert_frame_equal(again.predict(np.arange(80), 2e5), results.predict(np.arange(80), 2e5), rtol=1e-7)


def test_refusals(results):
    with pytest.raises(InputError, match="straight, power, two-stage"):
        results.fit_of("level")
    with pytest.raises(InputError, match="level is 2"):
        results.predict(0, 1e5, level=2.0)
    with pytest.raises(InputError, match="not in these results"):
        results.crossing_probability("nobody", 1e5, 1.0)


def test_summary_has_both(results):
    text = results.summary()
    assert text.startswith("Weights by next-visit score: straight ")
    assert "shape straight" in text
    assert "shape power" in text


def test_few_lives_are_weighed_equally_and_said(make_fleet):
    fleet = make_fleet(2, lives=5, readings=(4, 4), noise=0.01)
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        results = fit(*fleet.readings)
    assert results.weights == dict.fromkeys(["straight", "power", "two-stage", "wandering"], pytest.approx(1 / 4))
    assert "count equally" in results.doubt


def test_what_is_said_of_a_fit_needs_no_lives(results):
    bare = results.without_lives()
    assert bare.weights == results.weights
    assert bare.learnt == results.learnt
    assert (bare.doubt, bare.converged, bare.summary()) == (results.doubt, results.converged, results.summary())
    pd.testing.assert_frame_equal(bare.cov_params(), results.cov_params())
    for name, fit_of_shape in results.fits.items():
        pd.testing.assert_frame_equal(bare.fits[name].cohorts, fit_of_shape.cohorts)
        assert bare.fits[name].n_groups == fit_of_shape.n_groups == 80
        assert not len(bare.fits[name].life_labels)
