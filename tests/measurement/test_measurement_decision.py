"""Budgets and decisions: what adds up, what the words are, and what settles a reading that is too close to call."""

from __future__ import annotations

import numpy as np
import pytest

from fleetwear.errors import InputError
from fleetwear.measurement import decide, make_budget, pool_deviations
from fleetwear.reports.reading_study import budget_table, decision_words
from fleetwear.vocabulary import Verdict


def test_contributions_add_up_and_strokes_average_repeatability_alone():
    one = make_budget(0.06, resolution=0.01, setup=0.02, reproducibility=0.03)
    four = make_budget(0.06, strokes=4, resolution=0.01, setup=0.02, reproducibility=0.03)
    assert one.combined**2 == pytest.approx(0.06**2 + 0.01**2 / 12 + 0.02**2 + 0.03**2)
    assert one.combined**2 - four.combined**2 == pytest.approx(0.06**2 * 0.75)
    assert sum(line.share for line in four.contributions) == pytest.approx(1.0)
    assert four.expanded == 2.0 * four.combined
    assert four.lasting_variance == one.lasting_variance
    assert four.largest_lasting.name == "reproducibility"
    table = budget_table(four, "mm")
    assert table["contribution"].tolist() == [
        "repeatability", "resolution", "setup", "reproducibility", "combined", "expanded"
    ]  # fmt: skip
    assert table["standard uncertainty"].tolist()[0] == "0.030 mm"


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [
        (0.70, Verdict.BEYOND_DOUBT_OVER),
        (0.59, Verdict.OVER),
        (0.55, Verdict.TOO_CLOSE),
        (0.50, Verdict.TOO_CLOSE),
        (0.45, Verdict.TOO_CLOSE),
        (0.41, Verdict.UNDER),
        (0.30, Verdict.BEYOND_DOUBT_UNDER),
    ],
)
def test_verdicts_either_side_of_the_limit(reading, verdict):
    assert decide(reading, 0.5, make_budget(0.05)).verdict == verdict


def test_probability_agrees_with_draws():
    rng = np.random.default_rng(3)
    found = decide(0.46, 0.5, make_budget(0.05)).probability_over
    share = (0.46 + 0.05 * rng.normal(size=200_000) > 0.5).mean()
    assert found == pytest.approx(share, abs=4 * np.sqrt(found * (1 - found) / 200_000))


def test_a_lower_accepted_risk_needs_more_distance():
    budget = make_budget(0.05)
    assert decide(0.59, 0.5, budget, accepted_risk=0.01).verdict == Verdict.TOO_CLOSE
    assert decide(0.605, 0.5, budget, accepted_risk=0.01).verdict == Verdict.TOO_CLOSE
    assert decide(0.62, 0.5, budget, accepted_risk=0.01).verdict == Verdict.BEYOND_DOUBT_OVER


def test_as_many_strokes_as_are_said_do_settle_it_and_one_fewer_does_not():
    given = {"resolution": 0.01, "setup": 0.01}
    reading, limit = 0.46, 0.5
    more = decide(reading, limit, make_budget(0.06, strokes=2, **given)).settling.strokes_more
    assert more > 1
    settled = decide(reading, limit, make_budget(0.06, strokes=2 + more, **given))
    short = decide(reading, limit, make_budget(0.06, strokes=1 + more, **given))
    assert settled.verdict == Verdict.UNDER
    assert short.verdict == Verdict.TOO_CLOSE
    budget = make_budget(0.06, strokes=2, **given)
    assert f"{more} more strokes" in " ".join(decision_words(decide(reading, limit, budget), budget, "mm"))


def test_where_setup_dominates_no_number_of_strokes_settles_it_and_a_better_setup_does():
    budget = make_budget(0.02, strokes=4, resolution=0.01, setup=0.05)
    decision = decide(0.46, 0.5, budget)
    assert decision.settling.strokes_more is None
    assert decision.settling.dominant == "setup"
    better = make_budget(0.02, strokes=4, resolution=0.01, setup=decision.settling.dominant_needed * (1 - 1e-9))
    assert decide(0.46, 0.5, better).verdict == Verdict.UNDER
    words = " ".join(decision_words(decision, budget, "mm"))
    assert "No number of strokes" in words
    assert "method whose setup repeats better" in words


def test_a_reading_at_the_limit_and_one_over_it_are_told():
    budget = make_budget(0.05)
    at = decide(0.5, 0.5, budget)
    assert at.settling.strokes_more is None
    assert "at the limit itself" in " ".join(decision_words(at, budget, "mm"))
    assert "counts as over in the flags" in " ".join(decision_words(decide(0.52, 0.5, budget), budget, "mm"))


def test_pooled_deviation_weighs_by_degrees():
    a, b = np.array([1.0, 2.0, 4.0]), np.array([3.0, 3.5])
    pooled = pool_deviations([((x - x.mean()) ** 2).sum() for x in (a, b)], [2, 1])
    assert pooled.degrees == 3
    assert pooled.deviation == pytest.approx(np.sqrt((2 * a.var(ddof=1) + b.var(ddof=1)) / 3))


@pytest.mark.parametrize(
    "call",
    [
        lambda: make_budget(-0.1),
        lambda: make_budget(0.0),
        lambda: make_budget(0.1, strokes=0),
        lambda: decide(-0.1, 0.5, make_budget(0.1)),
        lambda: decide(0.1, 0.0, make_budget(0.1)),
        lambda: decide(0.1, 0.5, make_budget(0.1), accepted_risk=0.5),
        lambda: pool_deviations([1.0], 0),
    ],
)
def test_what_makes_no_sense_is_refused(call):
    with pytest.raises(InputError):
        call()
