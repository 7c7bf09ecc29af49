"""Setup beside repeatability from repeat visits: the likelihood, its intervals, and what groups borrow."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import special, stats

from fleetwear.errors import InputError
from fleetwear.measurement import repeats as module
from fleetwear.measurement.repeats import fit_setups, repeats_of
from fleetwear.measurement.setups import (
    LEAST_DEGREES,
    Repeatability,
    chi_square_interval,
    drawn_together,
    estimate_setups,
    repeatability_of,
    spread_of,
)

_SPEC = importlib.util.spec_from_file_location("shops", Path(__file__).with_name("shops.py"))
shops = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(shops)


def lines(life, growth, play, strokes, share=None):
    """Return repeat visits whose lives wear along straight lines."""
    columns = np.column_stack([np.ones(len(life)), growth])
    return repeats_of(life, columns, play, strokes=strokes, setup_share=np.ones(len(life)) if share is None else share)


def one_shop(rng, *, level=0.95, **given):
    life, growth, play, strokes, squares, degrees = shops.repeat_visits(rng, **given)
    repeatability = repeatability_of(np.array([squares]), np.array([degrees]))
    return estimate_setups(lines(life, growth, play, strokes)[0], repeatability, level=level)


def two_shops(rng, first, second, **given):
    """Return the estimates of both shops, and Akaike's criterion of telling them apart less that of not."""
    parts = [shops.repeat_visits(rng, **(given | own)) for own in (first, second)]
    life = np.concatenate([parts[0][0], parts[1][0] + 1_000])
    growth, play, strokes = (np.concatenate([part[at] for part in parts]) for at in (1, 2, 3))
    group = np.repeat([0, 1], [len(part[0]) for part in parts])
    repeats, kept = lines(life, growth, play, strokes)
    squares, degrees = (np.array([part[at] for part in parts]) for at in (4, 5))
    whole = estimate_setups(repeats, repeatability_of(squares.sum(keepdims=True), degrees.sum(keepdims=True)))
    parent = np.zeros(2, dtype=np.int64)
    apart = estimate_setups(
        repeats.grouped(group[kept]), repeatability_of(squares, degrees, parent=parent), whole=whole, parent=parent
    )
    return apart, whole, apart.akaike - whole.akaike


def test_the_restricted_likelihood_its_slope_and_information_equal_dense_matrices():
    rng = np.random.default_rng(1)
    life, growth, play, strokes, _, _ = shops.repeat_visits(rng, lives=6, visits=(2, 6))
    growth[life == 1] = 0.7  # read again without wear: a level, not a line
    share = rng.uniform(0.4, 1.0, len(life))
    group = rng.integers(0, 3, len(life))
    repeats, kept = lines(life, growth, play, strokes, share)
    group, repeats = group[kept], repeats.grouped(group[kept])
    setup, stroke = np.array([0.002, 0.0005, 0.004]), np.array([0.0004, 0.001, 0.0])
    variance = repeats.setup_share * setup[group] + stroke[group] / repeats.strokes
    value, slope, information = module._restricted(repeats, variance, 3)

    wanted, wanted_slope, wanted_information = 0.0, np.zeros(3), np.zeros((3, 3))
    original = life[kept]
    for one in np.unique(original):
        rows = original == one
        x = np.ones((rows.sum(), 1))
        if one != 1:
            x = np.column_stack([x, growth[kept][rows]])
        x = np.linalg.qr(x)[0]  # the restricted likelihood is of any basis, up to a constant; this one is orthonormal
        v_inverse = np.diag(1.0 / variance[rows])
        inner = x.T @ v_inverse @ x
        p = v_inverse - v_inverse @ x @ np.linalg.inv(inner) @ x.T @ v_inverse
        y = repeats.play[rows]
        wanted += np.log(variance[rows]).sum() + np.log(np.linalg.det(inner)) + y @ p @ y
        parts = [np.diag(repeats.setup_share[rows] * (group[rows] == g)) for g in range(3)]
        for g in range(3):
            wanted_slope[g] += 0.5 * (y @ p @ parts[g] @ p @ y - np.trace(p @ parts[g]))
            for h in range(3):
                wanted_information[g, h] += 0.5 * np.trace(p @ parts[g] @ p @ parts[h])
    assert value == pytest.approx(wanted)
    np.testing.assert_allclose(slope, wanted_slope, rtol=1e-8)
    np.testing.assert_allclose(information, wanted_information, rtol=1e-8)


def test_lives_that_their_lines_take_up_are_left_out_and_told():
    life, growth = np.array([7, 7, 9, 9, 9, 4]), np.array([0.0, 1.0, 0.0, 1.0, 2.0, 0.0])
    repeats, kept = lines(life, growth, np.arange(6.0), np.ones(6))
    assert kept.tolist() == [False, False, True, True, True, False]
    assert repeats.n_lives == 1
    assert repeats.columns.tolist() == [2]


def test_the_step_between_visits_is_that_of_nested_analysis_of_variance():
    """NIST/SEMATECH e-Handbook, 2.4: s_days^2 = s_2^2 - s_1^2 / J (level 1 within days, 2 between; from memory)."""
    rng = np.random.default_rng(2)
    joints, days, strokes = 12, 6, 4
    y = 0.3 * rng.normal(size=(joints, 1, 1)) + 0.05 * rng.normal(size=(joints, days, 1))
    y = y + 0.03 * rng.normal(size=(joints, days, strokes))
    means = y.mean(axis=2)
    level_1 = y.var(axis=2, ddof=1).mean()
    level_2 = means.var(axis=1, ddof=1).mean()
    life = np.repeat(np.arange(joints), days)
    repeats, _ = repeats_of(
        life, np.ones((len(life), 1)), means.ravel(), strokes=np.full(len(life), 4.0), setup_share=np.ones(len(life))
    )
    found = estimate_setups(repeats, repeatability_of(np.array([level_1 * 216.0]), np.array([216.0])))
    assert found.setup[0] == pytest.approx(level_2 - level_1 / strokes, rel=1e-6)
    assert found.degrees[0] == pytest.approx(joints * (days - 1))
    assert found.repeatability.variance[0] == pytest.approx(level_1)


def test_the_setup_variance_equals_that_of_a_mixed_model_of_every_stroke():
    """statsmodels' MixedLM, restricted likelihood: a line of its own for each life, a random setup for each visit."""
    rng = np.random.default_rng(3)
    lives, visits, strokes = 8, 6, 3
    life = np.repeat(np.arange(lives), visits)
    growth = rng.uniform(0.0, 2.0, len(life))
    y = (0.4 + 0.3 * growth + 0.05 * rng.normal(size=len(life)))[:, None] + 0.03 * rng.normal(size=(len(life), strokes))
    y = 100.0 * y  # of order one: the peer takes small variances for the edge of what can be
    frame = pd.DataFrame({"y": y.ravel(), "visit": np.repeat(np.arange(len(life)), strokes)})
    of_life = np.eye(lives)[np.repeat(life, strokes)]
    exog = np.column_stack([of_life, of_life * np.repeat(growth, strokes)[:, None]])
    peer = sm.MixedLM(frame["y"], exog, groups=frame["visit"]).fit(reml=True, method="lbfgs")
    repeats, _ = lines(life, growth, y.mean(axis=1), np.full(len(life), float(strokes)))
    within = y.var(axis=1, ddof=1).mean()
    found = fit_setups(repeats, np.array([within]))
    # balanced strokes: what strokes say alone is what the joint likelihood says; 1e-3 is the peer's optimiser
    assert within == pytest.approx(peer.scale, rel=1e-3)
    assert found.setup[0] == pytest.approx(float(peer.cov_re.iloc[0, 0]), rel=1e-3)


@pytest.mark.parametrize(
    ("given", "short", "level"),
    [({}, 0.0, 0.9), ({}, 0.0, 0.95), ({"stroke": 0.04}, 0.0, 0.95), ({"strokes": (3,)}, 0.0, 0.95),
     ({"lives": 8, "visits": (4, 6)}, 0.02, 0.95), ({"setup": 0.015, "stroke": 0.04}, 0.02, 0.95)],
    ids=["usual at 90", "usual", "strokes as loose", "always three", "few lives", "setup small"],
)  # fmt: skip
def test_intervals_of_setup_hold_the_truth_at_their_level(given, short, level):
    """Within a binomial count of 250 at the level: 0.1 % on either side; two points under it where little is told."""
    rng = np.random.default_rng(4)
    truth = given.get("setup", 0.04) ** 2
    found = [one_shop(rng, level=level, **given) for _ in range(250)]
    held = sum(bool(one.lower[0] <= truth <= one.upper[0]) for one in found)
    assert stats.binom.ppf(0.001, 250, level - short) <= held <= stats.binom.ppf(0.999, 250, level + short)


def test_without_setup_the_interval_begins_at_nought_and_the_estimate_never_lies_below():
    rng = np.random.default_rng(5)
    found = [one_shop(rng, setup=0.0) for _ in range(100)]
    assert min(one.setup[0] for one in found) == 0.0
    assert sum(one.lower[0] == 0.0 for one in found) >= stats.binom.ppf(0.001, 100, 0.95)


def test_estimates_centre_on_the_truth():
    rng = np.random.default_rng(6)
    raw = []
    for _ in range(200):
        life, growth, play, strokes, _, _ = shops.repeat_visits(rng, setup=0.02, stroke=0.04)
        raw.append(fit_setups(lines(life, growth, play, strokes)[0], np.array([0.04**2])).setup[0])
    assert np.mean(raw) == pytest.approx(0.02**2, abs=4 * np.std(raw) / np.sqrt(200))


def test_two_setups_count_as_half_a_setup():
    rng = np.random.default_rng(7)
    life, growth, play, strokes, _, _ = shops.repeat_visits(rng, lives=2_000, stroke=0.0, strokes=(1,))
    twice = rng.random(len(life)) < 0.5
    play = np.where(twice, play, play + 0.04 * rng.normal(size=len(life)))  # setup variance twice that of `twice`
    repeats, _ = lines(life, growth, play, strokes, np.where(twice, 0.5, 1.0))
    assert fit_setups(repeats, np.zeros(1)).setup[0] == pytest.approx(2 * 0.04**2, rel=0.05)


def test_shops_that_differ_are_told_apart_and_shops_that_do_not_seldom_are():
    rng = np.random.default_rng(8)
    apart, _, gain = two_shops(rng, {"setup": 0.02}, {"setup": 0.08}, lives=40)
    assert gain < -10.0
    assert np.sqrt(apart.setup) == pytest.approx([0.02, 0.08], rel=0.35)
    # where nothing differs, chi-square of one degree exceeds Akaike's 2 in 15.7 % of cases
    split = sum(two_shops(rng, {}, {})[2] < 0.0 for _ in range(60))
    assert split <= stats.binom.ppf(0.999, 60, stats.chi2.sf(2.0, 1))


def test_a_group_is_drawn_toward_its_whole_the_more_the_less_it_has():
    rng = np.random.default_rng(9)
    apart, whole, _ = two_shops(rng, {"setup": 0.02, "lives": 60}, {"setup": 0.07, "lives": 8})
    inside = np.abs(apart.counts_as - apart.setup) / np.abs(apart.setup - whole.setup[0])
    assert (inside < 1.0).all()
    assert (np.sign(apart.counts_as - apart.setup) == np.sign(whole.setup[0] - apart.setup)).all()
    assert np.isfinite(apart.upper).all()


def test_a_group_read_too_seldom_says_so_and_counts_as_its_whole():
    rng = np.random.default_rng(10)
    apart, whole, _ = two_shops(rng, {"lives": 60}, {"lives": 2, "visits": (3, 4)})
    assert apart.enough.tolist() == [True, False]
    assert apart.degrees[1] < LEAST_DEGREES
    assert np.isnan([apart.setup[1], apart.lower[1], apart.upper[1]]).all()
    assert apart.counts_as[1] == whole.counts_as[0]
    assert apart.variance(strokes=2, setups=2)[1] == pytest.approx(
        (whole.counts_as[0] + apart.repeatability.variance[1] / 2) / 2
    )


def test_nothing_read_again_says_nothing():
    repeats, kept = lines(np.arange(4), np.zeros(4), np.ones(4), np.ones(4))
    assert not kept.any()
    found = estimate_setups(repeats, Repeatability(np.zeros(2), np.zeros(2)))
    assert not found.enough.any()
    assert np.isnan(found.counts_as).all()


def test_repeatability_of_few_strokes_is_that_of_the_whole_or_not_known():
    alone = repeatability_of(np.array([0.004, 0.001]), np.array([40.0, 2.0]))
    assert alone.known.tolist() == [True, False]
    lent = repeatability_of(np.array([0.004, 0.001]), np.array([40.0, 2.0]), parent=np.zeros(2, dtype=np.int64))
    assert lent.variance[1] == pytest.approx(0.005 / 42)
    assert lent.degrees.tolist() == [40.0, 42.0]


def test_groups_are_drawn_together_as_far_as_chance_sets_them_apart():
    rng = np.random.default_rng(11)
    degrees = np.full(400, 12.0)
    alike = rng.chisquare(12.0, 400) / 12.0
    assert np.std(np.log(drawn_together(alike, degrees, 1.0))) < 0.35 * np.std(np.log(alike))
    true = np.exp(0.6 * rng.normal(size=400))
    seen = true * rng.chisquare(12.0, 400) / 12.0
    errors = [np.mean((np.log(x) - np.log(true)) ** 2) for x in (seen, drawn_together(seen, degrees, 1.0))]
    assert errors[1] < 0.85 * errors[0]
    noise = special.polygamma(1, degrees / 2.0)
    assert spread_of(np.log(seen), noise) == pytest.approx(0.36, rel=0.3)
    assert spread_of(np.array([1.0]), np.array([0.1])) == 0.0


def test_spread_of_groups_equals_a_plain_loop():
    values, noise = [0.1, 0.9, -0.4, 0.3], [0.04, 0.09, 0.02, 0.05]
    w = [1.0 / v for v in noise]
    middle = sum(a * b for a, b in zip(w, values, strict=True)) / sum(w)
    q = sum(a * (b - middle) ** 2 for a, b in zip(w, values, strict=True))
    wanted = (q - 3.0) / (sum(w) - sum(a * a for a in w) / sum(w))
    assert spread_of(np.array(values), np.array(noise)) == pytest.approx(wanted)


def test_the_interval_of_a_variance_is_that_of_chi_square():
    low, high = chi_square_interval(np.array([2.0, 3.0]), np.array([10.0, np.inf]), 0.9)
    assert low.tolist() == pytest.approx([20.0 / stats.chi2.ppf(0.95, 10), 3.0])
    assert high.tolist() == pytest.approx([20.0 / stats.chi2.ppf(0.05, 10), 3.0])


def test_units_do_not_matter():
    life, growth, play, strokes, squares, degrees = shops.repeat_visits(np.random.default_rng(12))
    mm, um = (
        estimate_setups(
            lines(life, growth, play * scale, strokes)[0],
            repeatability_of(np.array([squares * scale**2]), np.array([degrees])),
        )
        for scale in (1.0, 1000.0)
    )
    for name in ("setup", "lower", "upper"):
        assert getattr(um, name) == pytest.approx(1e6 * getattr(mm, name), rel=1e-4)


@pytest.mark.parametrize(
    ("play", "strokes", "share"),
    [([1.0, np.nan, 2.0], [1, 1, 1], [1, 1, 1]), ([1.0, 1.0, 2.0], [1, 0, 1], [1, 1, 1]),
     ([1.0, 1.0, 2.0], [1, 1, 1], [1, 1.5, 1])],
)  # fmt: skip
def test_readings_that_cannot_be_are_refused(play, strokes, share):
    arrays = [np.asarray(values, dtype=float) for values in (play, strokes, share)]
    with pytest.raises(InputError, match="reading 1"):
        lines(np.zeros(3, dtype=np.int64), np.arange(3.0), *arrays)


def test_arrays_that_do_not_go_together_are_refused():
    with pytest.raises(InputError, match="do not go together"):
        lines(np.zeros(3, dtype=np.int64), np.arange(3.0), np.ones(3), np.ones(2))
