"""Results of one shape: what stands in them, in the reader's units, and what lives they know."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleetwear.errors import InputError
from fleetwear.wear import fit


@pytest.fixture(scope="module")
def fleet(make_fleet):
    return make_fleet(1, lives=80, cohorts=("k/a", "k/b", "k/c"))


@pytest.fixture(scope="module")
def results(fleet):
    return fit(*fleet.readings, shape="straight")


def test_statsmodels_words(results, fleet):
    assert results.params.index.names == ["cohort", "term"]
    assert results.params.index.tolist() == [(c, t) for c in ("k/a", "k/b", "k/c") for t in ("intercept", "growth")]
    pd.testing.assert_series_equal(results.params, results.fixed_effects)
    np.testing.assert_allclose(results.bse**2, np.diag(results.cov_params()))
    assert results.llf == results.loglik
    assert results.n_obs == len(fleet.life)
    assert results.n_groups == 80
    assert results.converged
    assert results.shape == "straight"
    assert results.exponent == 1.0
    assert results.reference_distance == 1.0
    parameters = 6 + 4
    assert results.aic == pytest.approx(2 * parameters - 2 * results.llf)
    assert results.bic == pytest.approx(np.log(len(fleet.life)) * parameters - 2 * results.llf)


def test_params_recover_the_truth(results):
    truth = np.array([[0.1 + 0.03 * k, 4e-6 + 5e-7 * k] for k in range(3)]).ravel()
    assert (np.abs(results.params - truth) < 3.5 * results.bse).all()


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95, 0.99])
def test_confidence_intervals_have_their_level(results, level):
    interval = results.conf_int(level)
    z = stats.norm.ppf(0.5 + level / 2)
    np.testing.assert_allclose(interval["upper"] - interval["lower"], 2 * z * results.bse)
    np.testing.assert_allclose((interval["upper"] + interval["lower"]) / 2, results.params)


@pytest.mark.parametrize("level", [0.0, 1.0, 95.0, -0.1, float("nan")])
def test_levels_that_are_none(results, level):
    with pytest.raises(InputError, match="level"):
        results.conf_int(level)
    with pytest.raises(InputError, match="level"):
        results.predict(0, 1e5, level=level)


def test_forecast_table(results):
    table = results.predict([0, 1, 2], [1e5, 2e5, 3e5], level=0.9)
    assert table.columns.tolist() == [
        "life", "distance", "mean", "se", "play_lower", "play_upper", "reading_lower", "reading_upper",
        "doubt",
    ]  # fmt: skip
    assert table["life"].tolist() == [0, 1, 2]
    z = stats.norm.ppf(0.95)
    np.testing.assert_allclose(table["play_upper"], table["mean"] + z * table["se"])
    sd = np.sqrt(table["se"] ** 2 + results.residual_variance)
    np.testing.assert_allclose(table["reading_lower"], table["mean"] - z * sd)
    assert (table["doubt"] == "").all()


def test_one_life_at_many_distances(results):
    table = results.predict(3, [1e5, 2e5])
    assert table["life"].tolist() == [3, 3]


def test_crossing_probability_is_the_normal_tail(results):
    table = results.predict(np.arange(80), 2.5e5)
    got = results.crossing_probability(np.arange(80), 2.5e5, 1.1)
    np.testing.assert_allclose(got, stats.norm.sf(1.1, table["mean"], table["se"]), rtol=1e-9)
    each = results.crossing_probability([4, 5], 2.5e5, [0.9, 1.3])
    np.testing.assert_allclose(each, stats.norm.sf([0.9, 1.3], table["mean"][4:6], table["se"][4:6]), rtol=1e-9)


def test_limits_that_are_none(results):
    with pytest.raises(InputError, match="limit"):
        results.crossing_probability([0, 1], 1e5, float("nan"))
    with pytest.raises(InputError, match="limit"):
        results.crossing_probability([0, 1], 1e5, [1.0, 1.0, 1.0])


def test_random_effects(results, fleet):
    effects = results.random_effects()
    assert effects.index.name == "life"
    assert effects.columns.tolist() == ["cohort", "intercept", "growth", "intercept_se", "growth_se"]
    assert effects["cohort"].tolist() == fleet.cohort[np.unique(fleet.life, return_index=True)[1]].tolist()
    line = results.cohorts.loc[effects["cohort"], ["intercept", "growth"]].to_numpy()
    far = line[:, 0] + effects["intercept"] + (line[:, 1] + effects["growth"]) * 3e5
    np.testing.assert_allclose(results.predict(effects.index, 3e5)["mean"], far, rtol=1e-9)
    # effects shrink: their spread is less than the spread between lives
    assert effects["growth"].std() < np.sqrt(results.cov_re.loc["growth", "growth"])


def test_update_with_the_same_readings_is_the_fit(results, fleet):
    again = results.update(*fleet.readings)
    pd.testing.assert_frame_equal(again.predict(np.arange(80), 2e5), results.predict(np.arange(80), 2e5), rtol=1e-8)
    pd.testing.assert_frame_equal(again.random_effects(), results.random_effects(), rtol=1e-6)


def test_update_knows_only_its_own_lives(results):
    updated = results.update(["new"] * 2, [1e4, 9e4], [0.2, 0.5], ["k/a"] * 2)
    assert len(updated.random_effects()) == 1
    with pytest.raises(InputError, match="life 0 is not in these results"):
        updated.predict(0, 1e5)
    assert updated.residual_variance == results.residual_variance


def test_update_draws_a_life_toward_its_readings(results):
    for offset in (-0.3, 0.3):
        base = results.update(["new"], [1e5], [0.5], ["k/a"])
        moved = results.update(["new"], [1e5], [0.5 + offset], ["k/a"])
        change = moved.predict("new", 1e5)["mean"][0] - base.predict("new", 1e5)["mean"][0]
        assert 0.0 < change / offset < 1.0


def test_unknown_life_and_bad_distances(results):
    with pytest.raises(InputError, match="update"):
        results.predict("nobody", 1e5)
    for bad in (-1.0, np.nan, np.inf):
        with pytest.raises(InputError, match="distance"):
            results.predict(0, bad)
    with pytest.raises(InputError, match="3 lives and 2 distances"):
        results.predict([0, 1, 2], [1e5, 2e5])


def test_fit_of(results):
    assert results.fit_of("straight") is results
    assert results.weights == {"straight": 1.0}
    with pytest.raises(InputError, match="straight"):
        results.fit_of("power")


def test_level_has_no_growth(make_fleet):
    fleet = make_fleet(2, lives=50, beta=np.array([[0.5, 0.0]]), sd=(0.1, 1e-12))
    results = fit(*fleet.readings, shape="level")
    assert results.params.index.get_level_values("term").tolist() == ["intercept"]
    assert results.cov_re.shape == (1, 1)
    assert "growth" not in results.random_effects()
    assert results.cov_params().shape == (1, 1)
    near, far = results.predict(np.arange(50), 1e4), results.predict(np.arange(50), 1e7)
    np.testing.assert_allclose(near["mean"], far["mean"])
    assert (results.cohorts["growth"] == 0.0).all()


def test_summary_says_what_was_fitted(results):
    text = results.summary()
    for word in (
        "shape straight", "REML", f"readings {results.n_obs}", "lives 80", f"{results.loglik:.4f}",
        "converged yes",
        "k/a", "k/c", "growth", "std error", "lower", "upper", "correlation", "residual standard deviation",
        f"{results.params.iloc[0]:.6g}", f"{results.residual_variance**0.5:.6g}",
    ):  # fmt: skip
        assert word in text


def test_power_summary_says_its_exponent(make_fleet):
    results = fit(*make_fleet(3, exponent=1.5, lives=80).readings, shape="power")
    assert f"exponent {results.exponent:.3f}" in results.summary()


@pytest.mark.parametrize("level", [0.8, 0.95])
def test_prediction_intervals_cover(make_fleet, level):
    """The next true play and the next reading of 12 fleets of 80 lives, lives straight in truth."""
    rng = np.random.default_rng(0)
    play = reading = n = 0
    for seed in range(12):
        fleet = make_fleet(100 + seed, lives=80)
        results = fit(*fleet.readings, shape="straight")
        truth = fleet.line[:, 0] + fleet.line[:, 1] * 260_000.0
        table = results.predict(np.arange(80), 260_000.0, level=level)
        play += ((table["play_lower"] < truth) & (truth < table["play_upper"])).sum()
        again = truth + rng.normal(0.0, 0.03, 80)
        reading += ((table["reading_lower"] < again) & (again < table["reading_upper"])).sum()
        n += 80
    # lives of one fleet share its estimates, so the binomial standard error is taken half as large again
    slack = 3 * 1.5 * np.sqrt(level * (1 - level) / n)
    assert play / n == pytest.approx(level, abs=slack)
    assert reading / n == pytest.approx(level, abs=slack)
