"""Symptom against measurement: what a complaint, the road test and what moved under load decide together.

Common practice, no source. ``TABLE`` is all of it; the maker's procedure comes first.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.planning.coverage import tests_kind
from fleetwear.vocabulary import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

ONE_STEP_MM = 0.0254
"""Play up to one thousandth of an inch, a step of a common dial indicator, is not taken as movement."""


class Road(StrEnum):
    """What is on record of a symptom."""

    NONE = "no symptom"
    REPORTED = "reported, no road test on record"
    NOT_CONFIRMED = "not confirmed on the road"
    CONFIRMED = "confirmed on the road"


class Movement(StrEnum):
    """What a joint showed under load, in the load direction in which it showed most."""

    OVER = "over its limit"
    UNDER = "movement, not over its limit"
    STILL = "no movement where it was tested"
    UNTESTED = "not tested"


class Step(StrEnum):
    """What follows."""

    REPLACE_OVER = "replace: over its limit"
    REPLACE = "replace even under the limit: the movement explains the symptom"
    OTHER_DIRECTION = "test the other load direction first"
    ELSEWHERE = "no movement in any load direction explains the symptom, which stays open: look elsewhere"
    ROAD_TEST = "road test first"
    TEST = "test it at the next visit"
    FORECAST = "follow the forecast"


TABLE: dict[tuple[Road, Movement], tuple[Step, Step]] = {
    (Road.NONE, Movement.OVER): (Step.REPLACE_OVER, Step.REPLACE_OVER),
    (Road.NONE, Movement.UNDER): (Step.FORECAST, Step.FORECAST),
    (Road.NONE, Movement.STILL): (Step.FORECAST, Step.FORECAST),
    (Road.NONE, Movement.UNTESTED): (Step.TEST, Step.TEST),
    (Road.REPORTED, Movement.OVER): (Step.REPLACE_OVER, Step.REPLACE_OVER),
    (Road.REPORTED, Movement.UNDER): (Step.ROAD_TEST, Step.ROAD_TEST),
    (Road.REPORTED, Movement.STILL): (Step.ROAD_TEST, Step.ROAD_TEST),
    (Road.REPORTED, Movement.UNTESTED): (Step.ROAD_TEST, Step.ROAD_TEST),
    (Road.NOT_CONFIRMED, Movement.OVER): (Step.REPLACE_OVER, Step.REPLACE_OVER),
    (Road.NOT_CONFIRMED, Movement.UNDER): (Step.FORECAST, Step.FORECAST),
    (Road.NOT_CONFIRMED, Movement.STILL): (Step.FORECAST, Step.FORECAST),
    (Road.NOT_CONFIRMED, Movement.UNTESTED): (Step.TEST, Step.TEST),
    (Road.CONFIRMED, Movement.OVER): (Step.REPLACE_OVER, Step.REPLACE_OVER),
    (Road.CONFIRMED, Movement.UNDER): (Step.REPLACE, Step.REPLACE),
    (Road.CONFIRMED, Movement.STILL): (Step.OTHER_DIRECTION, Step.ELSEWHERE),
    (Road.CONFIRMED, Movement.UNTESTED): (Step.OTHER_DIRECTION, Step.OTHER_DIRECTION),
}
"""By symptom and movement: what follows where a load direction is left to test, and where none is."""


def decide(road: Road, movement: Movement, *, direction_left: bool) -> Step:
    """Return what follows; ``direction_left``: a load direction that tests the joint has not been tested."""
    left, none_left = TABLE[road, movement]
    return left if direction_left else none_left


def say_step(step: Step, directions: Sequence[str]) -> str:
    """Return what follows as a clause, the load directions that are left to test named."""
    if step is Step.OTHER_DIRECTION:
        left = " and ".join(directions)
        return f"no movement found so far explains it: test it {left} first, before anything is replaced"
    return {
        Step.REPLACE: "a confirmed symptom calls for replacement even under the limit",
        Step.REPLACE_OVER: "replace it: over its limit",
    }.get(step, str(step))


def road_of(*, complaint: bool, confirmed: bool | None) -> Road:
    """Return what is on record of a symptom; ``confirmed`` is None where there is no road test."""
    if confirmed is not None:
        return Road.CONFIRMED if confirmed else Road.NOT_CONFIRMED
    return Road.REPORTED if complaint else Road.NONE


def moved(joints: pd.DataFrame) -> pd.Series[bool]:
    """Return which rows, a joint and load direction each, have shown movement: the last play with a number, or seen."""
    measured = joints["last_largest_mm"].astype(float) > ONE_STEP_MM * (1.0 + 1e-9)
    return measured | (joints["last_result"] == str(Result.SEEN))


def joint_movement(joints: pd.DataFrame) -> pd.DataFrame:
    """Return one row a joint, indexed by vehicle_id and position_id: movement, and directions left to test (a tuple).

    Parameters
    ----------
    joints
        One row a joint and load direction: the columns of ``forecast_joints`` with kind.
    """
    judged = joints.get("judged_limit_mm", joints["limit_mm"]).astype(float).fillna(joints["limit_mm"].astype(float))
    rows = pd.DataFrame(
        {
            "vehicle_id": joints["vehicle_id"],
            "position_id": joints["position_id"],
            "over": joints["last_largest_mm"].astype(float) > judged * (1.0 + 1e-9),
            "moved": moved(joints),
            "tested": joints["n_visits"] > 0,
        }
    )
    found = rows.groupby(["vehicle_id", "position_id"])[["over", "moved", "tested"]].any()
    left = joints[(joints["n_visits"] == 0).to_numpy() & tests_kind(joints)]
    names = left.groupby(["vehicle_id", "position_id"])["direction"].agg(tuple).reindex(found.index)
    movement = np.select(
        [found["over"], found["moved"], found["tested"]],
        [str(Movement.OVER), str(Movement.UNDER), str(Movement.STILL)],
        default=str(Movement.UNTESTED),
    )
    return pd.DataFrame(
        {"movement": movement, "left": [one if isinstance(one, tuple) else () for one in names]}, index=found.index
    )


def confirmed_steps(joints: pd.DataFrame) -> pd.Series:
    """Return what a confirmed symptom at each row's joint calls for, as a clause; "" for rows without one."""
    own = joints["symptom"] != ""
    if not own.any():
        return pd.Series("", index=joints.index, dtype=object)
    keys = pd.MultiIndex.from_frame(joints.loc[own, ["vehicle_id", "position_id"]])
    found = joint_movement(joints[pd.MultiIndex.from_frame(joints[["vehicle_id", "position_id"]]).isin(keys)])
    said = {
        key: say_step(decide(Road.CONFIRMED, Movement(movement), direction_left=bool(left)), left)
        for key, movement, left in zip(found.index, found["movement"], found["left"], strict=True)
    }
    every = zip(joints["vehicle_id"], joints["position_id"], own, strict=True)
    words = [said[vehicle, position] if has else "" for vehicle, position, has in every]
    return pd.Series(words, index=joints.index, dtype=object)
