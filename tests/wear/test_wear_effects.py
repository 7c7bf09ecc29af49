"""Ratios of growth: against least squares, statsmodels, dense matrices, and simulated fleets with known ratios."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.multitest import multipletests

from fleetwear.errors import FitError
from fleetwear.wear.clusters import cluster_covariance
from fleetwear.wear.comparisons import MEAN, compare, confounders, holm, joint_tail
from fleetwear.wear.curvature import growth_exponent
from fleetwear.wear.design import Factor, enough, make_design
from fleetwear.wear.effects import FLAT, THIN, fit_effects
from fleetwear.wear.mean_growth import Spread
from fleetwear.wear.sums import reading_arrays

T = np.array([[0.3, 0.05], [0.05, 0.4]])
SIGMA2 = 0.0025


def fleet(seed, *, vehicles=30, joints=3, depots=5, ratio=1.4, shared=0.15, scale=1.0):
    """Joints with lognormal growth, a factor a vehicle, two suppliers dealt at random, two strata."""
    rng = np.random.default_rng(seed)
    J = vehicles * joints
    vehicle = np.repeat(np.arange(vehicles), joints)
    depot = (np.arange(vehicles) % depots)[vehicle]
    supplier = rng.integers(0, 2, J)
    stratum = np.tile(np.arange(joints) % 2, vehicles)
    growth = 0.5 * np.exp(rng.normal(0.0, 0.25, J) + rng.normal(0.0, shared, vehicles)[vehicle])
    growth *= np.where(supplier == 1, ratio, 1.0) * np.where(stratum == 1, 0.7, 1.0)
    intercept = 0.1 + rng.normal(0.0, 0.03, J)
    life = np.repeat(np.arange(J), rng.integers(2, 6, J))
    x = rng.uniform(0.0, 2.0, len(life))
    y = intercept[life] + growth[life] * x + rng.normal(0.0, 0.05, len(life))
    readings = reading_arrays(life, x * scale, y, n_lives=J)
    factors = [
        Factor("depot", tuple(f"depot {k}" for k in range(depots)), depot),
        Factor("supplier", ("A", "B"), supplier, reference="A"),
    ]
    return readings, stratum, factors, vehicle


def fitted(seed, *, exclude=(), **options):
    readings, stratum, factors, vehicle = fleet(seed)
    chosen = [factor for factor in factors if factor.name not in exclude]
    return fit_effects(readings.sums(1.0, 1.0), stratum, ("in-out", "fore-aft"), chosen, vehicle, **options)


@pytest.fixture(scope="module")
def linear():
    """One factor of three levels and one stratum: the multiplicative model is then a linear one, in other words."""
    readings, _, factors, vehicle = fleet(3, depots=3)
    stratum = np.zeros(readings.n_lives, dtype=np.int64)
    spread = Spread(T[None], np.array([SIGMA2]))
    x, y, life = readings.distance, readings.play, readings.life
    level = factors[0].codes[life]
    dummies = (level[:, None] == np.arange(3)).astype(float)
    Z = np.stack([np.ones_like(x), x], axis=1)
    V = SIGMA2 * (np.eye(len(y)) + np.where(life[:, None] == life[None, :], Z @ T @ Z.T, 0.0))
    return readings, stratum, factors[:1], vehicle, spread, dummies, V


@pytest.mark.parametrize("level_intercepts", [True, False])
def test_equals_generalised_least_squares_where_the_model_is_linear(linear, level_intercepts):
    readings, stratum, factors, vehicle, spread, dummies, V = linear
    ours = fit_effects(
        readings.sums(1.0, 1.0), stratum, ("all",), factors, vehicle, spread=spread, correction="CR1",
        level_intercepts=level_intercepts,
    )  # fmt: skip
    x, y = readings.distance[:, None], readings.play
    exog = np.hstack([dummies if level_intercepts else np.ones_like(x), dummies * x])
    theirs = sm.GLS(y, exog, sigma=V).fit()
    slopes = theirs.params[-3:]
    reference = int(factors[0].n_lives.argmax())
    others = [k for k in range(3) if k != reference]
    table = compare(ours, "depot").iloc[:2]
    # Gauss-Newton stops at 1e-8 standard errors, and inverse matrices of condition 1e3 lose a few digits more
    np.testing.assert_allclose(table["ratio"].astype(float), slopes[others] / slopes[reference], rtol=1e-6)

    root = np.linalg.cholesky(np.linalg.inv(V)).T
    whitened = sm.OLS(root @ y, root @ exog).fit(cov_type="cluster", cov_kwds={"groups": vehicle[readings.life]})
    np.testing.assert_allclose(whitened.params, theirs.params, rtol=1e-8)
    for row, other in zip(table.itertuples(), others, strict=True):
        gradient = np.zeros(exog.shape[1])
        gradient[other - 3], gradient[reference - 3] = 1.0 / slopes[other], -1.0 / slopes[reference]
        error = np.sqrt(gradient @ whitened.cov_params() @ gradient)
        told = np.log(row.upper / row.lower) / 2.0 / stats.t.ppf(0.975, row.degrees)
        assert told == pytest.approx(error, rel=1e-5)


def test_equals_mixedlm_with_the_same_fixed_design(linear):
    readings, stratum, factors, vehicle, _, dummies, _ = linear
    x, y = readings.distance[:, None], readings.play
    exog = np.hstack([dummies, dummies * x])
    model = sm.MixedLM(y, exog, groups=readings.life, exog_re=np.hstack([np.ones_like(x), x]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its variance of intercepts may end on the boundary: the lines are the same
        theirs = model.fit(method=["powell", "lbfgs"])
    spread = Spread(np.asarray(theirs.cov_re)[None] / theirs.scale, np.array([theirs.scale]))
    ours = fit_effects(readings.sums(1.0, 1.0), stratum, ("all",), factors, vehicle, spread=spread)
    slopes = theirs.fe_params[-3:]
    reference = int(factors[0].n_lives.argmax())
    others = [k for k in range(3) if k != reference]
    np.testing.assert_allclose(
        compare(ours, "depot")["ratio"].iloc[:2].astype(float), slopes[others] / slopes[reference], rtol=1e-6
    )


def test_cr2_and_its_degrees_equal_dense_matrices():
    """The p x p forms against residual-maker matrices of all readings, symmetric roots and traces."""
    rng = np.random.default_rng(7)
    n, p, G = 60, 4, 9
    cluster = rng.integers(0, G, n)
    X = rng.normal(size=(n, p)) + cluster[:, None] / 5.0
    residual = rng.normal(size=n)
    A = X.T @ X
    residual = residual - X @ np.linalg.solve(A, X.T @ residual)
    inverse = np.linalg.inv(A)
    H = X @ inverse @ X.T
    c = rng.normal(size=p)
    meat, weights = np.zeros((p, p)), []
    for g in range(G):
        own = cluster == g
        values, vectors = np.linalg.eigh(np.eye(own.sum()) - H[np.ix_(own, own)])
        adjust = vectors @ np.diag(values**-0.5) @ vectors.T
        score = X[own].T @ adjust @ residual[own]
        meat += np.outer(score, score)
        whole = np.zeros(n)
        whole[own] = adjust @ X[own] @ inverse @ c
        weights.append((np.eye(n) - H) @ whole)
    moments = np.array(weights) @ np.array(weights).T
    degrees = np.trace(moments) ** 2 / np.trace(moments @ moments)

    rows = np.stack([X, np.zeros_like(X)], axis=1)
    ours = cluster_covariance(A, rows, X * residual[:, None], cluster, n_readings=n)
    np.testing.assert_allclose(ours.covariance, inverse @ meat @ inverse, rtol=1e-9)
    assert ours.degrees(c[None])[0] == pytest.approx(degrees, rel=1e-9)


def test_one_cluster_is_refused_in_words():
    with pytest.raises(FitError, match="one vehicle only"):
        cluster_covariance(np.eye(1), np.ones((3, 2, 1)), np.ones((3, 1)), np.zeros(3, dtype=int), n_readings=3)


def test_joint_tail_is_that_of_the_multivariate_normal():
    correlation = np.full((4, 4), 0.5) + 0.5 * np.eye(4)
    q = stats.norm.isf(joint_tail(correlation, level=0.95) / 2.0)
    inside = stats.multivariate_normal(np.zeros(4), correlation, seed=1).cdf(np.full(4, q), lower_limit=np.full(4, -q))
    assert inside == pytest.approx(0.95, abs=0.004), "40,000 draws know a probability of 0.95 to 0.001"
    assert joint_tail(np.ones((3, 3)), level=0.95) == pytest.approx(0.05), "three times one comparison is one"
    apart = joint_tail(np.eye(5), level=0.95)
    assert apart == pytest.approx(1.0 - 0.95**0.2, rel=0.1), "five that are apart: Sidak's"


def test_holm_equals_statsmodels():
    p = np.array([0.04, 0.001, np.nan, 0.3, 0.012, 0.012, 1.0])
    known = np.isfinite(p)
    np.testing.assert_allclose(holm(p)[known], multipletests(p[known], method="holm")[1])
    assert np.isnan(holm(p)[2])
    assert len(holm([])) == 0


def test_a_known_ratio_is_covered_and_depots_alike_are_told_alike():
    """Fleets where B wears 1.4 times as fast and five depots do not differ.

    Coverage and errors are binomial counts; 3.3 standard deviations either side fail once in a thousand runs,
    and seeds are fixed. Unadjusted intervals of the depots must err far more often than the simultaneous ones.
    """
    runs = 100
    covered = wrong = wrong_alone = 0
    for seed in range(runs):
        effects = fitted(seed)
        assert effects.doubt == ""
        supplier = compare(effects, "supplier").iloc[0]
        covered += supplier["lower"] < 1.4 < supplier["upper"]
        depots = compare(effects, "depot")
        wrong += ((depots["simultaneous_lower"] > 1.0) | (depots["simultaneous_upper"] < 1.0)).any()
        wrong_alone += ((depots["lower"] > 1.0) | (depots["upper"] < 1.0)).any()
    slack = 3.3 * np.sqrt(0.05 * 0.95 / runs)
    assert covered / runs == pytest.approx(0.95, abs=slack)
    assert wrong / runs == pytest.approx(0.05, abs=slack)
    assert wrong_alone / runs > 0.05 + 2.0 * slack


def test_units_and_references_change_nothing():
    table = compare(fitted(1), "supplier").iloc[0]
    readings, stratum, factors, vehicle = fleet(1, scale=1e5)
    turned = [factors[0], Factor("supplier", ("A", "B"), factors[1].codes, reference="B")]
    sums = readings.sums(1.0, 1e5)
    other = compare(fit_effects(sums, stratum, ("in-out", "fore-aft"), turned, vehicle), "supplier").iloc[0]
    assert (table["level"], table["reference"], other["level"], other["reference"]) == ("B", "A", "A", "B")
    np.testing.assert_allclose(
        [other["ratio"], other["lower"], other["upper"], other["p_value"]],
        [1.0 / table["ratio"], 1.0 / table["upper"], 1.0 / table["lower"], table["p_value"]],
        rtol=1e-5,
    )


def test_comparisons_with_the_mean_average_to_nothing():
    depots = compare(fitted(2), "depot")
    against_mean = depots[depots["reference"] == MEAN]
    assert len(depots) == 4 + 5
    assert np.log(against_mean["ratio"].astype(float)).sum() == pytest.approx(0.0, abs=1e-9)
    assert (depots["simultaneous_lower"] < depots["lower"]).all()
    assert (depots["simultaneous_upper"] > depots["upper"]).all()


def test_adjusting_tells_a_depot_from_the_parts_that_it_fits():
    """A depot that fits supplier B's parts only looks fast alone, and is not once suppliers are adjusted for."""
    readings, stratum, factors, vehicle = fleet(5, vehicles=60, depots=2, ratio=2.0)
    rng = np.random.default_rng(0)
    depot = factors[0].codes
    part = np.where(rng.random(len(depot)) < np.where(depot == 1, 0.9, 0.1), 1, 0)
    y = readings.play + np.where(part == 1, 0.5, 0.0)[readings.life] * readings.distance
    y = y - np.where(factors[1].codes == 1, 0.4, 0.0)[readings.life] * readings.distance
    sums = reading_arrays(readings.life, readings.distance, y, n_lives=readings.n_lives).sums(1.0, 1.0)
    both = [factors[0], Factor("supplier", ("A", "B"), part, reference="A")]
    alone = compare(fit_effects(sums, stratum, ("a", "b"), both[:1], vehicle), "depot").iloc[0]
    adjusted = compare(fit_effects(sums, stratum, ("a", "b"), both, vehicle), "depot").iloc[0]
    far = max(alone["ratio"], 1.0 / alone["ratio"])
    near = max(adjusted["ratio"], 1.0 / adjusted["ratio"])
    assert far > 1.4
    assert near < 1.2
    assert adjusted["lower"] < 1.0 < adjusted["upper"]


def test_new_parts_that_start_looser_do_not_look_as_if_they_wore_faster():
    readings, stratum, factors, vehicle = fleet(6, vehicles=60, ratio=1.0)
    y = readings.play + np.where(factors[1].codes == 1, 0.4, 0.0)[readings.life]
    sums = reading_arrays(readings.life, readings.distance, y, n_lives=readings.n_lives).sums(1.0, 1.0)
    own, shared = (
        compare(fit_effects(sums, stratum, ("a", "b"), factors, vehicle, level_intercepts=flag), "supplier").iloc[0]
        for flag in (True, False)
    )
    assert own["lower"] < 1.0 < own["upper"]
    assert shared["ratio"] > own["ratio"] * 1.05


def test_thin_levels_are_told_and_left_out():
    readings, stratum, factors, vehicle = fleet(8)
    codes = factors[1].codes.copy()
    codes[:4] = 2
    three = [factors[0], Factor("supplier", ("A", "B", "C"), codes)]
    effects = fit_effects(readings.sums(1.0, 1.0), stratum, ("a", "b"), three, vehicle)
    assert effects.left_out == {("supplier", "C"): THIN}
    assert set(compare(effects, "supplier")["level"]) <= {"A", "B"}
    assert len(effects.n_readings) == readings.n_lives - 4


def test_leaving_out_goes_on_until_nothing_is_thin():
    stratum = np.zeros(16, dtype=np.int64)
    cluster = np.arange(16)
    first = Factor("a", ("x", "y"), np.r_[np.zeros(10, dtype=int), np.ones(6, dtype=int)])
    second = Factor("b", ("p", "q"), np.r_[np.zeros(12, dtype=int), np.ones(4, dtype=int)])
    keep, thin = enough(stratum, 1, [first, second], cluster)
    assert thin == {("b", 1), ("a", 1)}, "without q's lives, y has two"
    assert keep.sum() == 10
    few = Factor("b", ("p", "q"), np.r_[np.zeros(8, dtype=int), np.ones(8, dtype=int)])
    _, thin = enough(stratum, 1, [few], np.r_[np.arange(8), np.zeros(8, dtype=int)])
    assert thin == {("b", 1)}, "eight lives of one vehicle"


def test_a_level_without_growth_is_told():
    readings, stratum, factors, vehicle = fleet(9)
    codes = np.where(vehicle < 6, 2, factors[1].codes)
    flat = np.isin(readings.life, np.flatnonzero(codes == 2))
    y = np.where(flat, 0.2 - 0.05 * readings.distance, readings.play)
    sums = reading_arrays(readings.life, readings.distance, y, n_lives=readings.n_lives).sums(1.0, 1.0)
    three = [Factor("supplier", ("A", "B", "C"), codes)]
    effects = fit_effects(sums, stratum, ("a", "b"), three, vehicle)
    assert effects.left_out[("supplier", "C")] == FLAT
    assert effects.doubt == ""


def test_play_that_does_not_grow_is_refused_in_words():
    readings, stratum, factors, vehicle = fleet(9)
    sums = reading_arrays(readings.life, readings.distance, -readings.play, n_lives=readings.n_lives).sums(1.0, 1.0)
    with pytest.raises(FitError, match="does not grow"):
        fit_effects(sums, stratum, ("a", "b"), factors, vehicle)


def test_factors_that_cannot_be_told_apart_are_named():
    readings, stratum, factors, vehicle = fleet(4, depots=4)
    duty = Factor("duty", ("w", "x", "y", "z"), factors[0].codes)
    model = Factor("model", ("small", "large"), factors[0].codes // 2)
    effects = fit_effects(readings.sums(1.0, 1.0), stratum, ("a", "b"), [*factors, model], vehicle)
    assert confounders(effects, "model") == ("depot",)
    assert confounders(effects, "supplier") == ()
    told = compare(effects, "model")
    assert told["ratio"].isna().all()
    assert (told["note"] == "model cannot be told apart from depot in these lives").all()
    # within one model depots are compared; across models they are not
    depots = compare(effects, "depot")
    within = depots["ratio"].notna()
    assert within.sum() == 1
    assert {int(name[-1]) // 2 for name in depots.loc[within, ["level", "reference"]].iloc[0]} in ({0}, {1})

    both = fit_effects(readings.sums(1.0, 1.0), stratum, ("a", "b"), [*factors, duty], vehicle)
    assert confounders(both, "depot") == ("duty",)
    assert compare(both, "supplier")["ratio"].notna().all()


def test_a_factor_that_goes_with_the_stratum_is_told():
    _, stratum, _, _ = fleet(4)
    design = make_design(stratum, ("in-out", "fore-aft"), [Factor("place", ("upper", "lower"), stratum)])
    assert design.confounded_with(design.contrast("place", {"upper": 1.0, "lower": -1.0}), "place") == (
        "load direction",
    )


def test_blocks_have_spreads_of_their_own():
    """Two kinds of quite different size pooled: the ratio is between those of either alone, and more certain."""
    parts = [fleet(seed, ratio=1.4) for seed in (11, 12)]
    life = np.concatenate([parts[0][0].life, parts[1][0].life + parts[0][0].n_lives])
    x = np.concatenate([part[0].distance for part in parts])
    y = np.concatenate([parts[0][0].play, 10.0 * parts[1][0].play])
    n = parts[0][0].n_lives
    block = np.repeat([0, 1], [n, parts[1][0].n_lives])
    stratum = np.concatenate([parts[0][1], parts[1][1] + 2])
    supplier = Factor("supplier", ("A", "B"), np.concatenate([part[2][1].codes for part in parts]), reference="A")
    vehicle = np.concatenate([part[3] for part in parts])
    readings = reading_arrays(life, x, y, n_lives=len(block))
    names = ("a", "b", "c", "d")
    pooled = fit_effects(readings.sums(1.0, 1.0), stratum, names, [supplier], vehicle, block=block)
    assert pooled.spread.sigma2[1] == pytest.approx(100.0 * pooled.spread.sigma2[0], rel=0.5)
    alone = [
        compare(fit_effects(r.sums(1.0, 1.0), s, ("a", "b"), f[1:], v), "supplier").iloc[0] for r, s, f, v in parts
    ]
    together = compare(pooled, "supplier").iloc[0]
    low, high = sorted(float(one["ratio"]) for one in alone)
    assert low < together["ratio"] < high
    width = np.log(together["upper"] / together["lower"])
    assert all(width < np.log(one["upper"] / one["lower"]) for one in alone)


@pytest.mark.parametrize(("true", "wanted"), [(1.0, 1.0), (1.6, 1.6)])
def test_the_exponent_of_growth_is_found(true, wanted):
    readings, stratum, _, _ = fleet(13, vehicles=60)
    rng = np.random.default_rng(1)
    growth = 0.4 * np.exp(rng.normal(0.0, 0.2, readings.n_lives))
    y = 0.1 + growth[readings.life] * readings.distance**true + rng.normal(0.0, 0.03, len(readings.life))
    curved = reading_arrays(readings.life, readings.distance, y, n_lives=readings.n_lives)
    assert growth_exponent(curved, stratum, reference=1.0) == pytest.approx(wanted, abs=0.1)


def test_readings_without_scatter_are_refused_in_words():
    readings, stratum, factors, vehicle = fleet(1)
    exact = reading_arrays(
        readings.life, readings.distance, 0.1 + 0.3 * readings.distance, n_lives=readings.n_lives
    ).sums(1.0, 1.0)
    with pytest.raises(FitError, match="without any scatter"):
        fit_effects(exact, stratum, ("a", "b"), factors, vehicle)


def test_a_ratio_that_the_readings_cannot_tell_is_not_told():
    readings, stratum, factors, vehicle = fleet(1, vehicles=7, joints=2, depots=2)
    rng = np.random.default_rng(0)
    y = readings.play + rng.normal(0.0, 1.0, len(readings.play))
    noisy = reading_arrays(readings.life, readings.distance, y, n_lives=readings.n_lives).sums(1.0, 1.0)
    told = compare(fit_effects(noisy, stratum, ("a", "b"), factors[:1], vehicle), "depot").iloc[0]
    assert np.isnan(told["ratio"])
    assert told["note"] == "too few readings to tell"
