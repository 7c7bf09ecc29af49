"""Stacking: next-visit scores against a loop that refits, and weights against another optimiser."""

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from fleetwear.wear import fit
from fleetwear.wear.fitting import _Problem
from fleetwear.wear.labels import labelled_readings
from fleetwear.wear.shapes import CANDIDATES
from fleetwear.wear.stacking import next_visit_scores, stacking_weights


def test_scores_equal_a_loop_that_refits(make_fleet):
    """Every scored reading again: fit without its fold, update with earlier readings, one density."""
    fleet = make_fleet(1, lives=30, readings=(2, 4), cohorts=("a", "b"), exponent=1.3, noise=0.02)
    visits = np.repeat(np.arange(len(fleet.life)), 1 + (np.arange(len(fleet.life)) % 3 == 0))
    life, distance, cohort = fleet.life[visits], fleet.distance[visits], fleet.cohort[visits]
    play = fleet.play[visits] + np.random.default_rng(0).normal(0, 0.01, len(visits))
    labelled = labelled_readings(life, distance, play, cohort)
    fold = np.arange(30) % 3
    problem = _Problem(labelled.readings, labelled.lives, labelled.cohorts, labelled.cohort_codes, reml=True)
    # with all lives fitted first, as "auto" does, so that both find exponents in the same way
    problem.fit("straight")
    problem.fit("power")
    rows = labelled.readings
    scores = next_visit_scores({"straight": problem, "power": problem}, rows, fold)
    expected = {"straight": [], "power": []}
    for k in range(3):
        for name in expected:
            population, estimation = problem.estimate(name, fold != k)
            trained = problem.fit("straight").__class__(
                population, estimation, labelled.lives, labelled.cohorts, labelled.cohort_codes,
                rows.sums(population.shape.exponent, population.shape.reference),
            )  # fmt: skip
            for i in np.flatnonzero(fold[rows.life] == k):
                earlier = (rows.life == rows.life[i]) & (rows.distance < rows.distance[i])
                if not earlier.any():
                    continue
                label = labelled.cohorts[labelled.cohort_codes[rows.life[i]]]
                one = trained.update(
                    ["x"] * earlier.sum(), rows.distance[earlier], rows.play[earlier], [label] * earlier.sum()
                )
                table = one.predict("x", rows.distance[i])
                sd = np.sqrt(table["se"][0] ** 2 + one.residual_variance)
                expected[name].append(stats.norm.logpdf(rows.play[i], table["mean"][0], sd))
    assert len(scores) == len(expected["straight"]) > 40
    for name, values in expected.items():
        np.testing.assert_allclose(scores[name], values, rtol=1e-6, atol=1e-6)


def test_folds_are_left_out(make_fleet):
    """A fold whose lives behave quite unlike the others scores low: it was not fitted to itself."""
    fleet = make_fleet(2, lives=60)
    odd = fleet.life % 5 == 0
    play = np.where(odd, fleet.play + 3.0 * fleet.distance / 2e5, fleet.play)
    labelled = labelled_readings(fleet.life, fleet.distance, play, None)
    problem = _Problem(labelled.readings, labelled.lives, labelled.cohorts, labelled.cohort_codes, reml=True)
    apart = next_visit_scores(
        dict.fromkeys(CANDIDATES, problem), labelled.readings, (np.arange(60) % 5 == 0).astype(np.int64)
    )
    mixed = next_visit_scores(dict.fromkeys(CANDIDATES, problem), labelled.readings, np.arange(60) // 12)
    assert apart["straight"].mean() < mixed["straight"].mean() - 0.5


@pytest.mark.parametrize("columns", [2, 3, 4])
@pytest.mark.parametrize("seed", range(4))
def test_weights_equal_another_optimiser(columns, seed):
    rng = np.random.default_rng(seed)
    scores = rng.normal(0.0, [0.3, 1.0, 0.02, 2.0][seed], (300, columns)) - 0.2 * np.arange(columns)
    weights = np.array(list(stacking_weights(pd.DataFrame(scores, columns=list("abcd")[:columns])).values()))

    def loss(w):
        return -np.log(np.exp(scores) @ w).mean()

    found = optimize.minimize(
        loss, np.full(columns, 1 / columns), method="SLSQP", bounds=[(0, 1)] * columns,
        constraints={"type": "eq", "fun": lambda w: w.sum() - 1}, options={"ftol": 1e-13, "maxiter": 500},
    )  # fmt: skip
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert (weights >= 0).all()
    assert loss(weights) <= found.fun + 1e-10
    # the other optimiser's differences leave its weights good to about 1e-4
    np.testing.assert_allclose(weights, found.x, atol=2e-3)


def test_weights_of_shapes_that_foretell_nearly_alike():
    """The case in which expectation-maximisation stops short: the optimum is all on one column."""
    rng = np.random.default_rng(0)
    base = rng.normal(size=400)
    scores = pd.DataFrame({"a": base, "b": base - 0.001 + 0.003 * rng.normal(size=400)})
    assert stacking_weights(scores)["a"] == pytest.approx(1.0, abs=1e-9)


def test_weights_without_scores_are_equal():
    assert stacking_weights(pd.DataFrame(columns=["a", "b"])) == {"a": 0.5, "b": 0.5}


def test_weights_of_scores_far_below_zero():
    scores = pd.DataFrame({"a": [-2000.0, -1500.0], "b": [-2010.0, -1490.0]})
    weights = stacking_weights(scores)
    assert weights["a"] == pytest.approx(0.5, abs=1e-3)


def test_curved_truth_is_given_to_the_power_curve(make_fleet):
    for seed in range(3):
        fleet = make_fleet(seed, lives=120, exponent=1.8, noise=0.01)
        assert fit(*fleet.readings).weights["power"] > 0.95


def test_straight_truth_gives_equal_forecasts(make_fleet):
    """Whatever the weights, forecasts then differ from the straight fit's by less than their own error."""
    for seed in range(3):
        fleet = make_fleet(seed, lives=120)
        mixed = fit(*fleet.readings).predict(np.arange(120), 2.2e5)
        alone = fit(*fleet.readings, shape="straight").predict(np.arange(120), 2.2e5)
        assert (np.abs(mixed["mean"] - alone["mean"]) < 0.5 * alone["se"]).all()
        np.testing.assert_allclose(mixed["se"], alone["se"], rtol=0.25)
