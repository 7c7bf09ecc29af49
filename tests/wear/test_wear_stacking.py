"""Stacking: next-visit scores against a loop that refits, and weights against another optimiser."""

from copy import deepcopy
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from fleetwear.wear import fit
from fleetwear.wear.labels import labelled_readings
from fleetwear.wear.shapes import CANDIDATES
from fleetwear.wear.stacking import by_evidence, foretell_next_visits, stacking_weights


def test_scores_equal_a_loop_that_refits(make_fleet, make_problem):
    """Every scored reading again: fit without its fold, update with earlier readings, one density."""
    fleet = make_fleet(1, lives=30, readings=(2, 4), cohorts=("a", "b"), exponent=1.3, noise=0.02)
    visits = np.repeat(np.arange(len(fleet.life)), 1 + (np.arange(len(fleet.life)) % 3 == 0))
    life, distance, cohort = fleet.life[visits], fleet.distance[visits], fleet.cohort[visits]
    play = fleet.play[visits] + np.random.default_rng(0).normal(0, 0.01, len(visits))
    labelled = labelled_readings(life, distance, play, cohort)
    fold = np.arange(30) % 3
    problem = make_problem(labelled)
    # with all lives fitted first, as "auto" does, and each from the same state, so that both search in the same way
    problem.fit("straight")
    problem.fit("power")
    rows = labelled.readings
    again = deepcopy(problem)
    scores = foretell_next_visits({"straight": problem, "power": problem}, fold).scores()
    expected = {"straight": [], "power": []}
    for k in range(3):
        for name in expected:
            population, estimation = again.estimate(name, fold != k)
            trained = problem.fit("straight").__class__(
                population, estimation, labelled.lives, labelled.cohorts, labelled.cohort_codes, rows
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


def test_folds_are_left_out(make_fleet, make_problem):
    """A fold whose lives behave quite unlike the others scores low: it was not fitted to itself."""
    fleet = make_fleet(2, lives=60)
    odd = fleet.life % 5 == 0
    play = np.where(odd, fleet.play + 3.0 * fleet.distance / 2e5, fleet.play)
    labelled = labelled_readings(fleet.life, fleet.distance, play, None)
    problem = make_problem(labelled)
    every = dict.fromkeys(CANDIDATES, problem)
    apart = foretell_next_visits(every, (np.arange(60) % 5 == 0).astype(np.int64)).scores()
    mixed = foretell_next_visits(every, np.arange(60) // 12).scores()
    assert apart["straight"].mean() < mixed["straight"].mean() - 0.5


def scored(values, names, cohort=0, fold=0):
    return pd.DataFrame(values, columns=names).assign(cohort=cohort, fold=fold)


@pytest.mark.parametrize("columns", [2, 3, 4])
@pytest.mark.parametrize("seed", range(4))
def test_weights_equal_another_optimiser(columns, seed):
    rng = np.random.default_rng(seed)
    scores = rng.normal(0.0, [0.3, 1.0, 0.02, 2.0][seed], (300, columns)) - 0.2 * np.arange(columns)
    weights = np.array(list(stacking_weights(scored(scores, list("abcd")[:columns])).overall.values()))

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
    scores = scored(np.column_stack([base, base - 0.001 + 0.003 * rng.normal(size=400)]), ["a", "b"])
    assert stacking_weights(scores).overall["a"] == pytest.approx(1.0, abs=1e-9)


def test_weights_without_scores_are_equal():
    empty = stacking_weights(pd.DataFrame(columns=["a", "b", "cohort", "fold"]))
    assert empty.overall == {"a": 0.5, "b": 0.5}
    assert empty.by_cohort.empty


def test_weights_of_scores_far_below_zero():
    weights = stacking_weights(scored(np.array([[-2000.0, -2010.0], [-1500.0, -1490.0]]), ["a", "b"])).overall
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


def test_cohorts_that_differ_get_their_own_weights():
    """Two cohorts of 400 visits, each foretold best by another shape; a third with ten visits follows all."""
    rng = np.random.default_rng(1)
    cohort = np.repeat([0, 1, 2], [400, 400, 10])
    better = np.where(cohort == 1, -1.0, 1.0) * (cohort < 2)
    values = np.column_stack([np.zeros(810), -0.5 * better + 0.3 * rng.normal(size=810)])
    weights = stacking_weights(scored(values, ["a", "b"], cohort, np.arange(810) % 5))
    assert weights.pooling < np.inf
    assert weights.by_cohort.loc[0, "a"] > 0.8
    assert weights.by_cohort.loc[1, "b"] > 0.8
    assert abs(weights.by_cohort.loc[2, "a"] - weights.overall["a"]) < 0.2
    np.testing.assert_allclose(weights.by_cohort[["a", "b"]].sum(axis=1), 1.0)
    assert list(weights.by_cohort["n_scored"]) == [400, 400, 10]


def test_cohorts_that_do_not_differ_are_pooled():
    """Noise is not chased: over ten draws, thirty cohorts of twelve visits keep within 0.15 of the overall weights."""
    far = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        cohort = np.arange(360) % 30
        values = np.column_stack([np.zeros(360), 0.8 * rng.normal(size=360) - 0.1])
        weights = stacking_weights(scored(values, ["a", "b"], cohort, np.arange(360) // 30 % 5))
        far.append(np.abs(weights.by_cohort["a"] - weights.overall["a"]).mean())
    assert np.mean(far) < 0.15


def test_pooled_weights_equal_another_optimiser():
    """The weights of a cohort maximise its log score plus that of the visits that stand for the overall ones."""
    from fleetwear.wear.stacking import _drawn_to

    rng = np.random.default_rng(3)
    density, overall, pooling = np.exp(rng.normal(size=(40, 3))), np.array([0.5, 0.3, 0.2]), 30.0

    def loss(w):
        return -np.log(density @ w).sum() - pooling * overall @ np.log(w)

    found = optimize.minimize(
        loss, np.full(3, 1 / 3), method="SLSQP", bounds=[(1e-9, 1)] * 3,
        constraints={"type": "eq", "fun": lambda w: w.sum() - 1}, options={"ftol": 1e-14},
    )  # fmt: skip
    np.testing.assert_allclose(_drawn_to(density, overall, pooling), found.x, atol=1e-4)


def test_the_spread_makes_up_for_variances_that_are_too_small(make_fleet, make_problem):
    """Held-out visits of a fleet are foretold with its own variances; with a quarter of them the spread finds four."""
    fleet = make_fleet(3, lives=300)
    problem = make_problem(labelled_readings(*fleet.readings))
    held = foretell_next_visits({"straight": problem}, np.arange(300) % 5)
    weights = {"straight": 1.0}
    assert held.spread(weights) == pytest.approx(1.0, abs=0.2)
    short = [{name: replace(one, variance=one.variance / 3.0) for name, one in fold.items()} for fold in held.foretold]
    assert replace(held, foretold=short).spread(weights) == pytest.approx(3.0, rel=0.25)


def two_ways(seed, *, lives=200, visits=8):
    """Lives of one cohort of which every other wears straight, every other with the exponent 2.2."""
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(lives), visits)
    x = np.sort(rng.uniform(0.1, 1.6, (lives, visits)), axis=1).ravel()
    bent = life % 2 == 1
    rate = (0.5 + 0.1 * rng.normal(size=lives))[life]
    play = 0.1 + rate * np.where(bent, x**2.2, x) + 0.02 * rng.normal(size=len(x))
    return life, x, play


def test_lives_of_one_cohort_may_tell_their_shape_by_their_own_readings():
    """Where lives differ, their readings are asked, and forecasts of lives not seen gain; where they do not, not."""
    results = fit(*two_ways(1), candidates=("straight", "power"))
    assert results.evidence > 0.0
    life, x, play = two_ways(2)
    early = np.tile(np.arange(8) < 6, 200)
    told = results.update(life[early], x[early], play[early])
    blind = replace(told, evidence=0.0)
    truth = play[7::8]
    error = [np.mean((one.predict(np.arange(200), x[7::8])["mean"] - truth) ** 2) for one in (told, blind)]
    assert error[0] < 0.95 * error[1]


def test_where_all_lives_wear_alike_their_readings_are_not_asked(make_fleet):
    assert fit(*make_fleet(4, lives=150).readings).evidence == 0.0


def test_weights_by_evidence():
    weights, evidence = np.array([[0.3, 0.7], [0.3, 0.7]]), np.array([[-5.0, -3.0], [-1000.0, -10.0]])
    np.testing.assert_allclose(by_evidence(weights, evidence, 0.0), weights)
    told = by_evidence(weights, evidence, 1.0)
    assert told[0, 1] == pytest.approx(0.7 * np.exp(2) / (0.3 + 0.7 * np.exp(2)))
    assert told[1, 1] == pytest.approx(1.0)
