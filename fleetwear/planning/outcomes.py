"""Outcomes: what is said of each joint and vehicle, and why, in a sentence that can be read out.

The order of urgency is that of ``vocabulary.Outcome``. A measured "over limit" and a confirmed symptom
lead whatever a forecast says, and a forecast never clears a vehicle.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.planning.symptoms import confirmed_steps, moved
from fleetwear.planning.wording import begin_sentence, is_known, say_date, say_growth, say_play, say_probability
from fleetwear.vocabulary import OUTCOME_RANKS, Outcome, WheelVerdict

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.forecast.settings import Settings

_EQUAL = 1e-9
"""Relative room in comparing a reading with a limit: a reading equal to its limit passes."""

MIN_VISITS = 2
"""Visits that a trend needs."""


def classify(joints: pd.DataFrame, *, settings: Settings, general_risk: float | None = None) -> pd.DataFrame:
    """Return the rows with accepted_risk, outcome and reason set.

    Parameters
    ----------
    joints
        One row a joint and load direction: the columns of ``forecast_joints`` with joint, kind, play_unit and
        distance_unit (the units in which reasons are worded), next_service_date_50 and distance_note.
    settings
        Costs, cap and recheck threshold.
    general_risk
        Accepted risk in place of that from the costs; the cap of load-carrying joints stays.
    """
    frame = joints.copy()
    risks = {kind: settings.accepted_risk(kind, general=general_risk) for kind in frame["kind"].unique()}
    frame["accepted_risk"] = frame["kind"].map(risks).astype(float)
    tests = _tests(frame, settings)
    outcome = np.select(list(tests.values()), [str(name) for name in tests], default=str(Outcome.NO_CROSSING))
    frame["outcome"] = outcome
    frame["step"] = confirmed_steps(frame)
    frame["reason"] = [_reason({str(k): v for k, v in row.items()}) for row in frame.to_dict("records")]
    return frame.drop(columns="step")


def ranks_unless_crossing(joints: pd.DataFrame, settings: Settings) -> NDArray[np.int64]:
    """Return the rank of the outcome that each row has as long as its forecast does not cross, shape (n,).

    ``joints`` are rows as `classify` takes them, with an accepted risk.
    """
    tests = {outcome.rank: met for outcome, met in _tests(joints, settings).items() if outcome != Outcome.CROSSES}
    return np.select(list(tests.values()), list(tests), default=Outcome.NO_CROSSING.rank).astype(np.int64)


def _tests(frame: pd.DataFrame, settings: Settings) -> dict[Outcome, NDArray[np.bool_]]:
    """Return, the most pressing first, which rows meet each outcome's condition."""
    play, limit = frame["last_largest_mm"].to_numpy(float), frame["limit_mm"].to_numpy(float)
    with np.errstate(invalid="ignore"):
        over = play > _judged(frame) * (1.0 + _EQUAL)
        crosses = frame["p_over_next"].to_numpy(float) > frame["accepted_risk"].to_numpy(float)
        odd = np.abs(frame["last_z"].to_numpy(float)) > settings.recheck_z
    return {
        Outcome.OVER_LIMIT: over,
        Outcome.SYMPTOM_CONFIRMED: (frame["symptom"] != "").to_numpy(),
        Outcome.CROSSES: crosses,
        Outcome.RECHECK: (frame["question"] != "").to_numpy()
        | odd
        | frame["fell_on"].notna().to_numpy()
        | (frame["last_result"] == "seen, not measured").to_numpy(),
        Outcome.NOT_TESTED: (frame["n_visits"] == 0).to_numpy(),
        Outcome.TOO_LITTLE_DATA: (frame["n_visits"] < MIN_VISITS).to_numpy() | frame["play_next_mm"].isna().to_numpy(),
        Outcome.NO_LIMIT: np.isnan(limit),
    }


def _judged(frame: pd.DataFrame) -> NDArray[np.float64]:
    """Return the limits that were valid when the joints were last measured, as far as they are on record."""
    limit = frame["limit_mm"].astype(float)
    judged = frame.get("judged_limit_mm", limit).astype(float).fillna(limit)
    return np.asarray(judged, dtype=np.float64)


def _reason(row: dict[str, Any]) -> str:
    """Return the sentence for one joint in one load direction."""
    outcome = Outcome(str(row["outcome"]))
    head = f"{str(row['joint']).capitalize()}, {row['direction']}"
    words = {
        Outcome.OVER_LIMIT: _over_limit,
        Outcome.SYMPTOM_CONFIRMED: _symptom,
        Outcome.CROSSES: _crosses,
        Outcome.RECHECK: _recheck,
        Outcome.NOT_TESTED: _not_tested,
        Outcome.TOO_LITTLE_DATA: _too_little,
        Outcome.NO_LIMIT: _no_limit,
        Outcome.NO_CROSSING: _no_crossing,
    }[outcome]
    tail = [
        str(text) for text in (row["indicative"], _changed(row), row.get("mate_note"), row["distance_note"]) if text
    ]
    if row["doubt"] and outcome not in (Outcome.NOT_TESTED, Outcome.TOO_LITTLE_DATA):
        tail.append(f"to be read with care: {short_doubt(str(row['doubt']))}")
    if is_known(row["growth_mm_per_km"]) and row["growth_mm_per_km"] < 0.0:
        tail.append("play appears to fall: noise, a change of method or unrecorded work")
    return f"{head}: {words(row)}." + "".join(f" ({text[0].upper()}{text[1:]}.)" for text in tail)


def short_doubt(doubt: str) -> str:
    """Return doubts without what stands in brackets, each said once; the fit's own table has them in full."""
    parts = re.sub(r" \([^)]*\)", "", doubt).split("; ")
    return ", ".join(dict.fromkeys(part.rpartition(": ")[2] for part in parts))


def _over_limit(row: dict[str, Any]) -> str:
    read = f"{_play(row, 'last_largest_mm')} on {say_date(row['measured_date'])}"
    later = "" if row["last_result"] == "measured" else f", not measured again on {say_date(row['last_date'])}"
    then = "judged_limit_" if is_known(row.get("judged_limit_mm")) else "limit_"
    return f"{read}{later}, over its limit of {_play(row, f'{then}mm')} ({row[f'{then}source']})"


def _changed(row: dict[str, Any]) -> str:
    """Return what is said where the limit at the next service is not that of the day of the last reading."""
    then, now = row.get("judged_limit_mm"), row["limit_mm"]
    if then is None or not is_known(then) or not is_known(now) or abs(float(then) - float(now)) <= _EQUAL * float(now):
        return ""
    return (
        f"its limit is {_play(row, 'limit_mm')} from {say_date(row['limit_valid_from'])} on ({row['limit_source']}); "
        f"on the day of that reading it was {_play(row, 'judged_limit_mm')}"
    )


def _symptom(row: dict[str, Any]) -> str:
    reading = f"{_last(row)}{_share(row)}"
    return f"{row['symptom']}; {reading}. {begin_sentence(str(row['step']))}"


def _crosses(row: dict[str, Any]) -> str:
    return (
        f"probability {say_probability(row['p_over_next'])} of being over its limit of {_play(row, 'limit_mm')} at "
        f"the next service, about {say_date(row['next_service_date_50'])}; accepted risk "
        f"{say_probability(row['accepted_risk'])}. "
        f"{begin_sentence(_last(row))}{_share(row)}{_growth(row)}"
    )


def _recheck(row: dict[str, Any]) -> str:
    if row["question"]:
        return f"{row['question']} Left out of the forecast until that is answered; measure again"
    if row["last_result"] == "seen, not measured":
        return f"movement was seen on {say_date(row['last_date'])} but not measured; measure it"
    if is_known(row["fell_on"]):
        return (
            f"play fell from {_play(row, 'fell_from_mm')} on {say_date(row['fell_after'])} to "
            f"{_play(row, 'fell_to_mm')} on {say_date(row['fell_on'])} with no work on record between: was a "
            "replacement or adjustment left out? Load it, or measure again"
        )
    above = row["last_z"] > 0.0
    return (
        f"{_last(row)} is well {'above' if above else 'below'} the {_play(row, 'last_expected_mm')} that its history "
        "foretold; measure again before trusting either"
    )


def _not_tested(row: dict[str, Any]) -> str:
    since = f" since its {row['origin']} on {say_date(row['life_start_date'])}" if row["life_no"] > 1 else ""
    return f"not tested in this load direction{since}; a joint tested in one direction only has not been cleared"


def _too_little(row: dict[str, Any]) -> str:
    if not is_known(row["play_next_mm"]):
        return f"{_last(row)}; this kind of joint has too few readings in the fleet for a model"
    return f"{_last(row)}; one visit tells no trend, so the forecast rests on joints of its kind"


def _no_limit(row: dict[str, Any]) -> str:
    return f"{_last(row)}, no limit on record to compare with{_growth(row)}; look up the maker's limit"


def _no_crossing(row: dict[str, Any]) -> str:
    return (
        f"{_last(row)}{_share(row)}{_growth(row)}; probability {say_probability(row['p_over_next'])} of being over at "
        f"the next service, about {say_date(row['next_service_date_50'])}. No crossing forecast; inspect as scheduled"
    )


def _play(row: dict[str, Any], column: str) -> str:
    return say_play(row[column], str(row["play_unit"]))


def _last(row: dict[str, Any]) -> str:
    if not is_known(row["last_date"]):
        return "not tested in this load direction, so this rests on joints of its kind"
    if is_known(row["last_play_mm"]):
        return f"{_play(row, 'last_play_mm')} on {say_date(row['measured_date'])}"
    return f"movement {row['last_result']} on {say_date(row['last_date'])}"


def _share(row: dict[str, Any]) -> str:
    if not is_known(row["share_of_limit"]):
        return ""
    return f", {row['share_of_limit']:.0%} of its limit of {_play(row, 'limit_mm')}"


def _growth(row: dict[str, Any]) -> str:
    if not is_known(row["growth_mm_per_km"]):
        return ""
    distance = str(row["distance_unit"])
    values = [row[name] for name in ("growth_mm_per_km", "growth_lower", "growth_upper")]
    return f", growing {say_growth(values, str(row['play_unit']), distance)} per 10,000 {distance}"


def worst_of_vehicle(joints: pd.DataFrame) -> pd.DataFrame:
    """Return the most pressing row of each vehicle: by outcome, then by crossing probability, then share.

    ``joints`` are classified rows; the result is indexed by vehicle_id.
    """
    ordered = joints.assign(
        rank=joints["outcome"].map(OUTCOME_RANKS),
        chance=joints["p_over_next"].fillna(-1.0),
        share=joints["share_of_limit"].fillna(-1.0),
    ).sort_values(
        ["vehicle_id", "rank", "chance", "share", "position_id", "direction"],
        ascending=[True, True, False, False, True, True],
    )
    return ordered.groupby("vehicle_id", sort=False).head(1).set_index("vehicle_id")


def judge_vehicles(vehicles: pd.DataFrame, joints: pd.DataFrame, wheels: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return the vehicles with outcome, reason, position_id and direction of their most pressing joint.

    Parameters
    ----------
    vehicles
        One row a vehicle: vehicle_id, overdue, and symptom (a confirmed one that names no joint, or "").
    joints
        Classified rows of those vehicles.
    wheels
        Judged wheel checks of theirs: vehicle_id, is_last, verdict, says. One over its limit, until that wheel is
        measured again, makes its vehicle over limit, though no joint.
    """
    worst = worst_of_vehicle(joints).reindex(vehicles["vehicle_id"])
    frame = vehicles.copy()
    for column in ("outcome", "reason", "position_id", "direction"):
        # as objects: without any joint the columns are empty and would hold no words
        frame[column] = worst[column].to_numpy(dtype=object)
    bare = frame["outcome"].isna()
    frame.loc[bare, "outcome"] = str(Outcome.NOT_TESTED)
    frame.loc[bare, "reason"] = "No joint positions are on record for this model; load them."
    leads = (frame["symptom"] != "") & (frame["outcome"].map(OUTCOME_RANKS) > Outcome.SYMPTOM_CONFIRMED.rank)
    frame.loc[leads, "outcome"] = str(Outcome.SYMPTOM_CONFIRMED)
    frame.loc[leads, ["position_id", "direction"]] = None
    frame.loc[leads, "reason"] = [
        f"{begin_sentence(text)}. {_where_to_look(joints[joints['vehicle_id'] == vehicle])}"
        for vehicle, text in zip(frame.loc[leads, "vehicle_id"], frame.loc[leads, "symptom"], strict=True)
    ]
    if wheels is not None and len(wheels):
        _judge_wheels(frame, wheels)
    late = frame["overdue"].to_numpy(dtype=bool)
    frame.loc[late, "reason"] = "Its service is overdue. " + frame.loc[late, "reason"]
    return frame


def _where_to_look(joints: pd.DataFrame) -> str:
    """Return what to do of a confirmed symptom that names no joint: what has moved, or what is left to test."""
    shown = joints.loc[moved(joints)].sort_values("share_of_limit", ascending=False) if len(joints) else joints
    if len(shown):
        names = dict.fromkeys(shown["joint"].astype(str))
        return f"Find the joint that explains it; movement was found at: {_some(list(names))}."
    left = joints[joints["n_visits"] == 0] if len(joints) else joints
    if len(left):
        names = dict.fromkeys(left["joint"].astype(str) + ", " + left["direction"].astype(str))
        return f"No movement was found at the joints tested: first test what is left, {_some(list(names))}."
    return "No movement was found at any joint in any load direction: find what explains it."


def _some(names: list[str], named: int = 3) -> str:
    rest = len(names) - named
    return "; ".join(names[:named]) + (f"; and {rest} more" if rest > 0 else "")


def _judge_wheels(frame: pd.DataFrame, wheels: pd.DataFrame) -> None:
    """Make the vehicles over limit that have a wheel over its limit; a joint over its own stays first."""
    over = wheels[wheels["is_last"] & (wheels["verdict"] == str(WheelVerdict.OVER))]
    said = over.groupby("vehicle_id", sort=False)["says"].agg(" ".join)
    own = frame["vehicle_id"].isin(said.index).to_numpy()
    joint_over = (frame["outcome"] == str(Outcome.OVER_LIMIT)).to_numpy()
    words = frame["vehicle_id"].map(said).astype(object)
    both = own & joint_over
    frame.loc[both, "reason"] = frame.loc[both, "reason"] + " " + words[both]
    first = own & ~joint_over
    frame.loc[first, "reason"] = words[first]
    frame.loc[first, "outcome"] = str(Outcome.OVER_LIMIT)
    frame.loc[first, ["position_id", "direction"]] = None
