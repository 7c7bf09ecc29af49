"""Two-stage wear: sums of every onset and pace, the mixture's likelihood and its climb, onsets beyond the records."""

import numpy as np
import pytest
from scipy import stats

from fleetwear import wear
from fleetwear.errors import InputError
from fleetwear.wear.onset import GRID, TwoStage, mix, onset_grid, onset_sums
from fleetwear.wear.sums import reading_arrays
from fleetwear.wear.two_stage import TwoStagePopulation, beyond_records

PACE = 5.0


def fleet(n_lives, seed, *, visits=7, noise=0.038, onset_shape=2.5):
    """Return readings of lives that wear five times as fast from an onset of their own on, and the onsets."""
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(n_lives), visits)
    x = np.sort(rng.uniform(5_000, 160_000, (n_lives, visits)), axis=1).ravel()
    intercept = rng.normal(0.1, 0.03, n_lives)
    growth = 2e-6 * np.exp(0.35 * rng.normal(size=n_lives))
    onset = rng.weibull(onset_shape, n_lives) * 150_000
    true = intercept[life] + growth[life] * (x + (PACE - 1) * np.maximum(x - onset[life], 0))
    return life, x, true + rng.normal(0, noise, len(x)), onset, (intercept, growth)


@pytest.fixture(scope="module")
def fitted():
    life, x, y, onset, truth = fleet(400, 1)
    return wear.fit(life, x, y, shape="two-stage", reml=False), (life, x, y, onset, truth)


def test_sums_of_any_pace_are_those_of_the_bent_growth():
    life, x, y, _, _ = fleet(12, 3)
    v = np.random.default_rng(4).uniform(0.5, 3.0, len(x))
    readings = reading_arrays(life, x, y, n_lives=12, variance_ratio=v)
    onsets, reference, pace = np.array([0.0, 40_000.0, 90_000.0, np.inf]), 70_000.0, 3.7
    sums = onset_sums(readings, onsets, reference).at(pace)
    for j in range(12):
        own = readings.life == j
        for c, onset in enumerate(onsets):
            t = readings.distance[own]
            g = (t + (pace - 1) * np.maximum(t - onset, 0)) / reference
            w, play = 1 / readings.variance_ratio[own], readings.play[own]
            row = 4 * j + c
            wanted = {"w": w, "wg": w * g, "wgg": w * g * g, "wy": w * play, "wgy": w * g * play, "wyy": w * play**2}
            for name, values in wanted.items():
                assert getattr(sums, name)[row] == pytest.approx(values.sum(), rel=1e-12), name


def test_earlier_sums_are_those_of_the_shortened_life():
    life, x, y, _, _ = fleet(5, 5)
    readings = reading_arrays(life, x, y, n_lives=5)
    onsets = np.array([0.0, 60_000.0, np.inf])
    past = onset_sums(readings, onsets, 1e5, earlier=True).at(4.0)
    for i in range(len(x)):
        j = readings.life[i]
        short = (readings.life == j) & (readings.distance < readings.distance[i])
        alone = reading_arrays(
            np.zeros(short.sum(), dtype=np.int64), readings.distance[short], readings.play[short], n_lives=1
        )
        wanted = onset_sums(alone, onsets, 1e5).at(4.0)
        assert past.wgy[3 * i : 3 * i + 3] == pytest.approx(wanted.wgy, abs=1e-12)
        assert past.wgg[3 * i : 3 * i + 3] == pytest.approx(wanted.wgg, abs=1e-12)


def test_a_fleet_that_fails_and_then_wears_fast_is_found_out(fitted):
    results, (_, _, _, onset, _) = fitted
    population = results.population
    assert isinstance(population, TwoStagePopulation)
    assert population.pace == pytest.approx(PACE, rel=0.1), "rates are log-normal here, and 400 lives are few"
    assert np.sqrt(results.residual_variance) == pytest.approx(0.038, rel=0.05)
    assert results.fixed_effects["all"]["intercept"] == pytest.approx(0.1, abs=0.006)
    assert results.converged
    # onset distribution at three quarter points of the records, against the sample that was drawn
    for at in (40_000, 80_000, 120_000):
        told = population.onset_weights[population.onset_grid <= at].sum()
        assert told == pytest.approx(np.mean(onset <= at), abs=0.06)
    assert population.onset_weights.sum() == pytest.approx(1.0)


def test_the_marginal_likelihood_is_that_of_quadrature_over_the_line(fitted):
    """One life under several onsets: the closed form against a double integral over the line, to 1e-6.

    The integrand is smooth and dies out inside the grid, where the trapezoidal rule converges exponentially.
    """
    results, (life, x, y, _, _) = fitted
    population = results.population
    H, line = population.to_user(), population.mean_line("all")[0]
    mean, cov = H @ line.mean, results.cov_re.to_numpy()
    own = life == 7
    t, play = x[own], y[own]
    readings = reading_arrays(np.zeros(own.sum(), dtype=np.int64), t, play, n_lives=1)
    each = population.prior(["all"], np.zeros(len(population.onset_grid), dtype=np.int64))
    flat = population.sums_of(readings).at(population.pace)
    closed = population.log_marginal(flat, each)
    knots = np.linspace(-9.0, 9.0, 1201)
    for c in (4, 12, 24, -1):
        g = (t + (population.pace - 1) * np.maximum(t - population.onset_grid[c], 0)) / results.reference_distance
        Z = np.column_stack([np.ones_like(g), g])
        V = np.linalg.inv(np.linalg.inv(cov) + Z.T @ Z / results.residual_variance)
        centre = V @ (np.linalg.solve(cov, mean) + Z.T @ play / results.residual_variance)
        L = np.linalg.cholesky(V)
        u, w = np.meshgrid(knots, knots, indexing="ij")
        b0, b1 = centre[0] + L[0, 0] * u, centre[1] + L[1, 0] * u + L[1, 1] * w
        log_joint = stats.multivariate_normal.logpdf(np.stack([b0, b1], axis=-1), mean, cov)
        for gi, yi in zip(g, play, strict=True):
            log_joint = log_joint + stats.norm.logpdf(yi, b0 + b1 * gi, np.sqrt(results.residual_variance))
        highest = log_joint.max()
        step = (knots[1] - knots[0]) ** 2 * L[0, 0] * L[1, 1]
        wanted = highest + np.log(np.exp(log_joint - highest).sum() * step)
        assert closed[c] == pytest.approx(wanted, abs=1e-6)


def test_every_round_of_the_climb_raises_the_likelihood_or_nearly():
    life, x, y, _, _ = fleet(150, 11)
    deviances = []
    real = TwoStage.__init__

    def spy(self, *args, **kwargs):
        real(self, *args, **kwargs)
        deviances.append(self.deviance)

    TwoStage.__init__ = spy
    try:
        results = wear.fit(life, x, y, shape="two-stage", reml=False)
    finally:
        TwoStage.__init__ = real
    assert deviances[-1] <= min(deviances[:-1]) + 0.1
    straight = wear.fit(life, x, y, shape="straight", reml=False)
    assert results.loglik > straight.loglik + 100


def test_forecasts_of_two_stage_wear_cover_and_call(fitted):
    results, _ = fitted
    life, x, y, onset, (intercept, growth) = fleet(400, 2)
    seen = np.tile(np.arange(7) < 5, 400)
    known = results.update(life[seen], x[seen], y[seen])
    ahead = np.array([x[life == j][5] for j in range(400)])
    true = intercept + growth * (ahead + (PACE - 1) * np.maximum(ahead - onset, 0))
    told = known.predict(np.arange(400), ahead, level=0.9)
    inside = (true >= told["play_lower"]) & (true <= told["play_upper"])
    assert inside.mean() == pytest.approx(0.9, abs=4 * np.sqrt(0.9 * 0.1 / 400))
    p = known.crossing_probability(np.arange(400), ahead, 0.8)
    over = true > 0.8
    assert np.mean((p - over) ** 2) < 0.25 * np.mean((over.mean() - over) ** 2)
    assert p.sum() == pytest.approx(over.sum(), abs=4 * np.sqrt((p * (1 - p)).sum()) + 3)


def test_update_with_the_fits_own_readings_changes_nothing(fitted):
    results, (life, x, y, _, _) = fitted
    again = results.update(life, x, y)
    assert again.posterior.shares == pytest.approx(results.posterior.shares)
    assert again.random_effects()["growth"].to_numpy() == pytest.approx(results.random_effects()["growth"].to_numpy())


def test_shares_are_bayes_rule():
    log_density = np.log(np.array([[0.2, 0.6, 0.0 + 1e-300], [0.1, 0.1, 0.1]]))
    total, shares = mix(log_density, np.array([0.5, 0.25, 0.25]))
    assert np.exp(total) == pytest.approx([0.25, 0.1])
    assert shares[0] == pytest.approx([0.4, 0.6, 0.0])
    assert shares[1] == pytest.approx([0.5, 0.25, 0.25])


def test_the_weight_of_later_is_spread_beyond_the_records_at_the_last_hazard(fitted):
    results, _ = fitted
    population = results.population
    grid, weights = population.onset_grid, population.onset_weights
    assert len(grid) == 2 * GRID + 1
    assert np.all(np.diff(grid) > 0)
    survive = 1 - np.cumsum(weights)
    beyond = survive[GRID:-1] / survive[GRID - 1 : -2]
    assert beyond == pytest.approx(np.full(GRID, beyond[0]))
    n = len(onset_grid(1.0)[:-1]) // 3
    assert beyond[0] ** n == pytest.approx(survive[GRID - 1] / survive[GRID - 1 - n], rel=1e-6)
    found = TwoStage(2.0, np.append(np.zeros(GRID), 1.0), None, None, 0.0, True, None)
    assert beyond_records(onset_grid(1.0), found)[1][-1] == pytest.approx(1.0)


def test_a_restricted_likelihood_is_refused_in_words():
    life, x, y, _, _ = fleet(60, 1)
    with pytest.raises(InputError, match="no restricted likelihood is defined"):
        wear.fit(life, x, y, shape="two-stage", reml=True)
    with pytest.raises(InputError, match="no restricted"):
        wear.fit(life, x, y, shape="straight", reml=True, slips=True)
    with pytest.raises(InputError, match="no restricted"):
        wear.fit(life, x, y, shape="straight", reml=True, result=["none seen", *["measured"] * (len(x) - 1)])
    assert not wear.fit(life, x, y, shape="two-stage").reml
