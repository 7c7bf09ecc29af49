"""Wear that wanders about its line: against dense matrices, and against another Kalman filter."""

import numpy as np
import pytest
from statsmodels.tsa.statespace.structural import UnobservedComponents

from fleetwear import wear
from fleetwear.wear.criterion import log_marginals
from fleetwear.wear.population import MeanLine
from fleetwear.wear.shapes import Shape
from fleetwear.wear.sums import reading_arrays
from fleetwear.wear.wandering import Filter, WanderingPopulation

WANDER, SIGMA2 = 3.0, 0.04**2
MEAN, MEAN_COV = np.array([0.1, 0.5]), np.array([[0.002, 0.0005], [0.0005, 0.004]])
T = np.array([[1.2, 0.3], [0.3, 9.0]])


def readings(seed=0, lives=12):
    """Ragged lives, some visits with two strokes."""
    rng = np.random.default_rng(seed)
    counts = rng.integers(1, 8, lives)
    life = np.repeat(np.arange(lives), counts)
    x = np.concatenate([np.sort(rng.choice(np.linspace(0.05, 1.8, 9), n)) for n in counts])
    return reading_arrays(
        life, x, 0.1 + 0.5 * x + rng.normal(0, 0.1, len(x)), n_lives=lives,
        variance_ratio=rng.choice([1.0, 3.0], len(x)),
    )  # fmt: skip


def covariance(x, v):
    """Of path and error over sigma2."""
    return np.diag(v) + WANDER * np.minimum.outer(x, x)


def population(centre=0.7, spread=0.4, mean_cov=MEAN_COV):
    """The same line in coordinates that are not x itself."""
    to_solver = np.array([[1.0, centre], [0.0, spread]])
    lines = {"all": MeanLine(to_solver @ MEAN, to_solver @ mean_cov @ to_solver.T)}
    return WanderingPopulation(
        Shape("wandering"), centre, spread, to_solver @ T @ to_solver.T, SIGMA2, lines, {}, "", WANDER
    )


def lives_of(every):
    for j in range(every.n_lives):
        rows = every.life == j
        yield j, every.distance[rows], every.play[rows], every.variance_ratio[rows]


def test_sums_equal_dense_matrices():
    every = readings()
    sums = Filter(every, WANDER, 1.0).sums(earlier=False).base
    for j, x, y, v in lives_of(every):
        inverse = np.linalg.inv(covariance(x, v))
        columns = np.stack([np.ones_like(x), x, y])
        wanted = columns @ inverse @ columns.T
        found = [sums.w[j], sums.wg[j], sums.wgg[j], sums.wy[j], sums.wgy[j], sums.wyy[j]]
        np.testing.assert_allclose(found, wanted[[0, 0, 1, 0, 1, 2], [0, 1, 1, 2, 2, 2]], rtol=1e-9)
        assert sums.log_v[j] == pytest.approx(np.linalg.slogdet(covariance(x, v))[1], rel=1e-9, abs=1e-12)


def test_log_likelihood_equals_another_kalman_filter():
    """statsmodels' local level model with regression on a line, visits evenly spaced; its first state is B(dx)."""
    n, dx = 9, 0.2
    x = dx * np.arange(1, n + 1)
    y = 0.1 + 0.5 * x + np.random.default_rng(3).normal(0, 0.08, n)
    every = reading_arrays(np.zeros(n, dtype=np.int64), x, y, n_lives=1)
    sums = Filter(every, WANDER, 1.0).sums(earlier=False).base
    ours = log_marginals(sums, np.zeros((2, 2)), MEAN[None, :], SIGMA2)[0]
    theirs = UnobservedComponents(y - MEAN @ [np.ones(n), x], "llevel")
    theirs.ssm.initialize_known(np.zeros(1), np.array([[WANDER * SIGMA2 * dx]]))
    theirs.ssm.loglikelihood_burn = 0
    assert ours == pytest.approx(theirs.loglike([SIGMA2, WANDER * SIGMA2 * dx]), rel=1e-9)


@pytest.mark.parametrize("ahead", [0.0, 0.3, 2.0])
def test_forecasts_equal_dense_matrices(ahead):
    """Play ahead of the last reading, from the joint normal of line, path and readings."""
    every = readings(1)
    people = population(mean_cov=np.zeros((2, 2)))
    known = people.know(people.sums_of(every), people.prior(["all"], np.zeros(12, dtype=np.int64)))
    cov_line = SIGMA2 * T
    for j, x, y, v in lives_of(every):
        at = x[-1] + ahead
        Z, z = np.stack([np.ones_like(x), x], axis=1), np.array([1.0, at])
        V = SIGMA2 * covariance(x, v) + Z @ cov_line @ Z.T
        cross = Z @ cov_line @ z + SIGMA2 * WANDER * np.minimum(x, at)
        gain = np.linalg.solve(V, cross)
        mean, variance, _ = known.at(people.coordinates(np.array([at])), np.array([j]))
        assert mean[0, 0] == pytest.approx(z @ MEAN + gain @ (y - Z @ MEAN), rel=1e-8)
        wanted = z @ cov_line @ z + SIGMA2 * WANDER * at - gain @ cross
        assert variance[0, 0] == pytest.approx(wanted, rel=1e-7)


def test_what_was_known_before_each_reading_equals_dense_matrices():
    every = readings(2)
    people = population(mean_cov=np.zeros((2, 2)))
    prior = people.prior(["all"], np.zeros(len(every.life), dtype=np.int64))
    known = people.know(people.sums_of(every, earlier=True), prior)
    mean, variance, _ = known.at(people.coordinates(every.distance))
    cov_line = SIGMA2 * T
    for i in range(len(every.life)):
        rows = (every.life == every.life[i]) & (every.distance < every.distance[i])
        x, y, v, at = every.distance[rows], every.play[rows], every.variance_ratio[rows], every.distance[i]
        z = np.array([1.0, at])
        Z = np.stack([np.ones_like(x), x], axis=1)
        V = SIGMA2 * covariance(x, v) + Z @ cov_line @ Z.T
        cross = Z @ cov_line @ z + SIGMA2 * WANDER * np.minimum(x, at)
        gain = np.linalg.solve(V, cross) if len(x) else np.zeros(0)
        assert mean[i, 0] == pytest.approx(z @ MEAN + gain @ (y - Z @ MEAN), rel=1e-8)
        assert variance[i, 0] == pytest.approx(z @ cov_line @ z + SIGMA2 * WANDER * at - gain @ cross, rel=1e-7)


def test_the_cavity_of_a_reading_leaves_it_out():
    every = readings(4)
    people = population()  # the mean line is uncertain here, and tied to each life
    mean, variance, _ = people.cavity(every, people.prior(["all"], np.zeros(12, dtype=np.int64)))
    cov_line = SIGMA2 * T + MEAN_COV
    for i in range(len(every.life)):
        rows = (every.life == every.life[i]) & (np.arange(len(every.life)) != i)
        x, y, v, at = every.distance[rows], every.play[rows], every.variance_ratio[rows], every.distance[i]
        z, Z = np.array([1.0, at]), np.stack([np.ones_like(x), x], axis=1)
        V = SIGMA2 * covariance(x, v) + Z @ cov_line @ Z.T
        cross = Z @ cov_line @ z + SIGMA2 * WANDER * np.minimum(x, at)
        gain = np.linalg.solve(V, cross) if len(x) else np.zeros(0)
        assert mean[i, 0] == pytest.approx(z @ MEAN + gain @ (y - Z @ MEAN), rel=1e-6)
        wanted = z @ cov_line @ z + SIGMA2 * WANDER * at - gain @ cross
        assert variance[i, 0] == pytest.approx(wanted, rel=1e-6)


def fleet(seed, wander, lives=300, visits=7):
    rng = np.random.default_rng(seed)
    gaps = rng.uniform(6_000, 26_000, (lives, visits))
    x = np.cumsum(gaps, axis=1)
    path = np.cumsum(wander * np.sqrt(gaps) * rng.standard_normal(gaps.shape), axis=1)
    line = np.array([0.1, 5e-6]) + rng.normal(size=(lives, 2)) * [0.03, 1.5e-6]
    true = line[:, [0]] + line[:, [1]] * x + path
    life = np.repeat(np.arange(lives), visits)
    return life, x.ravel(), (true + 0.04 * rng.standard_normal(true.shape)).ravel(), true


def test_wandering_is_found_and_forecast_better():
    """A path of 0.0005 mm per sqrt(km): its variance per km to a fifth; its intervals cover, those of lines do not."""
    life, x, y, _ = fleet(1, 0.0005)
    results = wear.fit(life, x, y)
    wanders = results.fit_of("wandering")
    assert wanders.population.wander_variance == pytest.approx(0.0005**2, rel=0.25)
    assert np.sqrt(wanders.residual_variance) == pytest.approx(0.04, rel=0.1)
    assert results.weights["wandering"] > 0.5
    life, x, y, true = fleet(2, 0.0005)
    early = np.tile(np.arange(7) < 5, 300)
    inside = {}
    for name in ("wandering", "straight"):
        told = results.fit_of(name).update(life[early], x[early], y[early]).predict(np.arange(300), x[5::7])
        inside[name] = np.mean((true[:, 5] > told["play_lower"]) & (true[:, 5] < told["play_upper"]))
    assert inside["wandering"] == pytest.approx(0.95, abs=0.03)
    assert inside["straight"] < 0.9


def test_wear_that_keeps_to_its_line_shows_no_wandering():
    life, x, y, _ = fleet(3, 0.0)
    wanders = wear.fit(life, x, y, shape="wandering")
    straight = wear.fit(life, x, y, shape="straight")
    assert wanders.population.wander_variance < 0.1 * 0.0005**2
    far = [one.predict(np.arange(300), 2e5)["mean"] for one in (wanders, straight)]
    np.testing.assert_allclose(far[0], far[1], atol=0.02)
