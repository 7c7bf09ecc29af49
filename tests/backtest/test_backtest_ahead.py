"""Forecasts of many readings at once against one series at a time, draws, and the results that they come from."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleetwear.backtest import ahead
from fleetwear.backtest.ahead import QUANTILES, as_read, forecast_readings, readings_at
from fleetwear.forecast.curves import growth_curve
from fleetwear.wear.methods import ASSUMED_OFFSET

N = 40


@pytest.fixture(scope="module")
def lines():
    """1 to 6 components for each of 40 series, number 7 without any; rows in no order."""
    rng = np.random.default_rng(5)
    series = np.repeat(np.arange(N), np.where(np.arange(N) == 7, 0, rng.integers(1, 7, N)))
    n = len(series)
    sd_intercept, sd_growth = rng.uniform(0.01, 0.1, n), rng.uniform(0.005, 0.05, n)
    two_stage = rng.random(n) < 0.4
    frame = pd.DataFrame(
        {
            "series": series,
            "shift_km": np.where(rng.random(n) < 0.3, rng.uniform(0, 8e4, n), 0.0),
            "weight": rng.uniform(0.1, 1.0, n),
            "intercept": rng.normal(0.15, 0.05, n),
            "growth": rng.uniform(0.02, 0.1, n),
            "var_intercept": sd_intercept**2,
            "cov_cross": -0.3 * sd_intercept * sd_growth,
            "var_growth": sd_growth**2,
            "exponent": np.where(two_stage, 1.0, rng.uniform(0.7, 1.6, n)),
            "reference_km": 10_000.0,
            "pace": np.where(two_stage, rng.uniform(2.0, 6.0, n), 1.0),
            "onset_km": np.where(two_stage, rng.uniform(0, 1e5, n), 0.0),
            "residual_variance": rng.uniform(0.02, 0.06, n) ** 2,
            "wander_mm2_per_km": np.where(rng.random(n) < 0.5, rng.uniform(0.0, 1e-7, n), 0.0),
            "from_km": rng.uniform(0, 5e4, n),
            "offset_mm": 0.0,
            "noise_ratio": 1.0,
        }
    )
    frame["weight"] /= frame.groupby("series")["weight"].transform("sum")
    return frame.sample(frac=1.0, random_state=1).reset_index(drop=True)


@pytest.fixture(scope="module")
def asked():
    rng = np.random.default_rng(6)
    order = rng.permutation(N)
    return order, rng.uniform(0, 1.2e5, N), rng.uniform(0.4, 1.0, N), rng.uniform(0.1, 1.2, N)


def test_many_series_at_once_are_forecast_as_one_at_a_time(lines, asked, monkeypatch):
    monkeypatch.setattr(ahead, "_BLOCK", 7)
    series, distance, limit, observed = asked
    found = forecast_readings(lines, series, distance, limit, observed)
    for row, number in enumerate(series):
        own = lines[lines["series"] == number]
        if own.empty:
            assert np.isnan([found.p_over[row], found.mean[row], found.sd[row], found.crps[row]]).all()
            continue
        curve = growth_curve(own, distance[[row]]).iloc[0]
        assert found.mean[row] == pytest.approx(curve["play_mm"], rel=1e-10)
        assert found.quantiles[row, 0] == pytest.approx(curve["reading_lower"], abs=1e-9)
        assert found.quantiles[row, -1] == pytest.approx(curve["reading_upper"], abs=1e-9)
        narrow = growth_curve(own, distance[[row]], level=0.8).iloc[0]
        assert found.quantiles[row, 1] == pytest.approx(narrow["reading_lower"], abs=1e-9)


def test_probabilities_and_spread_are_those_of_a_plain_loop(lines, asked):
    series, distance, limit, observed = asked
    rng = np.random.default_rng(8)
    n = len(lines)
    lines = lines.assign(offset_mm=rng.normal(0, 0.1, n), noise_ratio=rng.uniform(0.3, 3.0, n))
    found = forecast_readings(lines, series, distance, limit, observed)
    for row, number in enumerate(series):
        if number == 7:
            continue
        p, first, second = 0.0, 0.0, 0.0
        for line in lines[lines["series"] == number].itertuples():
            run = distance[row] + line.shift_km
            g = (run / 1e4) ** line.exponent + (line.pace - 1) * max(run - line.onset_km, 0.0) / 1e4
            mean = line.intercept + line.growth * g + line.offset_mm
            variance = line.var_intercept + 2 * g * line.cov_cross + g * g * line.var_growth
            variance += line.wander_mm2_per_km * abs(run - line.from_km) + line.residual_variance * line.noise_ratio
            p += line.weight * stats.norm.sf(limit[row], mean, np.sqrt(variance))
            first += line.weight * mean
            second += line.weight * (variance + mean**2)
        assert found.p_over[row] == pytest.approx(p, rel=1e-9, abs=1e-12)
        assert found.sd[row] == pytest.approx(np.sqrt(second - first**2), rel=1e-9)


def test_probability_mean_spread_quantiles_and_crps_are_those_of_draws(lines, asked):
    series, distance, limit, observed = asked
    found = forecast_readings(lines, series, distance, limit, observed)
    rng = np.random.default_rng(7)
    for row in (0, 3, 11, 25):
        own = lines[lines["series"] == series[row]]
        picked = own.iloc[rng.choice(len(own), 100_000, p=own["weight"])]
        lean = picked["cov_cross"] / picked["var_growth"]
        a = rng.standard_normal(100_000) * np.sqrt(picked["var_growth"])
        left = np.sqrt(picked["var_intercept"] - lean**2 * picked["var_growth"])
        intercept = picked["intercept"] + lean * a + left * rng.standard_normal(100_000)
        run = distance[row] + picked["shift_km"]
        g = (run / 1e4) ** picked["exponent"] + (picked["pace"] - 1) * np.maximum(run - picked["onset_km"], 0) / 1e4
        read = intercept + (picked["growth"] + a) * g
        noise = picked["residual_variance"] + picked["wander_mm2_per_km"] * np.abs(run - picked["from_km"])
        read = (read + rng.standard_normal(100_000) * np.sqrt(noise)).to_numpy()
        assert found.p_over[row] == pytest.approx((read > limit[row]).mean(), abs=0.006)
        assert found.mean[row] == pytest.approx(read.mean(), abs=0.02 * read.std())
        assert found.sd[row] == pytest.approx(read.std(), rel=0.02)
        assert [(read <= q).mean() for q in found.quantiles[row]] == pytest.approx(QUANTILES, abs=0.006)
        apart = np.abs(read - observed[row]).mean() - 0.5 * np.abs(read - rng.permutation(read)).mean()
        assert found.crps[row] == pytest.approx(apart, abs=0.02 * read.std())


def test_components_that_fill_up_weigh_nothing(lines):
    ordered = lines.sort_values("series", kind="stable")
    parts = readings_at(ordered, np.array([0, 1, 2]), np.array([1e4, 2e4, 3e4]))
    count = ordered["series"].value_counts()
    assert (parts.weight > 0).sum(axis=1).tolist() == [count[k] for k in range(3)]
    assert parts.weight.sum(axis=1) == pytest.approx(np.ones(3))


def test_a_reading_is_forecast_in_the_way_in_which_it_is_taken(lines):
    """Ways of two groups and two shapes; a way that a group has not seen is its reference's, wider."""

    def methods(names, reference, offset, ratio):
        return SimpleNamespace(names=names, reference=reference, offset=np.array(offset), ratio=np.array(ratio))

    def fit(*args):
        return SimpleNamespace(population=SimpleNamespace(errors=SimpleNamespace(methods=methods(*args))))

    a = {"straight": fit(["bar", "lever"], 1, [0.05, 0.0], [2.0, 1.0]), "power": fit(["bar"], 0, [0.0], [1.0])}
    b = {"straight": SimpleNamespace(population=SimpleNamespace(errors=None))}
    shapes = pd.DataFrame(
        {"series": [0, 0, 1, 2, 3], "shape": ["straight", "power", "straight", "straight", "straight"]}
    )
    knowledge = SimpleNamespace(lines=shapes, group=np.array(["a", "a", "a", "b"], dtype=object))
    fleet = SimpleNamespace(knowledge=knowledge, groups={"a": SimpleNamespace(fits=a), "b": SimpleNamespace(fits=b)})
    read = as_read(fleet, np.array([0, 1, 2, 3]), ["bar", "rocked", None, "bar"])
    assert read["offset_mm"].tolist() == [0.05, 0.0, 0.0, 0.0, 0.0]
    assert read["noise_ratio"].tolist() == [2.0, 1.0, 1.0 + ASSUMED_OFFSET**2, 1.0, 1.0]
