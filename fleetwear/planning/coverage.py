"""What a visit tested and what it left: a joint tested in one load direction only has not been cleared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.planning.wording import is_known, say_count, say_date
from fleetwear.vocabulary import OUTCOME_RANKS, Kind, Outcome

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping

    from numpy.typing import NDArray

    from fleetwear.planning.flags import Flags

_AGAIN = (Outcome.RECHECK, Outcome.OVER_LIMIT)
RANKS_TO_TEST_AGAIN = tuple(outcome.rank for outcome in _AGAIN)
"""Ranks of the outcomes of which a joint is tested again, whatever the last visit tested."""


def tests_kind(joints: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which rows are of a load direction that tests their kind, shape (n,)."""
    tests = {kind: {str(direction) for direction in Kind(kind).test_directions} for kind in joints["kind"].unique()}
    pairs = zip(joints["kind"], joints["direction"], strict=True)
    return np.array([direction in tests[kind] for kind, direction in pairs], dtype=bool)


def mark_tested(joints: pd.DataFrame, tested: pd.DataFrame) -> pd.DataFrame:
    """Return the joints with tested_at_last_visit.

    Parameters
    ----------
    joints
        One row a joint and load direction: vehicle_id, position_id, direction.
    tested
        The rows of ``forecast/tested.sql``.
    """
    keys = ["vehicle_id", "position_id", "direction"]
    found = pd.MultiIndex.from_frame(tested.dropna(subset=["position_id"])[keys].astype({"position_id": "int64"}))
    return joints.assign(tested_at_last_visit=pd.MultiIndex.from_frame(joints[keys]).isin(found))


def vehicle_coverage(joints: pd.DataFrame, tested: pd.DataFrame) -> pd.DataFrame:
    """Return one row a vehicle, indexed by vehicle_id: last_visit_date and counts of its joints.

    Parameters
    ----------
    joints
        Rows that ``mark_tested`` gave, with kind. Only load directions that test a kind count.
    tested
        The rows of ``forecast/tested.sql``.

    Returns
    -------
    last_visit_date; joints_to_test, all joints on record; joints_untested, in no load direction; and
    joints_tested_in_part, in some but not all that test their kind.
    """
    wanted = joints[tests_kind(joints)]
    of_joint = wanted.groupby(["vehicle_id", "position_id"])["tested_at_last_visit"].agg(["any", "all"])
    grouped = of_joint.assign(part=of_joint["any"] & ~of_joint["all"], none=~of_joint["any"]).groupby("vehicle_id")
    frame = grouped[["none", "part"]].sum().astype("int64")
    frame = frame.rename(columns={"none": "joints_untested", "part": "joints_tested_in_part"})
    frame["joints_to_test"] = grouped.size()
    frame["last_visit_date"] = tested.groupby("vehicle_id")["visit_date"].max().reindex(frame.index)
    return frame


def say_coverage(vehicle: Mapping[Hashable, Any]) -> str:
    """Return what the last visit left untested: "4 of 12 joints not tested at the last visit, 2026-09-01"."""
    if not is_known(vehicle["joints_to_test"]):
        return ""
    joints, none, part = (int(vehicle[name]) for name in ("joints_to_test", "joints_untested", "joints_tested_in_part"))
    if not is_known(vehicle["last_visit_date"]):
        return f"No visit is on record: none of {say_count(joints, 'joint', 'joints')} has been tested"
    when = f"at the last visit, {say_date(vehicle['last_visit_date'])}"
    in_part = f"{part} tested in one load direction only, which clears none" if part else ""
    if none:
        return f"{none} of {say_count(joints, 'joint', 'joints')} not tested {when}" + (f"; {in_part}" if part else "")
    if part:
        some = f"{part} of {say_count(joints, 'joint', 'joints')}"
        return f"{some} tested in one load direction only {when}, which clears none"
    return f"All of {say_count(joints, 'joint', 'joints')} tested in every load direction that tests them {when}"


def to_test(flags: Flags) -> pd.DataFrame:
    """Return what to test at the next visit: one row a joint and load direction, vehicles in the order of the flags.

    Parameters
    ----------
    flags
        Those of the vehicles in question.

    Returns
    -------
    unit, depot, next_service (its median day), joint, direction, why, last_tested (a day), outcome; the most pressing
    joint of each vehicle first.
    """
    joints = flags.joints
    asked = joints[tests_kind(joints)] if len(joints) else joints
    tested = asked["tested_at_last_visit"].astype("object").fillna(True).astype(bool)
    asked = asked[~tested | asked["outcome"].isin([str(outcome) for outcome in _AGAIN])]
    place = pd.Series(np.arange(len(flags.vehicles)), index=flags.vehicles["vehicle_id"])
    asked = asked.assign(place=asked["vehicle_id"].map(place), rank=asked["outcome"].map(OUTCOME_RANKS))
    return say_to_test(asked.sort_values(["place", "rank", "position_id", "direction"]).reset_index(drop=True))


def say_to_test(asked: pd.DataFrame) -> pd.DataFrame:
    """Return joints and load directions to test in the words of `to_test`, in their order."""
    return pd.DataFrame(
        {
            "unit": asked["unit"],
            "depot": asked["depot"],
            "next_service": pd.to_datetime(asked["next_service_date_50"]).dt.strftime("%Y-%m-%d"),
            "joint": asked["joint"],
            "direction": asked["direction"],
            "why": [_why(outcome, n) for outcome, n in zip(asked["outcome"], asked["n_visits"], strict=True)],
            "last_tested": pd.to_datetime(asked["last_date"]).dt.strftime("%Y-%m-%d"),
            "outcome": asked["outcome"],
        }
    )


def _why(outcome: str, n_visits: int) -> str:
    if outcome == Outcome.OVER_LIMIT:
        return "over its limit"
    if n_visits == 0:
        return "not tested since it was fitted"
    if outcome == Outcome.RECHECK:
        return "to be measured again"
    return "not tested at the last visit"
