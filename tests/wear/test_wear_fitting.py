"""The public calls: what they refuse, what they warn of, and units that pass through unchanged."""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleetwear.errors import DoubtfulFitWarning, FitError, InputError
from fleetwear.wear import EnsembleResults, WearResults, fit, fit_readings
from fleetwear.wear.labels import labelled_readings
from fleetwear.wear.search import search


def test_kinds_of_results(make_fleet):
    fleet = make_fleet(0, lives=40)
    assert isinstance(fit(*fleet.readings, shape="straight"), WearResults)
    assert isinstance(fit(*fleet.readings), EnsembleResults)


def test_unknown_shape(make_fleet):
    with pytest.raises(InputError, match='"straight"'):
        fit(*make_fleet(0).readings, shape="cubic")


def test_too_few_lives(make_fleet):
    fleet = make_fleet(0, lives=4)
    with pytest.raises(FitError, match="too few"):
        fit(*fleet.readings, shape="straight")


def test_too_few_repeat_readings():
    with pytest.raises(FitError, match="too few"):
        fit(np.arange(20), np.linspace(1, 9, 20), np.ones(20), shape="straight")


def test_all_readings_at_one_distance():
    life = np.repeat(np.arange(10), 3)
    play = np.random.default_rng(0).normal(1.0, 0.1, 30)
    for shape in ("straight", "power", "auto"):
        with pytest.raises(FitError, match='shape="level"'):
            fit(life, np.full(30, 5e4), play, shape=shape)
    assert fit(life + 0, np.full(30, 5e4), play + 0.2 * (life % 3), shape="level").converged


def test_all_distances_zero():
    life = np.repeat(np.arange(10), 3)
    with pytest.raises(FitError, match="one distance"):
        fit(life, np.zeros(30), np.random.default_rng(0).normal(size=30), shape="straight")


@pytest.mark.parametrize("shape", ["straight", "power", "auto", "level"])
def test_readings_without_scatter(shape):
    """Exact lines have no error variance; they are refused, not fitted to rounding."""
    rng = np.random.default_rng(0)
    life = np.repeat(np.arange(12), 4)
    distance = rng.uniform(1e4, 2e5, 48)
    growth = 0.0 if shape == "level" else (4e-6 + 1e-6 * rng.normal(size=12))[life] * distance
    with pytest.raises(FitError, match="without any scatter"):
        fit(life, distance, 0.1 + 0.02 * life + growth, shape=shape)


@pytest.mark.parametrize(
    ("place", "value", "word"),
    [
        ("distance", np.nan, "distance"),
        ("distance", -5.0, "distance"),
        ("play", np.nan, "play"),
        ("play", np.inf, "play"),
    ],
)
def test_values_that_cannot_be_taken(make_fleet, place, value, word):
    fleet = make_fleet(0)
    columns = {"distance": fleet.distance.copy(), "play": fleet.play.copy()}
    columns[place][7] = value
    with pytest.raises(InputError, match=word) as caught:
        fit(fleet.life, columns["distance"], columns["play"], shape="straight")
    assert caught.value.where == "reading 7"


def test_text_in_place_of_numbers(make_fleet):
    fleet = make_fleet(0)
    with pytest.raises(InputError, match="distance"):
        fit(fleet.life, [*fleet.distance[:-1], "twelve"], fleet.play, shape="straight")


def test_two_readings_a_life(make_fleet):
    results = fit(*make_fleet(1, lives=200, readings=(2, 2)).readings, shape="straight")
    assert results.converged


def test_ml_and_reml(make_fleet):
    fleet = make_fleet(2, lives=15)
    reml, ml = (fit(*fleet.readings, shape="straight", reml=reml) for reml in (True, False))
    assert reml.reml
    assert not ml.reml
    # maximum likelihood forgets that the line was estimated, so it finds less spread
    assert np.diag(ml.cov_re).sum() < np.diag(reml.cov_re).sum()
    assert "ML" in ml.summary()
    assert "REML" in reml.summary()


@pytest.mark.parametrize(
    ("sd", "corr", "word"),
    [
        ((0.0, 0.0), 0.0, "a variance ended on its boundary"),
        ((0.05, 1.5e-6), 1.0, "rise exactly together"),
        ((0.05, 1.5e-6), -1.0, "rise exactly"),
    ],
)
def test_boundaries_are_said_and_warned_of(make_fleet, sd, corr, word):
    """Of twenty simulated fleets with a true boundary, about half end on it, and those say so."""
    said = 0
    for seed in range(20):
        fleet = make_fleet(seed, lives=40, sd=sd, corr=corr)
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            results = fit(*fleet.readings, shape="straight")
        assert results.converged
        assert bool(results.doubt) == bool(caught)
        if results.doubt:
            assert caught[0].category is DoubtfulFitWarning
            assert caught[0].filename == __file__
            assert results.doubt in str(caught[0].message)
            assert results.doubt in results.summary()
            assert (results.predict(0, 1e5)["doubt"] == results.doubt).all()
            said += word in results.doubt
    assert 3 <= said <= 20


def test_a_fleet_with_spread_is_not_doubted(make_fleet):
    for seed in range(5):
        assert fit(*make_fleet(seed, lives=100).readings, shape="straight").doubt == ""


@settings(max_examples=8, deadline=None)
@given(
    c=st.floats(1e-3, 1e3),
    d=st.floats(1e-3, 1e3),
    shape=st.sampled_from(["straight", "power", "level"]),
    reml=st.booleans(),
)
def test_units_pass_through(make_fleet, c, d, shape, reml):
    fleet = make_fleet(11, lives=40, cohorts=("a", "b"), exponent=1.4 if shape == "power" else 1.0)
    if shape == "level":
        fleet.play[:] = fleet.play - fleet.line[fleet.life, 1] * fleet.distance
    one = fit(*fleet.readings, shape=shape, reml=reml)
    other = fit(fleet.life, fleet.distance * c, fleet.play * d, fleet.cohort, shape=shape, reml=reml)
    # the exponent is searched to 2e-4, everything else is exact to the optimiser's rest
    loose = 2e-3 if shape == "power" else 1e-6
    assert other.exponent == pytest.approx(one.exponent, rel=1e-3 if shape == "power" else 1e-12)
    per_distance = c if shape == "straight" else 1.0
    terms = [d, d / per_distance][: 1 if shape == "level" else 2]
    np.testing.assert_allclose(other.params, one.params * np.tile(terms, 2), rtol=loose)
    np.testing.assert_allclose(other.bse, one.bse * np.tile(terms, 2), rtol=10 * loose)
    np.testing.assert_allclose(other.cov_re, one.cov_re * np.outer(terms, terms), rtol=10 * loose)
    assert other.residual_variance == pytest.approx(one.residual_variance * d * d, rel=loose)
    before, after = one.predict(np.arange(9), 150_000.0), other.predict(np.arange(9), 150_000.0 * c)
    for column in ("mean", "se", "play_lower", "play_upper", "reading_lower", "reading_upper"):
        np.testing.assert_allclose(after[column], before[column] * d, rtol=5 * loose)
    np.testing.assert_allclose(
        other.crossing_probability(np.arange(9), 150_000.0 * c, 0.8 * d),
        one.crossing_probability(np.arange(9), 150_000.0, 0.8),
        atol=10 * loose,
    )
    # play in other units scales the density: N log d; REML also moves with the fixed effects' scale
    fixed = len(one.params) if reml else 0
    moved = -(one.n_obs - fixed) * np.log(d) - (2 * np.log(per_distance) if reml and shape != "level" else 0.0)
    assert other.loglik - one.loglik == pytest.approx(moved, abs=1e-3 if shape == "power" else 1e-6 * one.n_obs)


def test_shuffled_readings_give_the_same_fit(make_fleet):
    fleet = make_fleet(4, cohorts=("a", "b"))
    order = np.random.default_rng(0).permutation(len(fleet.life))
    one = fit(*fleet.readings, shape="power")
    other = fit(*(column[order] for column in fleet.readings), shape="power")
    assert other.loglik == pytest.approx(one.loglik, rel=1e-9)
    np.testing.assert_allclose(
        other.predict(np.arange(60), 2e5)["mean"], one.predict(np.arange(60), 2e5)["mean"], rtol=1e-5
    )


def test_variance_ratios_weigh_readings(make_fleet):
    """Two strokes of ratio 2 at one distance say what their mean says at ratio 1."""
    fleet = make_fleet(5, lives=40)
    twice = [np.repeat(column, 2) for column in fleet.readings[:3]]
    jitter = np.tile([0.01, -0.01], len(fleet.life))
    single = fit(*fleet.readings[:3], shape="straight")
    double = fit(twice[0], twice[1], twice[2] + jitter, shape="straight", variance_ratio=np.full(len(jitter), 2.0))
    np.testing.assert_allclose(double.params, single.params, rtol=0.02)
    exact = single.update(twice[0], twice[1], twice[2] + jitter, variance_ratio=np.full(len(jitter), 2.0))
    np.testing.assert_allclose(exact.random_effects()["growth"], single.random_effects()["growth"], rtol=1e-8)


def test_fit_readings_takes_anything_that_gives_sums(make_fleet):
    fleet = make_fleet(6, cohorts=("a", "b"))
    labelled = labelled_readings(*fleet.readings)
    one = fit(*fleet.readings, shape="straight")
    other = fit_readings(labelled.readings, labelled.lives, labelled.cohorts, labelled.cohort_codes, shape="straight")
    pd.testing.assert_series_equal(one.params, other.params)


def test_true_exponent_is_found(make_fleet):
    for true in (0.7, 1.6, 2.5):
        fleet = make_fleet(7, lives=150, exponent=true, noise=0.01)
        # se of the exponent in such fleets is about 0.02
        assert fit(*fleet.readings, shape="power").exponent == pytest.approx(true, abs=0.08)


def test_an_exponent_at_the_edge_is_doubted(make_fleet):
    fleet = make_fleet(8, lives=80, exponent=6.0, noise=0.01, longest=150_000.0)
    with pytest.warns(DoubtfulFitWarning, match="edge of its range"):
        fit(*fleet.readings, shape="power")


def test_exponents_of_folds_equal_a_search_over_the_whole_range(make_fleet, make_problem):
    fleet = make_fleet(9, lives=90, exponent=1.5, cohorts=("a", "b"))
    labelled = labelled_readings(*fleet.readings)
    for fold in range(5):
        keep = np.arange(90) % 5 != fold
        near, alone = (make_problem(labelled) for _ in range(2))
        near.estimate("power", None)
        found = near.estimate("power", keep)[0].shape.exponent
        # alone, nothing is known of all lives, so the whole range is searched, to 2e-4 of the logarithm
        assert found == pytest.approx(alone.estimate("power", keep)[0].shape.exponent, rel=1e-3)


def test_a_search_near_what_is_known():
    """Between five points a polynomial tells the minimum; where it lies outside, the whole span is searched."""
    near = 0.3 + 0.05 * np.arange(-2.0, 3.0)
    asked = []

    def deviance(centre):
        return lambda x: asked.append(x) or 7.0 + (x - centre) ** 2

    assert search(deviance(0.32), (-1.0, 2.0), near=near) == pytest.approx(0.32, abs=1e-4)
    assert len(asked) == 5
    assert search(deviance(0.9), (-1.0, 2.0), near=near) == pytest.approx(0.9, abs=1e-3)
    assert len(asked) > 10
