"""Symptom against measurement: every combination of the table, and the words."""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from fleetwear.planning.symptoms import (
    ONE_STEP_MM,
    TABLE,
    Movement,
    Road,
    Step,
    confirmed_steps,
    decide,
    joint_movement,
    road_of,
    say_step,
)


def expected(road, movement, direction_left):
    """The rules in words, one after another."""
    if movement is Movement.OVER:
        return Step.REPLACE_OVER
    if road is Road.CONFIRMED:
        if movement is Movement.UNDER:
            return Step.REPLACE
        return Step.OTHER_DIRECTION if direction_left or movement is Movement.UNTESTED else Step.ELSEWHERE
    if road is Road.REPORTED:
        return Step.ROAD_TEST
    return Step.TEST if movement is Movement.UNTESTED else Step.FORECAST


@pytest.mark.parametrize(("road", "movement", "left"), list(product(Road, Movement, (True, False))))
def test_every_combination(road, movement, left):
    assert decide(road, movement, direction_left=left) is expected(road, movement, left)


def test_the_table_is_whole_and_movement_over_a_limit_always_leads():
    assert set(TABLE) == set(product(Road, Movement))
    assert {TABLE[road, Movement.OVER] for road in Road} == {(Step.REPLACE_OVER, Step.REPLACE_OVER)}


def test_what_is_on_record_of_a_symptom():
    assert road_of(complaint=False, confirmed=None) is Road.NONE
    assert road_of(complaint=True, confirmed=None) is Road.REPORTED
    assert road_of(complaint=True, confirmed=False) is Road.NOT_CONFIRMED
    assert road_of(complaint=False, confirmed=True) is Road.CONFIRMED


def joint(direction, play, *, result="measured", visits=2, position=1, limit=0.8, judged=np.nan, symptom="knock"):
    return {
        "vehicle_id": 1, "position_id": position, "kind": "ball joint", "direction": direction,
        "last_largest_mm": play, "last_result": result, "n_visits": visits, "limit_mm": limit,
        "judged_limit_mm": judged, "symptom": symptom,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "movement", "left"),
    [
        ([joint("in-out", 0.5), joint("fore-aft", np.nan, visits=0, result=None)], Movement.UNDER, ("fore-aft",)),
        ([joint("in-out", 0.9), joint("fore-aft", 0.1)], Movement.OVER, ()),
        ([joint("in-out", 0.9, judged=1.0), joint("fore-aft", 0.1)], Movement.UNDER, ()),
        ([joint("in-out", ONE_STEP_MM), joint("fore-aft", np.nan, result="none seen")], Movement.STILL, ()),
        ([joint("in-out", 0.0), joint("fore-aft", np.nan, result="seen, not measured")], Movement.UNDER, ()),
        (
            [joint("in-out", np.nan, visits=0, result=None), joint("fore-aft", np.nan, visits=0, result=None)],
            Movement.UNTESTED,
            ("in-out", "fore-aft"),
        ),
    ],
)
def test_a_joint_moves_as_its_worst_direction(rows, movement, left):
    found = joint_movement(pd.DataFrame(rows)).iloc[0]
    assert found["movement"] == movement
    assert found["left"] == left


def test_an_unexplained_symptom_names_the_other_load_direction():
    still = [joint("in-out", np.nan, result="none seen"), joint("fore-aft", np.nan, visits=0, result=None)]
    moving = [joint("in-out", 0.4, position=2), joint("fore-aft", 0.0, position=2)]
    quiet = [joint("in-out", 0.4, position=3, symptom="")]
    words = confirmed_steps(pd.DataFrame([*still, *moving, *quiet])).tolist()
    assert words[0] == words[1]
    assert "test it fore-aft first" in words[0]
    assert words[2] == words[3] == "a confirmed symptom calls for replacement even under the limit"
    assert words[4] == ""
    everywhere = [joint("in-out", np.nan, result="none seen"), joint("fore-aft", np.nan, result="none seen")]
    assert "look elsewhere" in confirmed_steps(pd.DataFrame(everywhere)).iloc[0]


def test_every_step_can_be_said():
    for step in Step:
        assert say_step(step, ["in-out"])
