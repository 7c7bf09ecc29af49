"""A fleet in parts: the same fit as in one piece, whatever lies where."""

import numpy as np
import pytest

from fleetwear.errors import FitError
from fleetwear.wear import fit
from fleetwear.wear.criterion import Criterion, relative_covariance
from fleetwear.wear.labels import labelled_readings
from fleetwear.wear.mixed_model import own_lines, starting_theta, theta_of_lines
from fleetwear.wear.parted import PartedCriterion, fit_parts
from fleetwear.wear.parts import (
    N_MOMENTS,
    CohortTotals,
    HeldParts,
    Moments,
    PartSums,
    centred,
    cohort_totals,
    moments,
    part_lines,
    total,
)
from fleetwear.wear.search import in_solver

COHORTS = ("joint/in-out/van", "joint/in-out/truck", "joint/up-down/van", "joint/up-down/truck", "joint/up-down/bus")
THETAS = ([1.0, 0.0, 1.0], [0.7, -0.3, 0.4], [2.0, 0.5, 0.0], [0.0, 0.3, 1.2])


class Apart:
    """A labelled fleet dealt to parts."""

    def __init__(self, readings, part_of_life):
        self.labelled = labelled_readings(*readings)
        self.part_of_life, self.n = part_of_life, int(part_of_life.max()) + 1
        self.reference = self.labelled.readings.mean_distance

    def sums_at(self, exponent):
        labelled = self.labelled
        parts = []
        for number in range(self.n):
            chosen = self.part_of_life == number
            sums = labelled.readings.only(chosen).sums(exponent, self.reference)
            parts.append(PartSums.of(sums, labelled.cohort_codes[chosen], len(labelled.cohorts)))
        return HeldParts(parts)

    def fit(self, **options):
        return fit_parts(self.sums_at, self.labelled.cohorts, reference=self.reference, **options)

    def criteria(self, *, reml=True):
        """Return the criterion of all lives, and of the parts, each cohort by itself."""
        whole = self.labelled.readings.sums(1.0, self.reference)
        solver, centre, spread = in_solver(whole)
        lives = self.sums_at(1.0).keep(centred, centre, spread)
        totals = CohortTotals.joined(lives.ask(cohort_totals))
        n = len(self.labelled.cohorts)
        return (
            Criterion(solver, self.labelled.cohort_codes, n, reml=reml),
            PartedCriterion(totals.sums, np.arange(n), n, reml=reml, lives=lives),
        )


@pytest.fixture
def dealt(make_fleet):
    def make(seed=0, *, parts=4, lives=120, **given):
        fleet = make_fleet(seed, lives=lives, cohorts=COHORTS, **given)
        return fleet, Apart(fleet.readings, np.random.default_rng(seed).integers(0, parts, lives))

    return make


def estimates(results):
    cov = results.cov_re.to_numpy().ravel()
    lines = results.cohorts[["intercept", "growth", "intercept_se", "growth_se"]].sort_index().to_numpy().ravel()
    params, se = results.params.sort_index(), results.bse.sort_index()
    return np.concatenate([params, se, cov, [results.residual_variance, results.llf, results.aic, results.bic], lines])


def plain_moments(sums, T, about):
    """The moments of one cohort, life by life with matrices."""
    found = dict.fromkeys(Moments.__dataclass_fields__, 0.0)
    for j in range(len(sums)):
        S = np.array([[sums.w[j], sums.wg[j]], [sums.wg[j], sums.wgg[j]]])
        r = np.array([sums.wy[j], sums.wgy[j]])
        P = S @ np.linalg.inv(np.eye(2) + T @ S)
        e = np.linalg.inv(np.eye(2) + S @ T) @ r
        yy = sums.wyy[j] - r @ T @ e - 2.0 * about @ e + about @ P @ about
        e = e - P @ about
        for name, value in (
            ("p", P), ("e", e), ("yy", yy), ("log_det", np.linalg.slogdet(np.eye(2) + S @ T)[1]),
            ("pp", np.einsum("ab,cd->abcd", P, P)), ("pe", np.einsum("ab,c->abc", P, e)), ("ee", np.outer(e, e)),
            ("ppp", np.einsum("ab,cd,ef->abcdef", P, P, P)), ("ppe", np.einsum("ab,cd,e->abcde", P, P, e)),
            ("epe", np.einsum("a,bc,d->abcd", e, P, e)),
        ):  # fmt: skip
            found[name] = found[name] + value
    return found


def test_moments_are_those_of_a_plain_loop(dealt, monkeypatch):
    monkeypatch.setattr("fleetwear.wear.parts._BLOCK", 7)
    _, apart = dealt(3, lives=60)
    sums = in_solver(apart.labelled.readings.sums(1.0, apart.reference))[0]
    T, about = relative_covariance(np.array([0.7, -0.3, 0.4])), np.array([[0.3, 0.1]] * 5)
    part = PartSums.of(sums, apart.labelled.cohort_codes, 5)
    found = Moments.of(moments(part, T, about))
    for cohort in range(5):
        plain = plain_moments(sums.take(apart.labelled.cohort_codes == cohort), T, about[cohort])
        for name, value in plain.items():
            np.testing.assert_allclose(getattr(found, name)[cohort], value, rtol=1e-10, atol=1e-10, err_msg=name)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("theta", THETAS)
def test_the_criterion_of_parts_is_that_of_all_lives(dealt, theta, reml):
    _, apart = dealt(5)
    whole, parted = apart.criteria(reml=reml)
    theta = np.array(theta)
    for _ in range(2):  # the second time from the lines that the first has found
        one, several = whole.profile(theta), parted.profile(theta)
        assert several.deviance == pytest.approx(one.deviance, rel=1e-12)
        assert several.sigma2 == pytest.approx(one.sigma2, rel=1e-12)
        for name in ("gradient", "slope", "beta", "information"):
            np.testing.assert_allclose(getattr(several, name), getattr(one, name), rtol=1e-9, atol=1e-8, err_msg=name)
    np.testing.assert_allclose(several.hessian, one.hessian, rtol=1e-8, atol=1e-10 * np.abs(one.hessian).max())


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("reml", [True, False])
def test_the_fit_of_parts_is_that_of_one_piece(dealt, seed, reml):
    fleet, apart = dealt(seed)
    one, parted = fit(*fleet.readings, shape="straight", reml=reml), apart.fit(reml=reml)
    np.testing.assert_allclose(estimates(parted), estimates(one), rtol=1e-9)
    assert (parted.n_obs, parted.n_groups, parted.converged) == (one.n_obs, one.n_groups, one.converged)
    assert parted.estimation.alone == one.estimation.alone
    assert parted.estimation.optimum.evaluations == one.estimation.optimum.evaluations


def test_small_cohorts_are_pooled_alike(make_fleet):
    names = [*COHORTS[:2]] * 10 + [COHORTS[2], COHORTS[3], "other/in-out/van"]
    fleet = make_fleet(4, lives=92, cohorts=tuple(names))
    apart = Apart(fleet.readings, np.arange(92) % 3)
    one, parted = fit(*fleet.readings, shape="straight"), apart.fit()
    assert not all(one.estimation.alone.values())
    assert parted.estimation.groups == one.estimation.groups
    np.testing.assert_allclose(estimates(parted), estimates(one), rtol=1e-9)


def test_moving_lives_changes_nothing(dealt):
    _, apart = dealt(7)
    before = estimates(apart.fit())
    for life in (0, 17):
        apart.part_of_life[life] = (apart.part_of_life[life] + 1) % apart.n
    np.testing.assert_allclose(estimates(apart.fit()), before, rtol=1e-9)
    apart.part_of_life[:] = 2  # all in one, two without any life
    np.testing.assert_allclose(estimates(apart.fit()), before, rtol=1e-9)


def test_a_power_curve_is_found_in_parts(dealt):
    fleet, apart = dealt(1, exponent=1.4, lives=200)
    told = []
    one, parted = fit(*fleet.readings, shape="power"), apart.fit(shape="power", on_step=told.append)
    assert parted.exponent == pytest.approx(one.exponent, abs=1e-5)  # the search stops within 2e-4 of its logarithm
    np.testing.assert_allclose(estimates(parted), estimates(one), rtol=1e-3)
    held = Apart(fleet.readings, apart.part_of_life % 1)
    assert held.fit(shape="power").exponent == pytest.approx(parted.exponent, abs=1e-5)
    assert sum(words.startswith("exponent") for words in told) > 5


def test_starts_add_up(dealt):
    _, apart = dealt(2)
    whole = apart.labelled.readings.sums(1.0, apart.reference)
    several = theta_of_lines(apart.sums_at(1.0).ask(part_lines))
    np.testing.assert_allclose(several, starting_theta(whole), rtol=1e-9)
    # poor lives count only where none is rich
    poor = own_lines(whole.take(whole.n < 4).take(np.arange(0)))
    np.testing.assert_allclose(theta_of_lines([poor, own_lines(whole)]), starting_theta(whole), rtol=1e-12)


def test_totals_are_plain_sums(dealt):
    _, apart = dealt(2)
    whole = apart.labelled.readings.sums(1.0, apart.reference)
    totals = CohortTotals.joined(apart.sums_at(1.0).ask(cohort_totals))
    for cohort in range(5):
        rows = np.flatnonzero(apart.labelled.cohort_codes == cohort)
        assert totals.lives[cohort] == len(rows)
        assert totals.sums.wgy[cohort] == pytest.approx(sum(whole.wgy[j] for j in rows), rel=1e-12)
    assert total([np.ones(2), np.full(2, 2.0)]).tolist() == [3.0, 3.0]
    assert N_MOMENTS == 104


def test_too_little_is_told_as_in_one_piece(make_fleet):
    few = make_fleet(0, lives=4, cohorts=("all",))
    with pytest.raises(FitError, match="too few to tell lives from errors"):
        Apart(few.readings, np.arange(4) % 2).fit()
    exact = make_fleet(0, lives=12, cohorts=("all",), noise=0.0)
    with pytest.raises(FitError, match="without any scatter"):
        Apart(exact.readings, np.arange(12) % 2).fit()
