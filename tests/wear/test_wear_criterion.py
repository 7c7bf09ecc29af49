"""The profiled criterion against a dense normal likelihood, and its derivatives against differences."""

import numpy as np
import pytest

from fleetwear.wear import blocks
from fleetwear.wear.criterion import Criterion, marginalise, relative_covariance
from fleetwear.wear.sums import reading_arrays


def problem(seed, *, groups=3, lives=17, level=False):
    rng = np.random.default_rng(seed)
    count = rng.integers(1, 6, lives)
    life = np.repeat(np.arange(lives), count)
    x = rng.uniform(0.0, 2.0, len(life))
    v = rng.choice([0.5, 1.0, 3.0], len(life))
    y = 0.3 + rng.normal(size=lives)[life] + (0.0 if level else 0.7) * x + rng.normal(size=len(life)) * np.sqrt(v)
    return life, x, y, v, np.arange(lives) % groups


def sums_of(life, x, y, v, *, level):
    sums = reading_arrays(life, x, y, n_lives=life.max() + 1, variance_ratio=v).sums(1.0, 1.0)
    return sums.without_growth() if level else sums


THETAS = [
    (1.0, 0.3, 0.7),
    (0.2, -0.8, 1e-3),
    (2.0, 0.0, 0.0),
    (1e-4, 0.5, 0.4),
    (0.0, 0.0, 0.0),
    (3.0, -2.0, 5.0),
]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("level", [False, True])
@pytest.mark.parametrize("known_variance", [None, 0.6])
def test_equals_the_dense_likelihood(seed, reml, level, known_variance, dense):
    life, x, y, v, cohort = problem(seed, level=level)
    criterion = Criterion(
        sums_of(life, x, y, v, level=level), cohort, 3, reml, level=level, known_variance=known_variance
    )
    for theta in THETAS:
        theta = np.array(theta) * ([1.0, 0.0, 0.0] if level else 1.0)
        T = relative_covariance(theta)
        expected, beta, sigma2 = dense(
            life, x, y, v, cohort[life], T, reml=reml, level=level, known_variance=known_variance
        )
        profile = criterion.profile(theta)
        # both are double precision over some 50 readings: rounding only
        assert profile.deviance == pytest.approx(expected, rel=1e-10)
        assert profile.sigma2 == pytest.approx(sigma2, rel=1e-10)
        np.testing.assert_allclose(profile.beta[:, : beta.shape[1]], beta, rtol=1e-8, atol=1e-10)


def test_one_cohort_equals_the_dense_likelihood(dense):
    life, x, y, v, _ = problem(9, groups=1)
    criterion = Criterion(sums_of(life, x, y, v, level=False), np.zeros(17, dtype=np.int64), 1, True)
    for theta in THETAS:
        expected, _, _ = dense(life, x, y, v, np.zeros_like(life), relative_covariance(np.array(theta)), reml=True)
        assert criterion.profile(np.array(theta)).deviance == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("known_variance", [None, 0.6])
@pytest.mark.parametrize("level", [False, True])
def test_gradient_equals_central_differences(reml, known_variance, level):
    life, x, y, v, cohort = problem(5, level=level)
    criterion = Criterion(
        sums_of(life, x, y, v, level=level), cohort, 3, reml, level=level, known_variance=known_variance
    )
    rng = np.random.default_rng(0)
    thetas = [np.array(theta) for theta in THETAS] + [rng.normal(size=3) * 2.0 for _ in range(20)]
    for theta in thetas:
        theta = theta * ([1.0, 0.0, 0.0] if level else 1.0)
        expected = np.zeros(3)
        for k in range(1 if level else 3):
            step = np.zeros(3)
            step[k] = 1e-5
            ends = [criterion.profile(theta + sign * step).deviance for sign in (1.0, -1.0)]
            expected[k] = (ends[0] - ends[1]) / 2e-5
        # a central difference at 1e-5 keeps about ten digits of the deviance, six of its slope
        np.testing.assert_allclose(criterion.profile(theta).gradient, expected, rtol=2e-6, atol=2e-6)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("known_variance", [None, 0.6])
@pytest.mark.parametrize("level", [False, True])
def test_hessian_equals_central_differences_of_the_gradient(reml, known_variance, level):
    life, x, y, v, cohort = problem(5, level=level)
    criterion = Criterion(
        sums_of(life, x, y, v, level=level), cohort, 3, reml, level=level, known_variance=known_variance
    )
    rng = np.random.default_rng(0)
    for theta in [np.array(theta) for theta in THETAS] + [rng.normal(size=3) * 2.0 for _ in range(20)]:
        theta = theta * ([1.0, 0.0, 0.0] if level else 1.0)
        expected = np.zeros((3, 3))
        for k in range(1 if level else 3):
            step = np.zeros(3)
            step[k] = 1e-5
            ends = [criterion.profile(theta + sign * step).gradient for sign in (1.0, -1.0)]
            expected[k] = (ends[0] - ends[1]) / 2e-5
        hessian = criterion.profile(theta).hessian
        # as for the gradient: a difference at 1e-5 keeps six digits of the largest
        np.testing.assert_allclose(hessian, expected, rtol=1e-6, atol=1e-6 * max(1.0, np.abs(expected).max()))


@pytest.mark.parametrize("weighted", [False, True])
def test_blocks_and_the_order_of_lives_change_nothing(monkeypatch, weighted):
    """A few lives a block, blocks that end within a cohort, and cohorts in any order."""
    rng = np.random.default_rng(1)
    life, x, y, v, _ = problem(8, lives=60)
    cohort = rng.choice([0, 2, 3], 60, p=[0.7, 0.25, 0.05])
    cohort[:1] = 1
    sums = sums_of(life, x, y, v, level=False)
    weight = rng.uniform(0.1, 1.0, 60) if weighted else None
    theta = np.array([0.8, 0.3, 0.5])
    whole = Criterion(sums, cohort, 4, not weighted, weight=weight).profile(theta)
    monkeypatch.setattr(blocks, "_LENGTH", 7)
    order = rng.permutation(60)
    parts = Criterion(
        sums.take(order), cohort[order], 4, not weighted, weight=None if weight is None else weight[order]
    ).profile(theta)
    for name in ("deviance", "gradient", "hessian", "slope", "beta", "information", "sigma2"):
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=1e-11, atol=1e-9)


def test_a_weight_counts_lives_as_often():
    """Twice a life is one of weight two."""
    life, x, y, v, cohort = problem(4)
    sums, weight = sums_of(life, x, y, v, level=False), np.where(np.arange(17) % 3 == 0, 2.0, 1.0)
    twice = np.repeat(np.arange(17), weight.astype(int))
    theta = np.array([0.8, 0.3, 0.5])
    once = Criterion(sums, cohort, 3, False, weight=weight).profile(theta)
    often = Criterion(sums.take(twice), cohort[twice], 3, False).profile(theta)
    for name in ("deviance", "gradient", "hessian", "slope", "beta", "information", "sigma2"):
        np.testing.assert_allclose(getattr(once, name), getattr(often, name), rtol=1e-11, atol=1e-9)


@pytest.mark.parametrize("reml", [True, False])
def test_slope_is_the_derivative_by_the_covariance(reml, dense):
    life, x, y, v, cohort = problem(6)
    criterion = Criterion(sums_of(life, x, y, v, level=False), cohort, 3, reml)
    theta = np.array([0.8, 0.3, 0.5])
    T, slope = relative_covariance(theta), criterion.profile(theta).slope
    for change in (np.diag([1.0, 0.0]), np.diag([0.0, 1.0]), np.array([[0.0, 1.0], [1.0, 0.0]])):
        ends = [dense(life, x, y, v, cohort[life], T + s * change, reml=reml)[0] for s in (1e-5, -1e-5)]
        assert (slope * change).sum() == pytest.approx((ends[0] - ends[1]) / 2e-5, rel=1e-5, abs=1e-6)


def test_marginal_forms_equal_a_loop_over_lives():
    life, x, y, v, _ = problem(7)
    T = relative_covariance(np.array([0.9, -0.4, 0.3]))
    m = marginalise(sums_of(life, x, y, v, level=False), T)
    for j in range(17):
        rows = life == j
        Z = np.stack([np.ones(rows.sum()), x[rows]], axis=1)
        V = np.diag(v[rows]) + Z @ T @ Z.T
        inverse = np.linalg.inv(V)
        P, e = Z.T @ inverse @ Z, Z.T @ inverse @ y[rows]
        np.testing.assert_allclose([m.p11[j], m.p12[j], m.p22[j]], [P[0, 0], P[0, 1], P[1, 1]], rtol=1e-9)
        np.testing.assert_allclose([m.e1[j], m.e2[j]], e, rtol=1e-8, atol=1e-10)
        assert m.yy[j] == pytest.approx(y[rows] @ inverse @ y[rows], rel=1e-9)
        assert m.log_det[j] == pytest.approx(np.linalg.slogdet(V)[1] - np.log(v[rows]).sum(), abs=1e-9)
