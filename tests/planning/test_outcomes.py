"""Outcomes: their order, their conditions, and sentences that can be read out."""

import numpy as np
import pandas as pd
import pytest

from fleetwear.forecast import Settings
from fleetwear.planning.outcomes import classify, judge_vehicles
from fleetwear.vocabulary import Kind, Outcome

QUIET = {
    "vehicle_id": 1, "position_id": 1, "direction": "in-out", "joint": "left front lower ball joint",
    "kind": "ball joint",
    "life_no": 1, "origin": "in service", "life_start_date": pd.Timestamp("2022-01-01"), "n_visits": 5,
    "last_date": pd.Timestamp("2026-09-01"), "last_result": "measured", "last_play_mm": 0.508,
    "last_largest_mm": 0.508, "measured_date": pd.Timestamp("2026-09-01"), "last_expected_mm": 0.5,
    "last_z": 0.2, "symptom": "", "question": "", "limit_mm": 0.9906, "limit_source": "service manual",
    "share_of_limit": 0.513, "growth_mm_per_km": 4e-6, "growth_lower": 3e-6, "growth_upper": 5e-6, "play_next_mm": 0.55,
    "p_over_next": 0.01, "indicative": "", "doubt": "", "distance_note": "", "play_unit": "thou", "distance_unit": "mi",
    "next_service_date_50": pd.Timestamp("2027-01-15"),
    "fell_after": pd.NaT, "fell_on": pd.NaT, "fell_from_mm": np.nan, "fell_to_mm": np.nan,
}  # fmt: skip


def said(**changed):
    row = classify(pd.DataFrame([QUIET | changed]), settings=Settings()).iloc[0]
    return Outcome(row["outcome"]), row["reason"]


def test_the_best_that_is_said():
    outcome, reason = said()
    assert outcome is Outcome.NO_CROSSING
    assert reason == (
        "Left front lower ball joint, in-out: 20 thou on 2026-09-01, 51% of its limit of 39 thou, growing 2.5 (1.9 to "
        "3.2) thou per 10,000 mi; probability 0.010 of being over at the next service, about 2027-01-15. No crossing "
        "forecast; inspect as scheduled."
    )


UNREAD = {"last_play_mm": np.nan, "last_largest_mm": np.nan}


@pytest.mark.parametrize(
    ("changed", "outcome", "words"),
    [
        ({"last_largest_mm": 1.0}, Outcome.OVER_LIMIT, "over its limit of 39 thou (service manual)"),
        ({"symptom": "knock confirmed on 2026-09-01"}, Outcome.SYMPTOM_CONFIRMED, "replacement even under the limit"),
        ({"p_over_next": 0.2}, Outcome.CROSSES, "probability 0.20 of being over its limit of 39 thou at the next"),
        ({"last_z": 4.0}, Outcome.RECHECK, "well above the 20 thou that its history foretold"),
        ({"last_z": -4.0}, Outcome.RECHECK, "well below"),
        (
            {
                "fell_after": pd.Timestamp("2026-03-01"), "fell_on": pd.Timestamp("2026-09-01"), "fell_from_mm": 0.762,
                "fell_to_mm": 0.254,
            },
            Outcome.RECHECK,
            "play fell from 30 thou on 2026-03-01 to 10 thou on 2026-09-01 with no work on record between: was a "
            "replacement or adjustment left out?",
        ),
        ({"question": "Is 20 mm right?"}, Outcome.RECHECK, "Is 20 mm right?"),
        (UNREAD | {"last_result": "seen, not measured"}, Outcome.RECHECK, "not measured; measure it"),
        (UNREAD | {"n_visits": 0, "last_date": pd.NaT}, Outcome.NOT_TESTED, "has not been cleared"),
        ({"n_visits": 1}, Outcome.TOO_LITTLE_DATA, "one visit tells no trend"),
        ({"play_next_mm": np.nan, "p_over_next": np.nan}, Outcome.TOO_LITTLE_DATA, "too few readings in the fleet"),
        ({"limit_mm": np.nan, "p_over_next": np.nan, "share_of_limit": np.nan}, Outcome.NO_LIMIT, "no limit on record"),
    ],
)  # fmt: skip
def test_each_outcome_has_its_condition_and_sentence(changed, outcome, words):
    found, reason = said(**changed)
    assert found is outcome
    assert words in reason


def test_urgency_decides_between_conditions():
    everything = {
        "last_largest_mm": 1.2, "symptom": "knock confirmed", "p_over_next": 0.99, "last_z": 9.0,
        "question": "Is it right?",
        "n_visits": 1,
    }  # fmt: skip
    order = []
    for relief in (
        {}, {"last_largest_mm": 0.5}, {"symptom": ""}, {"p_over_next": 0.0}, {"last_z": 0.0, "question": ""},
        {"n_visits": 2},
    ):  # fmt: skip
        everything |= relief
        order.append(said(**everything)[0])
    assert order == [
        Outcome.OVER_LIMIT, Outcome.SYMPTOM_CONFIRMED, Outcome.CROSSES, Outcome.RECHECK, Outcome.TOO_LITTLE_DATA,
        Outcome.NO_CROSSING,
    ]  # fmt: skip


def test_a_reading_equal_to_its_limit_passes_and_one_above_does_not():
    """49 CFR 570.7(b): play "shall not exceed" 1/4 inch: 6.35 mm passes, 6.351 mm does not."""
    limit = {"limit_mm": 0.25 * 25.4, "p_over_next": 0.01}
    assert said(last_largest_mm=6.35, **limit)[0] is Outcome.NO_CROSSING
    assert said(last_largest_mm=6.351, **limit)[0] is Outcome.OVER_LIMIT


def test_costs_set_the_accepted_risk_and_load_carrying_joints_are_capped():
    settings = Settings(cost_ratio=4.0)
    assert settings.accepted_risk("tie rod end") == pytest.approx(0.2)
    assert settings.accepted_risk("ball joint") == pytest.approx(0.05)
    assert settings.accepted_risk("ball joint", general=0.5) == pytest.approx(0.05)
    assert settings.accepted_risk("ball joint", general=0.01) == pytest.approx(0.01)
    for kind in Kind:
        assert settings.accepted_risk(kind) == pytest.approx(0.05 if kind.carries_load else 0.2)


def test_a_risk_of_ones_own_changes_who_is_flagged():
    rows = pd.DataFrame([QUIET | {"kind": "tie rod end", "p_over_next": 0.15}])
    assert classify(rows, settings=Settings())["outcome"][0] == Outcome.CROSSES
    assert classify(rows, settings=Settings(), general_risk=0.3)["outcome"][0] == Outcome.NO_CROSSING


def test_what_makes_a_forecast_doubtful_is_said_beside_it():
    _, reason = said(
        growth_mm_per_km=-1e-6,
        indicative="indicative: limit is for pry bar, reading lever under tyre",
        doubt="straight: a variance ended on its boundary (none); power: a variance ended on its boundary (none)",
        distance_note="distance estimated from dates: no odometer",
    )
    assert "Indicative: limit is for pry bar" in reason
    assert "Distance estimated from dates" in reason
    assert reason.count("a variance ended on its boundary") == 1
    assert "Play appears to fall: noise, a change of method or unrecorded work" in reason


def judged(rows, *, symptom="", overdue=False):
    joints = classify(pd.DataFrame(rows), settings=Settings())
    vehicles = pd.DataFrame({"vehicle_id": [1], "symptom": [symptom], "overdue": [overdue]})
    return judge_vehicles(vehicles, joints).iloc[0]


def test_a_vehicle_is_as_bad_as_its_worst_joint_and_a_joint_as_its_worst_direction():
    rows = [
        QUIET,
        QUIET | {"direction": "fore-aft", "p_over_next": 0.3},
        QUIET | {"position_id": 2, "p_over_next": 0.6},
        QUIET | {"position_id": 3, "n_visits": 0},
    ]
    vehicle = judged(rows)
    assert (vehicle["outcome"], vehicle["position_id"]) == (Outcome.CROSSES, 2)
    assert "0.60" in vehicle["reason"]


def test_a_symptom_without_a_joint_leads_over_forecasts_but_not_over_a_measured_limit():
    symptom = "knock confirmed on 2026-09-01, no joint named"
    assert judged([QUIET], symptom=symptom)["outcome"] == Outcome.SYMPTOM_CONFIRMED
    assert judged([QUIET | {"last_largest_mm": 1.2}], symptom=symptom)["outcome"] == Outcome.OVER_LIMIT


def test_an_overdue_service_is_said_first():
    assert judged([QUIET], overdue=True)["reason"].startswith("Its service is overdue. ")


def test_a_vehicle_without_positions_is_not_fine():
    joints = classify(pd.DataFrame([QUIET | {"vehicle_id": 7}]), settings=Settings())
    vehicles = pd.DataFrame({"vehicle_id": [1], "symptom": [""], "overdue": [False]})
    alone = judge_vehicles(vehicles, joints).iloc[0]
    assert alone["outcome"] == Outcome.NOT_TESTED
    assert "No joint positions" in alone["reason"]


def test_one_stroke_over_the_limit_is_over_it_whatever_the_mean_says():
    outcome, reason = said(last_play_mm=0.75, last_largest_mm=1.0)
    assert outcome is Outcome.OVER_LIMIT
    assert "39 thou on 2026-09-01, over its limit of 39 thou" in reason


def test_a_later_look_that_measured_nothing_does_not_undo_a_reading_over_the_limit():
    outcome, reason = said(
        last_play_mm=1.2, last_largest_mm=1.2, last_result="seen, not measured", last_date=pd.Timestamp("2026-10-01")
    )
    assert outcome is Outcome.OVER_LIMIT
    assert "47 thou on 2026-09-01, not measured again on 2026-10-01, over its limit" in reason
