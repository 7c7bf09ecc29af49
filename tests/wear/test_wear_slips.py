"""Slipped setups: judged as Bayes' rule says, found in fleets that have them, harmless in fleets that have none."""

import itertools

import numpy as np
import pytest
from scipy import stats

from fleetwear import wear
from fleetwear.wear.judging import judge
from fleetwear.wear.methods import Methods
from fleetwear.wear.population import MeanLine, Population
from fleetwear.wear.reading_errors import ReadingErrors
from fleetwear.wear.shapes import Shape
from fleetwear.wear.slips import Slips
from fleetwear.wear.sums import reading_arrays

SIGMA = 0.04
SLIPS = Slips(0.05, -0.15, 0.02)
MEAN, COV_RE = np.array([0.1, 0.5]), np.array([[0.03**2, 0.0], [0.0, 0.15**2]])


def population():
    return Population(
        Shape("straight"), 0.0, 1.0, COV_RE / SIGMA**2, SIGMA**2, {"all": MeanLine(MEAN, np.zeros((2, 2)))}, {}, "",
        errors=ReadingErrors(Methods.one(), SLIPS),
    )  # fmt: skip


def exact(x, y):
    """Return the exact probabilities that readings slipped, and the exact mean line, by all 2^n histories."""
    n = len(x)
    Z = np.column_stack([np.ones(n), x])
    weight, slipped, lines = [], [], []
    for history in itertools.product((0, 1), repeat=n):
        h = np.array(history)
        shift, errors = SLIPS.shift * h, np.where(h == 1, SLIPS.variance, SIGMA**2)
        V = Z @ COV_RE @ Z.T + np.diag(errors)
        prior = h.sum() * np.log(SLIPS.share) + (n - h.sum()) * np.log1p(-SLIPS.share)
        weight.append(prior + stats.multivariate_normal.logpdf(y, Z @ MEAN + shift, V))
        gain = COV_RE @ Z.T @ np.linalg.inv(V)
        slipped.append(h)
        lines.append(MEAN + gain @ (y - Z @ MEAN - shift))
    w = np.exp(np.array(weight) - max(weight))
    w /= w.sum()
    return w @ np.array(slipped), w @ np.array(lines)


def test_judgement_is_near_the_exact_one():
    """Lives of seven readings, against all 128 histories. The error of the approximation, measured: over 60 lives the
    probability of a slip is off by at most 0.25 where the case is open, by 0.01 on average; lines by a tenth of sigma.
    """
    rng = np.random.default_rng(3)
    x = np.linspace(0.2, 1.4, 7)
    off, line_off = [], []
    for _ in range(60):
        line = rng.multivariate_normal(MEAN, COV_RE)
        y = line[0] + line[1] * x + rng.normal(0, SIGMA, 7)
        bad = rng.random(7) < 0.1
        y = y + np.where(bad, rng.normal(SLIPS.shift, np.sqrt(SLIPS.variance), 7), 0.0)
        readings = reading_arrays(np.zeros(7, dtype=np.int64), x, y, n_lives=1)
        fitted = population()
        prior = fitted.prior(["all"], np.array([0]))
        told = judge(fitted, fitted.errors, readings, prior)
        wanted, wanted_line = exact(x, y)
        off.append(np.abs(told.slipped - wanted))
        lines = fitted.know(fitted.sums_of(told.settled), prior).lines.mean[0]
        line_off.append(np.abs((lines - wanted_line) @ [1.0, 0.8]))
    assert np.mean(off) < 0.015
    assert np.max(off) < 0.35
    assert np.mean(line_off) < 0.1 * SIGMA


def test_readings_that_cannot_slip_are_left_as_they_are():
    rng = np.random.default_rng(4)
    x, y = np.tile([0.3, 0.9, 1.2], 5), rng.normal(0.5, 0.04, 15)
    readings = reading_arrays(np.repeat(np.arange(5), 3), x, y, n_lives=5)
    fitted = population()
    prior = fitted.prior(["all"], np.zeros(5, dtype=np.int64))
    told = judge(fitted, ReadingErrors(Methods.one(), Slips(1e-12, 0.0, SLIPS.variance)), readings, prior)
    assert told.slipped.max() < 0.01, "four standard deviations off is still next to impossible"
    assert told.settled.play == pytest.approx(readings.play, rel=1e-3)
    assert told.settled.variance_ratio == pytest.approx(readings.variance_ratio, rel=0.02)
    assert told.settled.count == pytest.approx(np.ones(15), abs=0.03)


def fleet(seed, *, slipping, lives=250):
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(lives), 7)
    x = np.sort(rng.uniform(5_000, 160_000, (lives, 7)), axis=1).ravel()
    b0, b1 = rng.normal(0.1, 0.03, lives), rng.normal(4e-6, 1e-6, lives)
    true = b0[life] + b1[life] * x
    bad = rng.random(len(x)) < slipping
    y = true + rng.normal(0, SIGMA, len(x)) + np.where(bad, rng.normal(-0.2, 0.1, len(x)), 0.0)
    return life, x, y, true, bad


def test_slips_are_found_and_no_longer_inflate_the_scatter():
    life, x, y, true, bad = fleet(1, slipping=0.04)
    plain = wear.fit(life, x, y, shape="straight")
    robust = wear.fit(life, x, y, shape="straight", slips=True)
    assert np.sqrt(plain.residual_variance) > 1.3 * SIGMA
    assert np.sqrt(robust.residual_variance) == pytest.approx(SIGMA, rel=0.05)
    found = robust.population.errors.slips
    assert found.share == pytest.approx(bad.mean(), abs=0.012)
    assert found.shift == pytest.approx(-0.2, abs=0.05)
    lives = np.arange(250)
    errors = []
    for results in (plain, robust):
        told = results.predict(lives, 1.7e5)["mean"].to_numpy()
        wanted = true[6::7] + 0.0
        errors.append(np.sqrt(np.mean((results.predict(lives, x[6::7])["mean"].to_numpy() - wanted) ** 2)))
        assert np.isfinite(told).all()
    assert errors[1] < 0.8 * errors[0]


def test_a_fleet_without_slips_is_fitted_nearly_as_if_errors_were_normal():
    life, x, y, _, _ = fleet(2, slipping=0.0)
    plain = wear.fit(life, x, y, shape="straight")
    robust = wear.fit(life, x, y, shape="straight", slips=True)
    assert robust.population.errors.slips.share < 0.02
    assert robust.residual_variance == pytest.approx(plain.residual_variance, rel=0.05)
    assert robust.fixed_effects.to_numpy() == pytest.approx(plain.fixed_effects.to_numpy(), rel=0.02)


def test_one_slipped_reading_does_not_swing_a_forecast():
    life, x, y, _, _ = fleet(3, slipping=0.03)
    results = wear.fit(life, x, y, shape="straight", slips=True)
    where, play = np.array([2e4, 5e4, 8e4, 1.1e5, 1.4e5]), np.array([0.18, 0.30, 0.42, 0.54, 0.66])
    clean = results.update(["a"] * 5, where, play).predict("a", 1.8e5)
    slipped = play.copy()
    slipped[3] -= 0.35
    dented = results.update(["a"] * 5, where, slipped).predict("a", 1.8e5)
    assert abs(dented["mean"][0] - clean["mean"][0]) < clean["se"][0]
    assert dented["se"][0] > 0.9 * clean["se"][0]


def test_update_with_the_fits_own_readings_gives_the_fits_lines():
    life, x, y, _, _ = fleet(4, slipping=0.03, lives=80)
    results = wear.fit(life, x, y, shape="straight", slips=True)
    again = results.update(life, x, y)
    told, before = again.predict(np.arange(80), 1e5), results.predict(np.arange(80), 1e5)
    assert np.abs(told["mean"] - before["mean"]).max() < 0.25 * before["se"].max()
