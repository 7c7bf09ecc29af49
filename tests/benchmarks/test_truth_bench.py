"""The truth bench itself: scores against other programs, and an oracle that is calibrated and unbeaten."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

sys.path.append(str(Path(__file__).parent))

from truth import scoring
from truth.models import (
    MODELS,
    SHOP_MODELS,
    known_variances,
    models_for,
    prefixes,
    reading_arguments,
    visit_variances,
    wear_model,
)
from truth.oracle import Likelihood, filtered_forecast, oracle_forecast, sampled_forecast
from truth.processes import PROCESSES, RESOLUTION_MM, Fleet, Process, cases_of, crossing_share, fleets, read, simulate
from truth.run import keep, main

DRAWS = 2**13
LIVES = 200


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(3)


def cluster_z(values: np.ndarray, life: np.ndarray) -> float:
    """Return the sum of values over its standard error, lives being independent."""
    of_life = np.bincount(life, weights=values)
    return float(of_life.sum() / np.sqrt((of_life**2).sum()))


def test_scores_agree_with_scoringrules(rng: np.random.Generator) -> None:
    # Gneiting & Raftery (2007), JASA 102: Brier and log score (section 3), CRPS of a normal (equation 21)
    rules = pytest.importorskip("scoringrules")
    p, event = rng.uniform(0.01, 0.99, 500), rng.random(500) < 0.3
    mean, sd, outcome = rng.normal(size=500), rng.uniform(0.05, 3.0, 500), 2.0 * rng.normal(size=500)
    np.testing.assert_allclose(scoring.brier(p, event), rules.brier_score(event.astype(float), p), atol=1e-8)
    np.testing.assert_allclose(scoring.log_score(p, event), rules.log_score(event.astype(float), p), atol=1e-8)
    crps = rules.crps_normal(outcome, mean, sd)
    np.testing.assert_allclose(scoring.crps_normal(mean, sd, outcome), crps, atol=1e-8)


def test_calibration_agrees_with_statsmodels(rng: np.random.Generator) -> None:
    logit = rng.normal(-1.0, 2.0, 3_000)
    event = rng.random(3_000) < 1.0 / (1.0 + np.exp(-0.3 - 0.7 * logit))
    p = scoring.held(1.0 / (1.0 + np.exp(-logit)))
    design = sm.add_constant(np.log(p / (1.0 - p)))
    peer = sm.Logit(event.astype(float), design).fit(disp=False, tol=1e-10)
    np.testing.assert_allclose(scoring.calibration(p, event), peer.params, rtol=1e-6)


def test_misses_and_false_flags_by_hand() -> None:
    event = np.array([True, True, False, False, True])
    flagged = scoring.most_likely(np.array([0.9, 0.1, 0.8, 0.2, 0.3]), 3)
    assert flagged.tolist() == [True, False, True, False, True]
    assert scoring.missed(flagged, event) == pytest.approx(1 / 3)
    assert scoring.false_per_true(flagged, event) == pytest.approx(1 / 2)
    assert scoring.brier_skill(event.astype(float), event) == 1.0
    assert scoring.brier_skill(np.full(5, 0.6), event) == pytest.approx(0.0)


@pytest.mark.parametrize("name", [name for name in PROCESSES if not name.startswith("small")])
def test_about_one_case_in_ten_is_a_crossing(name: str) -> None:
    crossings, unseen = crossing_share(PROCESSES[name], lives=10_000)
    assert 0.09 < crossings < 0.12
    assert unseen == 0.0 if not PROCESSES[name].soft_detection else 0.18 < unseen < 0.22


def test_cases_and_prefixes_agree_with_a_plain_loop(rng: np.random.Generator) -> None:
    process = PROCESSES["none-seen-seal"]
    fleet = simulate(process, 40, rng)
    cases = cases_of(fleet, process.limit_mm)
    expected, expected_rows, labels = [], [], []
    for life in range(40):
        rows = np.flatnonzero(fleet.life == life)
        assert 6 <= len(rows) <= 9
        assert (np.diff(fleet.distance_km[rows], prepend=0.0) >= 6_000.0).all()
        for i, last in enumerate(rows[:-1]):
            if np.isnan(fleet.reading_mm[last]) or fleet.reading_mm[last] <= process.limit_mm:
                expected.append((last, fleet.truth_mm[last + 1] > process.limit_mm))
                expected_rows += rows[: i + 1].tolist()
                labels += [100 * life + i] * (i + 1)
    assert cases.last.tolist() == [last for last, _ in expected]
    assert cases.event.tolist() == [event for _, event in expected]
    rows, prefix, label = prefixes(fleet, cases)
    assert rows.tolist() == expected_rows
    assert prefix.tolist() == labels
    assert len(np.unique(label)) == len(label) == len(cases.last)


def test_readings_enter_as_far_as_fit_takes_them(rng: np.random.Generator) -> None:
    process = replace(PROCESSES["none-seen-steady"], methods=PROCESSES["methods-seal"].methods)
    fleet = simulate(process, 30, rng)
    rows = np.arange(5, 105)
    unseen = np.isnan(fleet.reading_mm[rows])
    assert unseen.any()
    plain = reading_arguments(process, fleet, rows, {"variance_ratio"})
    assert set(plain) == {"distance", "play", "variance_ratio"}
    assert (plain["play"][unseen] == 0.125).all()
    assert (plain["variance_ratio"] == np.where(unseen, 3.0, 1.0)).all()
    told = reading_arguments(process, fleet, rows, {"variance_ratio", "result", "method"})
    assert set(told) == {"distance", "play", "result", "method"}
    assert (np.isnan(told["play"]) == unseen).all()
    assert (told["result"] == np.where(unseen, "none seen", "measured")).all()
    assert (told["method"] == np.where(fleet.method[rows] == 0, "dial", "lever")).all()


def test_readings_are_rounded_and_replicates_repeat() -> None:
    first, again = (fleets(PROCESSES["methods-seal"], 4)[1] for _ in range(2))
    np.testing.assert_array_equal(first.reading_mm, again.reading_mm)
    steps = first.reading_mm / RESOLUTION_MM
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    assert (first.reading_mm >= 0.0).all()
    other = fleets(PROCESSES["methods-seal"], 5)[1]
    assert len(other.life) != len(first.life) or (other.reading_mm != first.reading_mm).any()


@pytest.mark.parametrize(("name", "method"), [("none-seen-seal", 0), ("methods-seal", 1)])
def test_likelihood_is_the_frequency_of_readings(name: str, method: int) -> None:
    process = PROCESSES[name]
    n, play = 400_000, 0.21
    truth, methods = np.full(n, play), np.full(n, method)
    rng = np.random.default_rng(11)
    reading = read(process, rng, truth, methods)
    levels = np.arange(60) * RESOLUTION_MM
    likelihood = Likelihood(process)
    expected = [float(likelihood.of(level, method, np.array([play]))[0]) for level in levels]
    if process.soft_detection:
        expected.append(float(likelihood.of(np.nan, method, np.array([play]))[0]))
    counts = np.bincount(np.round(np.nan_to_num(reading, nan=60 * RESOLUTION_MM) / RESOLUTION_MM).astype(int))
    counts = np.pad(counts, (0, len(expected)))[: len(expected)]
    assert sum(expected) == pytest.approx(1.0, abs=1e-4)
    wanted = n * np.array(expected)
    common = wanted > 10.0
    assert common.sum() > 10
    chi2 = ((counts - wanted)[common] ** 2 / wanted[common]).sum()
    assert chi2 < stats.chi2.ppf(0.9999, common.sum())


CHECKED = ["steady", "none-seen-seal", "methods-seal", "wandering-0.8"]


@pytest.mark.parametrize("name", CHECKED)
def test_oracle_is_calibrated_and_unbeaten(name: str) -> None:
    process = PROCESSES[name]
    training, fleet, rng = fleets(process, 1000, scored_lives=LIVES)
    cases = cases_of(fleet, process.limit_mm)
    life = fleet.life[cases.last]
    oracle = oracle_forecast(process, fleet, cases, rng, draws=DRAWS)

    p, event = oracle.probability, cases.event
    assert abs(cluster_z(p - event, life)) < 4.0
    middle = (p > 0.05) & (p < 0.95)
    assert abs(cluster_z(np.where(middle, (p - event) * (p - 0.5), 0.0), life)) < 4.0
    assert abs(cluster_z(cases.truth_mm - oracle.mean, life)) < 4.0
    for low, high, level in (
        (oracle.lower80, oracle.upper80, 0.80),
        (oracle.lower95, oracle.upper95, 0.95),
    ):
        inside = (low <= cases.truth_mm) & (cases.truth_mm <= high)
        assert abs(cluster_z(inside - level, life)) < 4.0

    best = scoring.brier(p, event)
    for model, forecast in MODELS.items():
        given = forecast(process, training, fleet, cases)
        worse = scoring.brier(given.probability, event) - best
        assert cluster_z(worse, life) > -2.0, model
        if model == "line per joint":
            assert cluster_z(worse, life) > 3.0


def test_the_two_oracles_agree_where_both_apply() -> None:
    steady: Process = PROCESSES["steady"]
    _, fleet, rng = fleets(steady, 7, scored_lives=60)
    cases = cases_of(fleet, steady.limit_mm)
    sampled = sampled_forecast(steady, fleet, cases, rng, draws=2**15)
    filtered = filtered_forecast(replace(steady, wander=1e-9), fleet, cases)
    gap = np.abs(sampled.probability - filtered.probability)
    # rounding enters the second as a variance, and the first has finitely many draws
    assert gap.mean() < 0.002
    assert np.quantile(gap, 0.99) < 0.03
    assert np.abs(sampled.mean - filtered.mean).mean() < 0.001
    assert np.abs(sampled.upper95 - filtered.upper95).mean() < 0.003


def test_a_run_prints_a_table_and_keeps_the_others(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    results = tmp_path / "results.md"
    keep({"seal": "kept table", "small-steady": "old table"}, results)
    asked = ["--replicates", "2", "--processes", "small-steady", "--models", "straight", "--draws", "1024"]
    main([*asked, "--workers", "1", "--results", str(results)])
    assert "| straight | 0.9" in capsys.readouterr().out
    text = results.read_text(encoding="utf-8")
    assert "kept table" in text
    assert "old table" not in text
    assert "2 replicates" in text
    with pytest.raises(SystemExit, match="no process nonsense"):
        main(["--processes", "nonsense"])


def brier_of_shops(name: str, replicates: int) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Return Brier scores by what a straight model is told of shops' variances, and the lives that they belong to."""
    process = PROCESSES[name]

    def reversed_(process: Process, training: Fleet) -> np.ndarray:
        return 1.0 / known_variances(process, training)

    told = {"nothing": None, "visits": visit_variances, "known": known_variances, "wrong": reversed_}
    scores: dict[str, list[np.ndarray]] = {what: [] for what in told}
    lives = []
    for replicate in range(replicates):
        training, fleet, _ = fleets(process, replicate)
        cases = cases_of(fleet, process.limit_mm)
        lives.append(fleet.life[cases.last] + 10_000 * replicate)
        for what, variances in told.items():
            found = wear_model("straight", variances=variances)(process, training, fleet, cases)
            scores[what].append(scoring.brier(found.probability, cases.event))
    return {what: np.concatenate(parts) for what, parts in scores.items()}, np.concatenate(lives)


def test_a_known_method_variance_beats_one_that_is_not() -> None:
    """Case by case on the same fleets, lives being independent: 3 standard errors, once in 700 by chance.

    A variance told the wrong way about must lose, so that the comparison can.
    """
    scores, life = brier_of_shops("small-shops", 2)
    nothing = scores["nothing"]
    assert cluster_z(nothing - scores["known"], life) > 3.0
    assert cluster_z(nothing - scores["visits"], life) > 3.0
    assert cluster_z(nothing - scores["wrong"], life) < -3.0


def test_visits_tell_the_variances_of_shops() -> None:
    process = replace(PROCESSES["shops-steady"], training_lives=200)
    training, _, _ = fleets(process, 0, scored_lives=1)
    told, true = visit_variances(process, training), known_variances(process, training)
    np.testing.assert_allclose(told / told.mean(), true / true.mean(), rtol=0.35)


def test_models_of_shops_are_run_for_shops_only() -> None:
    asked = ["straight", *SHOP_MODELS]
    assert models_for(PROCESSES["shops-seal"], asked) == asked
    assert models_for(PROCESSES["methods-seal"], asked) == ["straight"]
