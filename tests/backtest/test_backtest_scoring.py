"""Scores against other programs, published examples, closed forms and numerical integration."""

import numpy as np
import pytest
import scoringrules
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from fleetwear.backtest import scoring


@pytest.fixture(scope="module")
def binary():
    rng = np.random.default_rng(11)
    p = rng.beta(0.4, 4.0, 400)
    return p, rng.random(400) < p


@pytest.fixture(scope="module")
def mixtures():
    """60 mixtures of three normals, with an observation of each."""
    rng = np.random.default_rng(12)
    mean, sd = rng.normal(0.5, 0.3, (60, 3)), rng.uniform(0.02, 0.3, (60, 3))
    weight = rng.dirichlet(np.ones(3), 60)
    return mean, sd, weight, rng.normal(0.5, 0.4, 60)


def test_brier_score_and_log_score_are_those_of_another_program(binary):
    p, event = binary
    assert scoring.brier(p, event) == pytest.approx(
        np.mean(scoringrules.brier_score(event.astype(float), p)), abs=1e-12
    )
    inside = np.clip(p, scoring.FLOOR, 1 - scoring.FLOOR)
    assert scoring.log_score(p, event) == pytest.approx(-stats.bernoulli.logpmf(event, inside).mean(), rel=1e-12)


def test_brier_score_worked_by_hand():
    """Ten days, rain on three. Brier's sum over both classes is 0.98 + 0.02 + 0.08 + 0.72 + 0.08 + 0.02 = 1.90; a tenth
    of it is 0.19, and half of that is the score of the probability of rain."""
    p = np.array([0.7, 0.9, 0.8, 0.4, 0.2, 0.0, 0.0, 0.0, 0.0, 0.1])
    rain = np.array([0, 1, 1, 1, 0, 0, 0, 0, 0, 0], dtype=bool)
    assert scoring.brier(p, rain) == pytest.approx(0.19 / 2)
    assert scoring.brier_skill(p, rain) == pytest.approx(1 - 0.095 / 0.21)


def test_skill_is_one_for_the_truth_none_for_the_base_rate_and_untold_without_events(binary):
    _, event = binary
    assert scoring.brier_skill(event.astype(float), event) == 1.0
    assert scoring.brier_skill(np.full(400, event.mean()), event) == pytest.approx(0.0, abs=1e-12)
    assert np.isnan(scoring.brier_skill(np.full(3, 0.2), np.zeros(3, dtype=bool)))


def test_being_sure_and_wrong_is_bad_but_not_infinitely_so():
    assert scoring.log_score(np.array([0.0]), np.array([True])) == pytest.approx(-np.log(scoring.FLOOR))


def test_crps_of_mixtures_is_that_of_another_program(mixtures):
    mean, sd, weight, observed = mixtures
    theirs = scoringrules.crps_mixnorm(observed, mean, sd, weight)
    assert scoring.crps_mixture(mean, sd, weight, observed) == pytest.approx(theirs, abs=1e-12)


def test_crps_of_mixtures_is_the_integral_that_defines_it(mixtures):
    """Gneiting & Raftery (2007), equation 20: the integral of (F(x) - 1{x >= y}) squared."""
    for mean, sd, weight, observed in zip(*(part[:8] for part in mixtures), strict=True):

        def cdf(x, mean=mean, sd=sd, weight=weight):
            return float(weight @ stats.norm.cdf(x, mean, sd))

        below = integrate.quad(lambda x, f=cdf: f(x) ** 2, -4.0, observed, limit=200)[0]
        above = integrate.quad(lambda x, f=cdf: (1.0 - f(x)) ** 2, observed, 5.0, limit=200)[0]
        ours = scoring.crps_mixture(mean[None], sd[None], weight[None], np.array([observed]))[0]
        assert ours == pytest.approx(below + above, abs=1e-7)


def test_crps_of_one_normal_is_its_closed_form_however_it_is_split():
    """Gneiting, Raftery, Westveld & Goldman (2005): sigma (z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt(pi))."""
    mean, sd, y = np.array([0.3, 1.0]), np.array([0.1, 2.0]), np.array([0.45, 1.0])
    z = (y - mean) / sd
    closed = sd * (z * (2 * stats.norm.cdf(z) - 1) + 2 * stats.norm.pdf(z) - 1 / np.sqrt(np.pi))
    for weight in ([1.0], [0.3, 0.7], [1.0, 0.0]):
        w = np.tile(weight, (2, 1))
        ours = scoring.crps_mixture(np.tile(mean[:, None], w.shape[1]), np.tile(sd[:, None], w.shape[1]), w, y)
        assert ours == pytest.approx(closed, rel=1e-12)
    assert closed[1] == pytest.approx(2.0 * (np.sqrt(2) - 1) / np.sqrt(np.pi))


def test_crps_of_a_point_is_its_absolute_error():
    zero, one = np.zeros((2, 1)), np.ones((2, 1))
    assert scoring.crps_mixture(np.array([[0.5], [0.2]]), zero, one, np.array([0.3, 0.9])) == pytest.approx([0.2, 0.7])


def test_crps_does_not_depend_on_how_cases_are_split_into_blocks(mixtures, monkeypatch):
    whole = scoring.crps_mixture(*mixtures)
    monkeypatch.setattr(scoring, "_CELLS", 50)
    assert scoring.crps_mixture(*mixtures) == pytest.approx(whole, rel=1e-14)


@pytest.mark.parametrize(
    ("events", "n", "lower", "upper"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_intervals_of_observed_shares_are_the_published_ones(events, n, lower, upper):
    """Newcombe (1998), Statistics in Medicine 17, 857-872, table I, score method without continuity correction."""
    event = np.arange(n) < events
    row = scoring.calibration_curve(np.full(n, 0.3), event).iloc[0]
    assert (row["lower"], row["upper"]) == pytest.approx((lower, upper), abs=5e-5)
    assert (row["n"], row["events"], row["observed"]) == (n, events, pytest.approx(events / n))


def test_calibration_curve_is_that_of_a_plain_loop(binary):
    p, event = binary
    curve = scoring.calibration_curve(p, event).set_index("p_from")
    assert curve["n"].sum() == 400
    for low, high in zip(scoring.BIN_EDGES[:-1], scoring.BIN_EDGES[1:], strict=True):
        inside = [k for k in range(400) if (low < p[k] <= high) or (low == 0.0 and p[k] == 0.0)]
        if not inside:
            assert low not in curve.index
            continue
        assert curve.loc[low, "n"] == len(inside)
        assert curve.loc[low, "mean_forecast"] == pytest.approx(np.mean(p[inside]))
        assert curve.loc[low, "observed"] == pytest.approx(np.mean(event[inside]))
        assert curve.loc[low, "lower"] <= curve.loc[low, "observed"] <= curve.loc[low, "upper"]


def test_calibration_takes_both_ends():
    curve = scoring.calibration_curve(np.array([0.0, 1.0]), np.array([False, True]))
    assert curve["p_from"].tolist() == [0.0, 0.8]
    assert curve["observed"].tolist() == [0.0, 1.0]


def test_coverage_counts_the_ends():
    lower, upper = np.zeros(4), np.ones(4)
    assert scoring.coverage(lower, upper, np.array([0.0, 1.0, 0.5, 1.2])) == 0.75


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 4), min_size=1, max_size=12), st.integers(0, 14))
def test_as_many_are_flagged_as_asked_the_highest_first_and_ties_alike(score, number):
    flagged = scoring.flag_highest(np.array(score, dtype=float), number)
    assert flagged.sum() == pytest.approx(min(number, len(score)))
    for a, b, x, y in ((score[i], score[j], flagged[i], flagged[j]) for i in range(len(score)) for j in range(i)):
        assert x == y if a == b else (x >= y if a > b else x <= y)


def test_missed_and_false_flags_of_ties_are_what_a_random_choice_gives_on_average():
    score, event = np.array([0.9, 0.5, 0.5, 0.5, 0.1]), np.array([True, True, False, False, True])
    flagged = scoring.flag_highest(score, 2)
    assert flagged == pytest.approx([1.0, 1 / 3, 1 / 3, 1 / 3, 0.0])
    assert scoring.missed(flagged, event) == pytest.approx(2 / 3 + 1)
    assert scoring.false_flags(flagged, event) == pytest.approx(2 / 3)
