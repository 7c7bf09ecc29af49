"""Repeatability studies: known shops, missing strokes, refusals."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats

from fleetwear.errors import FitError, InputError
from fleetwear.measurement import analyse, reml
from fleetwear.measurement.cells import gather, interaction_test

_SPEC = importlib.util.spec_from_file_location("shops", Path(__file__).with_name("shops.py"))
shops = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(shops)


def true_deviation(name):
    true = shops.TRUE
    gauge = np.hypot(true["repeatability"], true["reproducibility"])
    return true | {"gauge R&R": gauge, "total": np.hypot(gauge, true["joint to joint"])}, name


def covered(studies, name):
    truth = true_deviation(name)[0][name]
    return sum(study.intervals[name][0] <= truth <= study.intervals[name][1] for study in studies)


@pytest.fixture(scope="module")
def balanced():
    rng = np.random.default_rng(11)
    return [analyse(*shops.visit(rng), level=0.9) for _ in range(200)]


@pytest.mark.parametrize("name", ["repeatability", "reproducibility", "gauge R&R", "joint to joint", "total"])
def test_intervals_of_complete_studies_hold_the_truth_at_their_level(balanced, name):
    """Within what a binomial count of 200 allows: 0.1 % on either side."""
    low, high = stats.binom.ppf([0.001, 0.999], len(balanced), 0.9)
    assert low <= covered(balanced, name) <= high


@pytest.mark.parametrize("name", ["repeatability", "reproducibility", "joint to joint"])
def test_intervals_of_incomplete_studies_hold_the_truth(name, incomplete):
    """They are approximate: no fewer than a binomial count at three points under the level allows."""
    low = stats.binom.ppf(0.001, len(incomplete), 0.87)
    assert covered(incomplete, name) >= low


@pytest.fixture(scope="module")
def incomplete():
    rng = np.random.default_rng(12)
    studies = []
    for _ in range(10):
        joint, person, play = shops.visit(rng, joints=8, strokes=2)
        keep = rng.random(play.size) > 0.2
        studies.append(analyse(joint[keep], person[keep], play[keep], level=0.9))
    assert {study.method for study in studies} == {"reml"}
    return studies


def test_estimates_centre_on_the_truth(balanced):
    for name in ("repeatability", "reproducibility", "joint to joint"):
        variances = np.array([study.variance(name) for study in balanced])
        standard_error = variances.std() / np.sqrt(variances.size)
        # setting to nought what falls below it lifts the mean a little; 4 standard errors hold that too
        assert abs(variances.mean() - true_deviation(name)[0][name] ** 2) < 4 * standard_error, name


def test_interaction_is_kept_where_it_shows_and_pooled_where_not():
    with_it = analyse(*shops.visit(np.random.default_rng(1), interaction=0.1))
    without = analyse(*shops.visit(np.random.default_rng(3)), pool_above=0.0)
    assert not with_it.pooled
    assert with_it.variances["interaction"] == pytest.approx(0.01, rel=0.6)
    assert with_it.table["source"].tolist() == ["joint", "people", "interaction", "repeatability"]
    assert without.pooled
    assert without.variances["interaction"] == 0.0
    assert without.table["degrees"].sum() == 10 * 4 * 3 - 1


def test_mean_squares_equal_plain_loops():
    joint, person, play = shops.visit(np.random.default_rng(4), joints=4, people=3, strokes=2)
    study = analyse(joint, person, play, pool_above=1.0 - 1e-12)
    table = study.table.set_index("source")["sum_of_squares"]
    grand, within, between, each = play.mean(), 0.0, 0.0, 0.0
    for j in range(4):
        between += 6 * (play[joint == j].mean() - grand) ** 2
        for p in range(3):
            cell = play[(joint == j) & (person == p)]
            within += ((cell - cell.mean()) ** 2).sum()
            each += 2 * (cell.mean() - play[joint == j].mean() - play[person == p].mean() + grand) ** 2
    assert table["joint"] == pytest.approx(between)
    assert table["interaction"] == pytest.approx(each)
    assert table["repeatability"] == pytest.approx(within)


def test_interaction_test_does_not_need_balance():
    """F by hand: the residual sums of squares of two least-squares fits of all readings."""
    rng = np.random.default_rng(6)
    joint, person, play = shops.visit(rng, joints=5, people=3)
    keep = rng.random(play.size) > 0.3
    joint, person, play = joint[keep], person[keep], play[keep]
    additive = np.column_stack([np.eye(5)[joint], np.eye(3)[person]])
    full = np.eye(15)[joint * 3 + person]
    left = [((play - x @ np.linalg.lstsq(x, play, rcond=None)[0]) ** 2).sum() for x in (additive, full)]
    ranks = [np.linalg.matrix_rank(x) for x in (additive, full)]
    f = (left[0] - left[1]) / (ranks[1] - ranks[0]) / (left[1] / (play.size - ranks[1]))
    assert interaction_test(gather(joint, person, play))[2] == pytest.approx(f)


def test_gradient_of_the_restricted_likelihood():
    joint, person, play = shops.visit(np.random.default_rng(7), joints=5, people=3)
    model = reml.likelihood(gather(joint[2:], person[2:], play[2:]), pooled=False)
    v = np.array([0.6, 0.2, 0.05, 0.1])
    slope = optimize.approx_fprime(v, lambda at: model.minus_two(at)[0], 1e-7)
    assert model.minus_two(v)[1] == pytest.approx(slope, rel=1e-4)


def test_units_do_not_matter():
    joint, person, play = shops.visit(np.random.default_rng(8))
    for keep in (slice(None), slice(3, None)):
        one, other = (analyse(joint[keep], person[keep], play[keep] * scale) for scale in (1.0, 1000.0))
        for name in ("repeatability", "reproducibility", "total"):
            assert other.deviation(name) == pytest.approx(1000.0 * one.deviation(name), rel=1e-4)
            assert other.intervals[name] == pytest.approx([1000.0 * end for end in one.intervals[name]], rel=2e-2)


def test_one_person_tells_repeatability_only():
    joint, person, play = shops.visit(np.random.default_rng(9), people=1)
    study = analyse(joint, person, play)
    assert np.isnan(study.reproducibility)
    assert study.gauge == study.repeatability == pytest.approx(0.04, rel=0.4)
    assert "reproducibility" not in study.intervals
    assert any("One person" in note for note in study.notes)
    assert analyse(joint[1:], person[1:], play[1:]).gauge == pytest.approx(study.gauge, rel=0.2)


def test_one_stroke_a_cell_counts_the_interaction_as_repeatability():
    study = analyse(*shops.visit(np.random.default_rng(10), strokes=1))
    assert study.pooled
    assert study.repeatability == pytest.approx(0.04, rel=0.4)
    assert any("No cell holds two strokes" in note for note in study.notes)


def test_a_coarse_indicator_is_told():
    joint, person, _ = shops.visit(np.random.default_rng(1))
    study = analyse(joint, person, 0.3 + 0.1 * joint)
    assert study.repeatability == 0.0
    assert any("too coarse" in note for note in study.notes)


@pytest.mark.parametrize(
    ("joint", "person", "play", "says"),
    [
        ("aa", "xy", [1.0, 2.0], "1 joint"),
        ("aabb", "xxyy", [1.0, 2.0, 3.0, 4.0], "share none"),
        ("ab", "xx", [1.0, 2.0], "no repeats"),
    ],
)
def test_studies_that_tell_nothing_are_refused(joint, person, play, says):
    with pytest.raises(FitError, match=says):
        analyse(list(joint), list(person), play)


def test_arrays_that_do_not_go_together_are_refused():
    with pytest.raises(InputError, match="do not go together"):
        analyse(["a"], ["x", "y"], [1.0])
    with pytest.raises(InputError, match="reading 2 is nan"):
        analyse(["a", "a"], ["x", "x"], [1.0, np.nan])
    joint, person, play = shops.visit(np.random.default_rng(1))
    with pytest.raises(FitError, match="equally often"):
        analyse(joint[1:], person[1:], play[1:], method="anova")


def test_the_demo_study_shows_what_it_was_made_from(tmp_path):
    from demo_fleet import study as demo
    from fleetwear.intake.study_file import read_study

    demo.study_table(np.random.default_rng(6)).to_csv(tmp_path / demo.FILE, index=False)
    found = read_study(tmp_path / demo.FILE)
    study = analyse(found.joints, found.people, found.play_mm, level=0.99)
    assert study.method == "anova"
    low, high = study.intervals["repeatability"]
    assert low < np.hypot(demo.STROKE_SD_MM, demo.RESOLUTION_MM / np.sqrt(12)) < high
    low, high = study.intervals["reproducibility"]
    assert low < demo.PERSON_SD_MM < high
