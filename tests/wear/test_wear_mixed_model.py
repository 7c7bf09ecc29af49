"""The optimiser: starts do not matter, boundaries are said, and no saddle is taken for a minimum."""

import numpy as np
import pytest

from fleetwear.wear.criterion import Criterion
from fleetwear.wear.mixed_model import minimise, starting_theta
from fleetwear.wear.sums import reading_arrays


def criterion_of(seed, *, reml=True, level=False):
    """Small fleets of every sort: no spread, spread in one direction only, strong and weak correlation."""
    rng = np.random.default_rng(seed)
    lives, each = int(rng.integers(6, 80)), int(rng.integers(2, 6))
    life = np.repeat(np.arange(lives), each)
    x = rng.uniform(0.0, 2.0, lives * each)
    factor = np.array([[1.0, 0.0], [rng.normal(), abs(rng.normal())]]) * rng.choice([0.0, 0.3, 1.0, 3.0], (2, 1))
    b = rng.normal(size=(lives, 2)) @ factor.T
    y = b[life, 0] + (1.0 + b[life, 1]) * x + rng.normal(size=len(life)) * rng.choice([0.3, 1.0, 3.0])
    raw = reading_arrays(life, x, y, n_lives=lives).sums(1.0, 1.0)
    centre = raw.wg.sum() / raw.w.sum()
    sums = raw.without_growth() if level else raw.centred(centre, np.sqrt(raw.wgg.sum() / raw.w.sum() - centre**2))
    return Criterion(sums, np.zeros(lives, dtype=np.int64), 1, reml, level=level)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("reml", [True, False])
def test_starts_do_not_matter(seed, reml):
    criterion = criterion_of(seed, reml=reml)
    found = minimise(criterion, start=starting_theta(criterion.sums))
    assert found.converged
    rng = np.random.default_rng(1000 + seed)
    for _ in range(20):
        start = np.array([np.exp(rng.normal(0.0, 1.5)), 2.0 * rng.normal(), np.exp(rng.normal(0.0, 1.5))])
        other = minimise(criterion, start=start)
        # the deviance is flat to second order at its minimum, so it is good to rounding
        assert other.profile.deviance == pytest.approx(found.profile.deviance, rel=1e-8)
        np.testing.assert_allclose(other.relative_cov, found.relative_cov, atol=2e-3 + 2e-3 * abs(found.theta).max())


@pytest.mark.parametrize("seed", range(24))
def test_no_covariance_nearby_or_random_is_better(seed):
    criterion = criterion_of(seed)
    found = minimise(criterion, start=starting_theta(criterion.sums))
    rng = np.random.default_rng(2000 + seed)
    for size in (1e-3, 1e-2, 0.1, 1.0, 5.0):
        for _ in range(20):
            trial = criterion.profile(found.theta + size * rng.normal(size=3))
            assert trial.deviance >= found.profile.deviance - 1e-7


@pytest.mark.parametrize("start", [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)])
def test_a_start_on_a_saddle_is_left(start):
    """With a variance of zero the gradient by theta vanishes, whatever lies beside it."""
    criterion = criterion_of(3)
    best = minimise(criterion, start=starting_theta(criterion.sums))
    assert best.boundary == ""
    assert minimise(criterion, start=np.array(start)).profile.deviance == pytest.approx(best.profile.deviance, rel=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_a_good_start_takes_few_evaluations(seed):
    """Newton's steps double the digits: from the moments of 2,000 lives, no more than eight are needed."""
    rng = np.random.default_rng(seed)
    lives, life = 2_000, np.repeat(np.arange(2_000), 5)
    x = rng.uniform(-1.5, 1.5, len(life))
    b = rng.multivariate_normal([0.0, 0.0], [[16.0, 3.0], [3.0, 4.0]], lives) * rng.choice([0.2, 1.0])
    y = b[life, 0] + (1.0 + b[life, 1]) * x + rng.normal(size=len(life))
    sums = reading_arrays(life, np.maximum(x + 1.5, 0.0), y, n_lives=lives).sums(1.0, 1.0).centred(1.5, 1.0)
    found = minimise(Criterion(sums, np.zeros(lives, dtype=np.int64), 1, True), start=starting_theta(sums))
    assert found.evaluations <= 8
    assert np.abs(found.profile.gradient).max() < 1e-2
    further = found.theta - np.linalg.solve(found.profile.hessian, found.profile.gradient)
    np.testing.assert_allclose(found.theta, further, rtol=1e-5, atol=1e-5)


def test_without_finish_the_deviance_is_already_good():
    for seed in range(12):
        criterion = criterion_of(seed, reml=False)
        rough = minimise(criterion, start=starting_theta(criterion.sums), finish=False)
        fine = minimise(criterion, start=starting_theta(criterion.sums))
        assert rough.profile.deviance == pytest.approx(fine.profile.deviance, abs=1e-5)


def test_level_moves_only_the_intercept_variance():
    criterion = criterion_of(3, level=True)
    found = minimise(criterion, start=starting_theta(criterion.sums))
    assert found.converged
    assert found.theta[1] == found.theta[2] == 0.0
    values = [criterion.profile(np.array([a, 0.0, 0.0])).deviance for a in np.linspace(0.0, 5.0, 400)]
    assert found.profile.deviance <= min(values) + 1e-9


def test_signs_are_settled():
    criterion = criterion_of(3)
    found = minimise(criterion, start=np.array([-0.5, 0.3, -0.8]))
    assert found.theta[0] >= 0.0
    assert found.theta[2] >= 0.0


def test_starting_theta_of_fleets_with_two_readings_a_life():
    life = np.repeat(np.arange(30), 2)
    rng = np.random.default_rng(0)
    sums = reading_arrays(life, rng.uniform(0, 2, 60), rng.normal(size=60), n_lives=30).sums(1.0, 1.0)
    assert np.isfinite(starting_theta(sums)).all()
