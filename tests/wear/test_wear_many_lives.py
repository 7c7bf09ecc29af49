"""Many lives: what is learnt from a sample of them is near what all of them tell."""

import numpy as np
import pytest

from fleetwear import wear
from fleetwear.wear import judging, problem
from fleetwear.wear.sums import evenly


def fleet(seed, lives):
    """Two-stage wear, slips, and two methods."""
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(lives), 6)
    x = np.sort(rng.uniform(5e3, 1.6e5, (lives, 6)), axis=1).ravel()
    onset = rng.uniform(4e4, 2.5e5, lives)[life]
    growth = x + 3.0 * np.maximum(x - onset, 0.0)
    y = rng.normal(0.1, 0.03, lives)[life] + rng.normal(3e-6, 6e-7, lives)[life] * growth
    method = np.where(rng.random(len(x)) < 0.3, "lever", "dial")
    y += np.where(method == "lever", 0.05, 0.0) + rng.normal(0, 0.03, len(x))
    y += np.where(rng.random(len(x)) < 0.03, rng.normal(-0.2, 0.1, len(x)), 0.0)
    return {"life": life, "distance": x, "play": y, "method": method}


@pytest.fixture
def few(monkeypatch):
    """As if 250 lives were many, and 100 a chunk."""
    monkeypatch.setattr(problem, "MOST_LIVES", 250)
    monkeypatch.setattr(problem, "_CHUNK", 100)
    monkeypatch.setattr(judging, "_CHUNK", 100)


def test_a_sample_tells_nearly_what_all_tell(few, monkeypatch):
    given = fleet(1, 600)
    options = {"shape": "two-stage", "slips": True, "reference_method": "dial"}
    sampled = wear.fit(**given, **options)
    monkeypatch.undo()
    whole = wear.fit(**given, **options)
    assert sampled.residual_variance == pytest.approx(whole.residual_variance, rel=0.15)
    assert sampled.population.pace == pytest.approx(whole.population.pace, rel=0.2)
    lives = np.arange(600)
    one, other = (results.predict(lives, 1.9e5) for results in (sampled, whole))
    assert np.median(np.abs(one["mean"] - other["mean"]) / other["se"]) < 0.15
    assert len(sampled.life_labels) == 600


def test_the_mean_line_is_that_of_all_lives(few):
    """Lives beyond the sample count, and a rare cohort is in it."""
    given = fleet(2, 600)
    rare = np.arange(600) % 50 == 7
    cohort = np.where(rare, "rare", "common")[given["life"]]
    chosen = problem.sampled_lives(rare.astype(np.int64))
    assert chosen[rare].sum() >= 8
    assert 250 <= chosen.sum() <= 260
    given["play"] = given["play"] + np.where(cohort == "rare", 0.3, 0.0)
    results = wear.fit(**given, cohort=cohort, shape="straight", slips=True, reference_method="dial")
    lines = results.cohorts
    assert lines.loc["rare", "intercept"] - lines.loc["common", "intercept"] == pytest.approx(0.3, abs=0.05)


def test_judging_in_chunks_changes_nothing(monkeypatch):
    given = fleet(3, 150)
    options = {"shape": "straight", "slips": True, "reference_method": "dial"}
    whole = wear.fit(**given, **options)
    results = wear.fit(**given, **options)
    monkeypatch.setattr(judging, "_CHUNK", 40)
    population = results.population
    prior = population.prior(["all"], np.zeros(150, dtype=np.int64))
    raw = wear.fitting.labelled_readings(
        given["life"], given["distance"], given["play"], None, method=given["method"], known_methods=["dial", "lever"]
    ).readings
    chunked = judging.judge_all(population, population.errors, raw, prior)
    monkeypatch.undo()
    at_once = judging.judge_all(population, population.errors, raw, prior)
    np.testing.assert_allclose(chunked.play, at_once.play, rtol=1e-12)
    np.testing.assert_array_equal(chunked.life, at_once.life)
    assert chunked.n_lives == 150
    assert whole.loglik == results.loglik


def test_even_samples():
    assert evenly(5, 9).all()
    chosen = evenly(1000, 100)
    assert chosen.sum() == 100
    assert chosen[0]
    assert chosen[-1]
    assert np.diff(np.flatnonzero(chosen)).max() <= 11
