"""Cohorts: shrinkage up and down the tree against a dense three-level model, and who borrows from whom."""

import numpy as np
import pytest

from fleetwear.errors import DoubtfulFitWarning
from fleetwear.wear import fit
from fleetwear.wear.cohorts import group_cohorts, shrink
from fleetwear.wear.criterion import Criterion, marginalise, relative_covariance
from fleetwear.wear.population import parent_of
from fleetwear.wear.sums import reading_arrays

T = np.array([[0.7, 0.1], [0.1, 0.4]])
SIGMA2 = 0.25


def tree_fleet(seed, cohorts, sizes, *, level=False):
    rng = np.random.default_rng(seed)
    codes = np.repeat(np.arange(len(cohorts)), sizes)
    nodes = {}
    for cohort in cohorts:
        node = cohort
        while node != "all":
            nodes.setdefault(node, rng.normal(size=2) * 0.6)
            node = parent_of(node)
    line = np.tile([0.5, 1.0], (len(cohorts), 1))
    for k, cohort in enumerate(cohorts):
        node = cohort
        while node != "all":
            line[k] += nodes[node]
            node = parent_of(node)
    life = np.repeat(np.arange(len(codes)), 4)
    b = rng.multivariate_normal([0, 0], SIGMA2 * T, len(codes))
    x = rng.uniform(-1.5, 1.5, len(life))
    effect = line[codes][life] + b[life]
    y = effect[:, 0] + (0.0 if level else effect[:, 1] * x) + rng.normal(0, np.sqrt(SIGMA2), len(life))
    return life, x, y, codes


def dense_lines(life, x, y, codes, cohorts, between, T, sigma2, *, level):
    """Posterior mean and covariance of every node's line: flat at the root, N(0, Tau) each step down."""
    q = 1 if level else 2
    steps = sorted({node for c in cohorts for node in _path(c)})
    place = {node: 1 + k for k, node in enumerate(steps)}
    Z = np.stack([np.ones_like(x), x], axis=1)[:, :q]
    A = np.zeros((len(y), q * (1 + len(steps))))
    A[:, :q] = Z
    for i, cohort in enumerate(np.asarray(cohorts, dtype=object)[codes][life]):
        for node in _path(cohort):
            A[i, q * place[node] : q * place[node] + q] = Z[i]
    same = life[:, None] == life
    V = sigma2 * (np.eye(len(y)) + np.where(same, Z @ T[:q, :q] @ Z.T, 0.0))
    precision = A.T @ np.linalg.inv(V) @ A
    for node in steps:
        rows = slice(q * place[node], q * place[node] + q)
        precision[rows, rows] += np.linalg.inv(between[node.count("/")][:q, :q])
    cov = np.linalg.inv(precision)
    mean = cov @ A.T @ np.linalg.solve(V, y)
    lines = {}
    for node in ["all", *steps]:
        pick = np.zeros((q, len(mean)))
        for part in [0, *(place[step] for step in _path(node))]:
            pick[:, q * part : q * part + q] = np.eye(q)
        lines[node] = (pick @ mean, pick @ cov @ pick.T)
    return lines


def _path(node):
    path = []
    while node != "all":
        path.append(node)
        node = parent_of(node)
    return path


TREE = [f"{kind}/{direction}" for kind in "abcdef" for direction in "uvw"]


@pytest.mark.parametrize("level", [False, True])
@pytest.mark.parametrize("seed", [0, 1])
def test_lines_equal_the_dense_three_level_model(seed, level):
    sizes = np.random.default_rng(seed).integers(1, 9, len(TREE))
    life, x, y, codes = tree_fleet(seed, TREE, sizes, level=level)
    sums = reading_arrays(life, x + 1.5, y, n_lives=len(codes)).sums(1.0, 1.0).centred(1.5, 1.0)
    sums = sums.without_growth() if level else sums
    cov = np.diag([T[0, 0], 0.0]) if level else T
    lines, between, note = shrink(marginalise(sums, cov), TREE, codes, relative_cov=cov, sigma2=SIGMA2, level=level)
    assert note == ""
    # a rank-deficient Tau has no inverse for the dense twin; these two seeds give full rank
    expected = dense_lines(life, x, y, codes, TREE, between, cov, SIGMA2, level=level)
    q = 1 if level else 2
    for node, (mean, var) in expected.items():
        np.testing.assert_allclose(lines[node].mean[:q], mean, rtol=1e-5, atol=1e-7)
        np.testing.assert_allclose(lines[node].cov[:q, :q], var, rtol=1e-4, atol=1e-7)


def test_spread_between_cohorts_maximises_the_dense_restricted_likelihood():
    """One level of 30 cohorts: Tau against a search over the full covariance matrix of all readings."""
    from scipy import optimize

    cohorts = [f"c{k:02d}" for k in range(20)]
    life, x, y, codes = tree_fleet(5, cohorts, np.full(20, 2))
    sums = reading_arrays(life, x + 1.5, y, n_lives=40).sums(1.0, 1.0).centred(1.5, 1.0)
    _, between, _ = shrink(marginalise(sums, T), cohorts, codes, relative_cov=T, sigma2=SIGMA2, level=False)
    Z = np.stack([np.ones_like(x), x], axis=1)
    same, kin = life[:, None] == life, codes[life][:, None] == codes[life]
    own = SIGMA2 * (np.eye(len(y)) + np.where(same, Z @ T @ Z.T, 0.0))

    def deviance(theta):
        V = own + np.where(kin, Z @ relative_covariance(theta) @ Z.T, 0.0)
        inverse = np.linalg.inv(V)
        information = Z.T @ inverse @ Z
        r = y - Z @ np.linalg.solve(information, Z.T @ inverse @ y)
        return np.linalg.slogdet(V)[1] + np.linalg.slogdet(information)[1] + r @ inverse @ r

    found = optimize.minimize(deviance, [0.6, 0.0, 0.6], method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-8})
    np.testing.assert_allclose(between[0], relative_covariance(found.x), atol=2e-4)


def test_few_cohorts_are_given_an_assumed_spread_and_say_so(make_fleet):
    results = fit(*make_fleet(1, lives=60, cohorts=("a", "b", "c")).readings, shape="straight")
    assert "assumed" in results.estimation.note
    assert "assumed" in results.summary()


def test_a_small_cohort_borrows(make_fleet):
    fleet = make_fleet(2, lives=84, cohorts=("k/a", "k/b", "k/c", "k/d", "k/e", "k/f"))
    keep = (fleet.cohort != "k/f") | (fleet.life < 12)
    results = fit(*(column[keep] for column in fleet.readings), shape="straight")
    table = results.cohorts
    assert not table.loc["k/f", "stands_alone"]
    assert table["stands_alone"].drop("k/f").all()
    assert table.loc["k/f", "n_lives"] == 2
    assert table.loc["k/f", "growth_se"] > 1.3 * table.loc["k/a", "growth_se"]
    assert "borrowing from their parents: k/f" in results.summary()


def test_a_cohort_of_one_life_with_one_reading(make_fleet):
    fleet = make_fleet(3, lives=50, cohorts=("k/a", "k/b", "k/c", "k/d", "k/e"))
    more = [np.append(column, value) for column, value in zip(fleet.readings, (99, 5e4, 0.5, "k/z"), strict=True)]
    results = fit(*more, shape="straight")
    row = results.cohorts.loc["k/z"]
    assert row["n_lives"] == 1
    assert not row["stands_alone"]
    assert np.isfinite(results.predict(99, 1e5)["mean"]).all()


def test_siblings_of_one_reading_each_at_one_distance(make_fleet):
    """Pairs of cohorts that cannot tell a line between them say nothing of the spread, and break nothing."""
    fleet = make_fleet(4, lives=40, cohorts=("k/d/big",))
    life, distance, play, cohort = (list(column) for column in fleet.readings)
    for parent in range(4):
        for child in range(2):
            life.append(1000 + 2 * parent + child)
            distance.append(1e5)
            play.append(0.5 + 0.1 * parent)
            cohort.append(f"k/d{parent}/t{child}")
    for shape in ("straight", "power"):
        results = fit(life, distance, play, cohort, shape=shape)
        assert np.isfinite(results.cohorts[["intercept", "growth", "growth_se"]].to_numpy()).all()


def test_no_spread_between_lives_breaks_nothing(make_fleet):
    fleet = make_fleet(5, lives=60, sd=(0.0, 0.0), cohorts=tuple(f"c{k}" for k in range(6)))
    with pytest.warns(DoubtfulFitWarning):
        results = fit(*fleet.readings, shape="straight")
    assert np.isfinite(results.cohorts[["intercept", "growth"]].to_numpy()).all()


def test_unseen_cohort_takes_its_parents_line_wider(make_fleet):
    fleet = make_fleet(6, lives=80, cohorts=("k/a", "k/b", "k/c", "k/d", "k/e"))
    results = fit(*fleet.readings, shape="straight")
    updated = results.update([1, 1], [0.0, 1e5], [0.1, 0.5], ["k/new", "k/new"])
    row = updated.population.mean_line("k/new")
    assert row[1] == "k"
    assert (np.diag(row[0].cov) > np.diag(updated.population.mean_line("k/a")[0].cov)).all()
    known = results.update([1, 1], [0.0, 1e5], [0.1, 0.5], ["k/a", "k/a"])
    assert updated.predict(1, 3e5)["se"][0] > known.predict(1, 3e5)["se"][0]


def test_names_of_cohorts_do_not_matter(make_fleet):
    fleet = make_fleet(7, lives=60, cohorts=("k/a", "k/b", "m/c", "m/d", "m/e", "k/f"))
    keep = (fleet.cohort != "m/d") | (fleet.life < 10)
    renamed = {"k/a": "z/9", "k/b": "z/1", "k/f": "z/0", "m/c": "b/5", "m/d": "b/1", "m/e": "b/7"}
    life, distance, play, cohort = (column[keep] for column in fleet.readings)
    one = fit(life, distance, play, cohort, shape="straight")
    other = fit(life, distance, play, [renamed[name] for name in cohort], shape="straight")
    for name, new in renamed.items():
        np.testing.assert_allclose(
            one.cohorts.loc[name, ["intercept", "growth"]].to_numpy(dtype=float),
            other.cohorts.loc[new, ["intercept", "growth"]].to_numpy(dtype=float),
            rtol=1e-5,
        )
    assert one.loglik == pytest.approx(other.loglik, rel=1e-9)


def test_a_weak_pool_at_the_root_joins_the_group_of_most_lives():
    life = np.repeat(np.arange(42), 3)
    sums = reading_arrays(life, np.tile([0.0, 1.0, 2.0], 42), np.zeros(126), n_lives=42).sums(1.0, 1.0)
    codes = np.repeat([0, 1, 2], [10, 30, 2])
    grouping = group_cohorts(["aa", "bb", "cc"], codes, sums)
    assert grouping.labels == ["aa", "bb"]
    assert grouping.codes.tolist() == [0] * 10 + [1] * 32
    assert grouping.alone == {"aa": True, "bb": True, "cc": False}


def test_small_siblings_pool_under_their_parent():
    life = np.repeat(np.arange(26), 3)
    sums = reading_arrays(life, np.tile([0.0, 1.0, 2.0], 26), np.zeros(78), n_lives=26).sums(1.0, 1.0)
    codes = np.repeat([0, 1, 2], [20, 3, 3])
    grouping = group_cohorts(["k/a", "k/b", "k/c"], codes, sums)
    assert grouping.labels == ["k", "k/a"]
    assert grouping.alone == {"k/a": True, "k/b": False, "k/c": False}


def test_readings_at_one_distance_do_not_make_a_group():
    life = np.repeat(np.arange(30), 2)
    x = np.where(life < 20, np.tile([0.0, 1.0], 30), 1.0)
    sums = reading_arrays(life, x, np.zeros(60), n_lives=30).sums(1.0, 1.0)
    grouping = group_cohorts(["a", "b"], (np.arange(30) >= 20).astype(np.int64), sums)
    assert grouping.labels == ["a"]


def test_one_cohort_has_the_generalised_least_squares_line(make_fleet):
    fleet = make_fleet(8, lives=30)
    results = fit(*fleet.readings[:3], shape="straight")
    row = results.cohorts.loc["all"]
    np.testing.assert_allclose(row[["intercept", "growth"]].to_numpy(dtype=float), results.params, rtol=1e-8)
    np.testing.assert_allclose(row[["intercept_se", "growth_se"]].to_numpy(dtype=float), results.bse, rtol=1e-7)


def test_known_variance_criterion_of_cohorts_drops_only_constants():
    """Cohorts enter as estimates with known information; the criterion differs from theirs by a constant."""
    life, x, y, codes = tree_fleet(1, [f"c{k}" for k in range(8)], np.full(8, 4))
    sums = reading_arrays(life, x + 1.5, y, n_lives=32).sums(1.0, 1.0).centred(1.5, 1.0)
    m = marginalise(sums, T)
    total = [np.bincount(codes, weights=v) / SIGMA2 for v in (m.p11, m.p12, m.p22, m.e1, m.e2)]
    from fleetwear.wear.sums import LifeSums

    units = LifeSums(np.ones(8), *total, np.zeros(8), np.zeros(8))
    criterion = Criterion(units, np.zeros(8, dtype=np.int64), 1, True, known_variance=1.0)
    A = np.stack([total[0], total[1], total[1], total[2]], axis=-1).reshape(-1, 2, 2)
    estimate = np.linalg.solve(A, np.stack(total[3:], axis=-1)[:, :, None])[:, :, 0]

    def dense(tau):
        covs = np.linalg.inv(A) + tau
        W = np.linalg.inv(covs)
        mean = np.linalg.solve(W.sum(0), np.einsum("kab,kb->a", W, estimate))
        r = estimate - mean
        return np.linalg.slogdet(covs)[1].sum() + np.linalg.slogdet(W.sum(0))[1] + np.einsum("ka,kab,kb", r, W, r)

    thetas = [np.array(theta) for theta in ((0.5, 0.1, 0.3), (1.0, -0.5, 0.2), (0.1, 0.0, 0.1))]
    differences = [criterion.profile(theta).deviance - dense(relative_covariance(theta)) for theta in thetas]
    np.testing.assert_allclose(differences, differences[0], rtol=1e-9)
