"""What is known of a life, against dense conditioning of a normal vector."""

import numpy as np
import pytest

from fleetwear.wear import fit
from fleetwear.wear.criterion import marginalise
from fleetwear.wear.population import Lines, MeanLine, Population, condition, parent_of
from fleetwear.wear.shapes import Shape
from fleetwear.wear.sums import LifeSums, reading_arrays

T = np.array([[0.8, -0.2], [-0.2, 0.5]])
V = np.array([[0.05, 0.01], [0.01, 0.09]])
MEAN = np.array([0.4, 1.3])
SIGMA2 = 0.36


def life_of(seed, n=4):
    rng = np.random.default_rng(seed)
    return rng.uniform(-1.5, 1.5, n), rng.normal(size=n), rng.choice([0.5, 1.0, 2.0], n)


def population(**changes):
    given = {
        "shape": Shape("straight"), "centre": 0.0, "spread": 1.0, "relative_cov": T,
        "residual_variance": SIGMA2,
        "lines": {"all": MeanLine(MEAN, V), "k": MeanLine(MEAN + 0.1, 2.0 * V)},
        "between": {0: 0.3 * np.eye(2), 1: 0.2 * np.eye(2)}, "doubt": "",
    }  # fmt: skip
    return Population(**(given | changes))


def sums_of(z, y, v):
    w = 1.0 / v
    return LifeSums(*(np.array([value]) for value in (
        float(len(z)), w.sum(), (w * z).sum(), (w * z * z).sum(), (w * y).sum(),
        (w * z * y).sum(), (w * y * y).sum(),
        np.log(v).sum(),
    )))  # fmt: skip


@pytest.mark.parametrize("n", [0, 1, 2, 5])
def test_condition_equals_dense_conditioning_on_a_known_mean(n):
    """Without uncertainty of the mean line: N(m, s2 T) conditioned on y."""
    z, y, v = life_of(n, n)
    lines, _ = condition(marginalise(sums_of(z, y, v), T), T, Lines(MEAN[None], np.zeros((1, 2, 2))), sigma2=SIGMA2)
    Z = np.stack([np.ones(n), z], axis=1)
    gain = T @ Z.T @ np.linalg.inv(Z @ T @ Z.T + np.diag(v))
    np.testing.assert_allclose(lines.mean[0], MEAN + gain @ (y - Z @ MEAN), rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(lines.cov[0], SIGMA2 * (T - gain @ Z @ T), rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("n", [1, 2, 5])
def test_posterior_of_a_fit_includes_the_uncertainty_of_the_mean_line(n):
    """The mean line is known to N(m, V) from all readings, those of the life included; given it, the life's
    line is normal and linear in it, so the law of total covariance gives both moments."""
    z, y, v = life_of(10 + n, n)
    lines, _ = population().posterior(sums_of(z, y, v), Lines(MEAN[None], V[None]))
    Z = np.stack([np.ones(n), z], axis=1)
    gain = T @ Z.T @ np.linalg.inv(Z @ T @ Z.T + np.diag(v))
    F = np.eye(2) - gain @ Z
    np.testing.assert_allclose(lines.mean[0], MEAN + gain @ (y - Z @ MEAN), rtol=1e-9)
    np.testing.assert_allclose(lines.cov[0], SIGMA2 * (T - gain @ Z @ T) + F @ V @ F.T, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize(
    ("cohort", "known", "extra"), [("k/new", "k", 0.2), ("new", "all", 0.3), ("new/x", "all", 0.5)]
)
def test_a_cohort_never_seen_takes_the_nearest_line_and_learns_from_its_own_lives(cohort, known, extra):
    """Its lives lie about the parent's line by s2 T plus the spread of cohorts: conditioning on that."""
    fitted = population()
    line, whose = fitted.mean_line(cohort)
    assert whose == known
    np.testing.assert_allclose(line.cov, fitted.lines[known].cov + extra * np.eye(2))
    z, y, v = life_of(21, 3)
    lines, _ = fitted.posterior(sums_of(z, y, v), fitted.prior([cohort], np.array([0])))
    Z, m = np.stack([np.ones(3), z], axis=1), fitted.lines[known].mean
    about = SIGMA2 * T + extra * np.eye(2)
    gain = about @ Z.T @ np.linalg.inv(Z @ about @ Z.T + SIGMA2 * np.diag(v))
    F = np.eye(2) - gain @ Z
    np.testing.assert_allclose(lines.mean[0], m + gain @ (y - Z @ m), rtol=1e-9)
    np.testing.assert_allclose(
        lines.cov[0], about - gain @ Z @ about + F @ fitted.lines[known].cov @ F.T, rtol=1e-9, atol=1e-12
    )


def test_seen_and_unseen_cohorts_together_are_as_each_alone():
    fitted = population()
    parts = [life_of(30 + j, 3) for j in range(4)]
    one = [sums_of(*part) for part in parts]
    whole = LifeSums(*(np.concatenate([getattr(s, f) for s in one]) for f in LifeSums.__dataclass_fields__))
    names = ["k", "k/new", "new"]
    codes = np.array([0, 1, 2, 0])
    lines, _ = fitted.posterior(whole, fitted.prior(names, codes))
    for j, code in enumerate(codes):
        alone, _ = fitted.posterior(one[j], fitted.prior([names[code]], np.array([0])))
        np.testing.assert_allclose(lines.mean[j], alone.mean[0], rtol=1e-12)
        np.testing.assert_allclose(lines.cov[j], alone.cov[0], rtol=1e-12)


def test_where_no_spread_between_cohorts_was_estimated_a_quarter_of_that_of_lives_is_assumed():
    fitted = population(between={})
    line, _ = fitted.mean_line("new")
    np.testing.assert_allclose(line.cov, V + 0.25 * SIGMA2 * T)


def test_log_marginal_is_the_dense_normal_density():
    from scipy import stats

    z, y, v = life_of(40, 4)
    Z = np.stack([np.ones(4), z], axis=1)
    for names, about in ((["all"], SIGMA2 * T), (["new"], SIGMA2 * T + 0.3 * np.eye(2))):
        fitted = population()
        got = fitted.log_marginal(sums_of(z, y, v), fitted.prior(names, np.array([0])))
        cov = Z @ about @ Z.T + SIGMA2 * np.diag(v)
        assert got[0] == pytest.approx(stats.multivariate_normal.logpdf(y, Z @ MEAN, cov), rel=1e-10)


def test_growth_effects_are_the_standardised_random_growth():
    z, y, v = life_of(50, 4)
    effect, reliability = population().growth_effects(sums_of(z, y, v), Lines(MEAN[None], V[None]))
    Z = np.stack([np.ones(4), z], axis=1)
    gain = T @ Z.T @ np.linalg.inv(Z @ T @ Z.T + np.diag(v))
    assert effect[0] == pytest.approx((gain @ (y - Z @ MEAN))[1] / np.sqrt(SIGMA2 * T[1, 1]), rel=1e-9)
    assert reliability[0] == pytest.approx((gain @ Z @ T)[1, 1] / T[1, 1], rel=1e-9)


def test_lines_at_equals_a_loop():
    rng = np.random.default_rng(0)
    factor = rng.normal(size=(5, 2, 2))
    lines = Lines(rng.normal(size=(5, 2)), factor @ np.swapaxes(factor, 1, 2))
    z = rng.normal(size=5)
    mean, variance = lines.at(z)
    for j in range(5):
        row = np.array([1.0, z[j]])
        assert mean[j] == pytest.approx(row @ lines.mean[j])
        assert variance[j] == pytest.approx(row @ lines.cov[j] @ row)


def test_results_on_the_readers_scale_equal_a_dense_fit_there(make_fleet):
    """BLUP and its covariance from the full matrices in raw distance, at the fitted covariances."""
    fleet = make_fleet(3, lives=25, cohorts=("a",))
    results = fit(*fleet.readings, shape="straight")
    G, s2 = results.cov_re.to_numpy(), results.residual_variance
    Z = np.stack([np.ones(len(fleet.life)), fleet.distance], axis=1)
    same = fleet.life[:, None] == fleet.life
    cov = s2 * np.eye(len(Z)) + np.where(same, Z @ G @ Z.T, 0.0)
    inverse = np.linalg.inv(cov)
    var_beta = np.linalg.inv(Z.T @ inverse @ Z)
    beta = var_beta @ Z.T @ inverse @ fleet.play
    np.testing.assert_allclose(results.params, beta, rtol=1e-7)
    np.testing.assert_allclose(results.cov_params(), var_beta, rtol=1e-6)
    at = np.array([1.0, 250_000.0])
    forecast = results.predict(np.arange(25), 250_000.0)
    for j in range(25):
        rows = fleet.life == j
        cross = at @ G @ Z[rows].T @ inverse[rows]
        mean = at @ beta + cross @ (fleet.play - Z @ beta)
        gap = at - cross @ Z
        variance = at @ G @ at - cross[rows] @ Z[rows] @ G @ at + gap @ var_beta @ gap
        assert forecast["mean"][j] == pytest.approx(mean, rel=1e-7)
        assert forecast["se"][j] ** 2 == pytest.approx(variance, rel=1e-5)


def test_parents():
    assert [parent_of(c) for c in ("a/b/c", "a/b", "a", "all")] == ["a/b", "a", "all", "all"]


def test_solver_coordinates():
    fitted = population(centre=5.0, spread=2.0)
    arrays = reading_arrays(np.zeros(2, dtype=np.int64), [3.0, 9.0], [0.0, 0.0], n_lives=1)
    z = fitted.coordinate(arrays.distance)
    np.testing.assert_allclose(z, [-1.0, 2.0])
    assert fitted.solver_sums(arrays.sums(1.0, 1.0)).wgg[0] == pytest.approx((z**2).sum())
    # intercept and growth in z are the line a + b (x - 5) / 2
    np.testing.assert_allclose(fitted.to_user() @ [1.0, 4.0], [1.0 - 4.0 * 2.5, 2.0])
