"""Wheel checks against the limits of wheels and linkages: measured facts, apart from joints and their wear.

Where the vehicle's weight class or bead diameter is not known, nothing is guessed: a check is over where it is so
whatever they are, within where it is so whatever they are, and not decided otherwise, with what has to be on record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.planning.tyre_size import bead_diameter
from fleetwear.planning.wording import is_known, say_date
from fleetwear.vocabulary import Result, WeightClass, WheelVerdict, joint_name

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence

    Row = dict[Hashable, Any]

_EQUAL = 1e-9
"""Relative room in comparing: a reading equal to its limit passes."""

NOT_OF_A_JOINT = "a limit of the wheel and its linkage, not of one joint"
_STATED = {
    "direction": "is for {}",
    "method": "is for {}",
    "support": "is for a wheel that is {}",
    "read_at": "is read at the {}",
}


@dataclass(frozen=True)
class JudgedWheel:
    """What is said of one wheel check."""

    verdict: WheelVerdict
    says: str
    indicative: str
    """Where the check was made in another way than its limit is stated for, or ""."""


def judge_wheels(checks: pd.DataFrame, limits: pd.DataFrame) -> pd.DataFrame:
    """Return the checks with is_last, verdict, says and indicative.

    Parameters
    ----------
    checks
        The rows of ``forecast/wheel_checks.sql``.
    limits
        The rows of ``forecast/wheel_limits.sql``.
    """
    frame = checks.copy()
    frame["is_last"] = _still_standing(checks)
    rows = limits.to_dict("records")
    judged = [_with_way(judge_wheel(check, rows)) for check in checks.to_dict("records")]
    frame["verdict"] = [str(one.verdict) for one in judged]
    frame["says"] = [one.says for one in judged]
    frame["indicative"] = [one.indicative for one in judged]
    return frame


def _with_way(judged: JudgedWheel) -> JudgedWheel:
    """Return the same, its sentence followed by the way of measuring where that is not the limit's."""
    mark = judged.indicative
    return replace(judged, says=f"{judged.says} ({mark[:1].upper()}{mark[1:]}.)") if mark else judged


def standing_wheels(wheels: pd.DataFrame) -> pd.DataFrame:
    """Return the judged checks that no later measurement has replaced, the most pressing verdict first."""
    rank = {str(verdict): at for at, verdict in enumerate(WheelVerdict)}
    own = wheels[wheels["is_last"].astype(bool)]
    return own.assign(rank=own["verdict"].map(rank)).sort_values("rank", kind="stable").drop(columns="rank")


def _still_standing(checks: pd.DataFrame) -> pd.Series[bool]:
    """Return which checks no later measurement of the same part of the same wheel has replaced."""
    place = ["vehicle_id", "axle", "side", "wheel_part"]
    day = pd.to_datetime(checks["visit_date"])
    measured = day.where(checks["result"] == Result.MEASURED)
    newest = measured.groupby([checks[name] for name in place]).transform("max")
    return newest.isna() | (day >= newest)


def judge_wheel(check: Row, limits: Sequence[Row]) -> JudgedWheel:
    """Return what is said of one check against all limits that may apply to it on its day."""
    head = wheel_title(check)
    bead = (
        float(check["bead_diameter_in"]) if is_known(check["bead_diameter_in"]) else bead_diameter(check["tyre_size"])
    )
    possible = _nearest_ways(check, [limit for limit in limits if _may_apply(check, limit)])
    numbered = [limit for limit in possible if is_known(limit["limit_mm"])]
    wordy = "; ".join(
        f"{limit['source']} gives no number: {limit['note']}" for limit in possible if limit not in numbered
    )
    more = f" {wordy}." if wordy else ""
    if check["result"] == Result.SEEN:
        return JudgedWheel(WheelVerdict.UNDECIDED, f"{head}: movement was seen and not measured; measure it.{more}", "")
    if not numbered:
        said = f"{head}: {_read(check)}; no limit in numbers on record for this check.{more}"
        return JudgedWheel(WheelVerdict.NO_LIMIT, said, "")
    play = float(check["play_mm"]) if is_known(check["play_mm"]) else 0.0
    cases = [[limit for limit in numbered if _holds(limit, *case)] for case in _cases(check, numbered, bead)]
    applying = _each_once(limit for case in cases for limit in case)
    over = _each_once(limit for case in cases for limit in case if _exceeds(play, limit))
    if over and all(any(_exceeds(play, limit) for limit in case) for case in cases):
        shown = over[:1] if len(cases) == 1 else over
        said = f"{head}: {_read(check)}, over {' and '.join(map(_allowed, shown))}. This is {NOT_OF_A_JOINT}.{more}"
        return JudgedWheel(WheelVerdict.OVER, said, _indicative(check, over[0]))
    if over:
        said = f"{head}: {_read(check)}; {_asks(check, applying, bead)}.{more}"
        return JudgedWheel(WheelVerdict.UNDECIDED, said, _indicative(check, over[0]))
    if not applying:
        return JudgedWheel(WheelVerdict.NO_LIMIT, f"{head}: {_read(check)}; no limit on record applies.{more}", "")
    said = f"{head}: {_read(check)}, within {_allowed(applying[0])}, {NOT_OF_A_JOINT}.{more}"
    return JudgedWheel(WheelVerdict.WITHIN, said, _indicative(check, applying[0]))


def _each_once(limits: Iterable[Row]) -> list[Row]:
    """Return the limits, each once, the smallest first."""
    return sorted({limit["wheel_limit_id"]: limit for limit in limits}.values(), key=lambda one: float(one["limit_mm"]))


def _cases(check: Row, limits: Sequence[Row], bead: float | None) -> list[tuple[str, float]]:
    """Return every weight class and bead diameter that the vehicle may have, as far as limits tell them apart."""
    known = is_known(check["weight_class"])
    tells_weight = any(is_known(limit["weight_class"]) for limit in limits)
    weights = [str(check["weight_class"])] if known else [str(one) for one in WeightClass] if tells_weight else [""]
    edges = {
        float(limit[name]) + step
        for limit in limits
        for name, step in (("bead_from_in", 0.0), ("bead_from_in", -0.01), ("bead_to_in", 0.0), ("bead_to_in", 0.01))
        if is_known(limit[name])
    }
    beads = [bead] if bead is not None else sorted(edges) or [0.0]
    return [(weight, inches) for weight in weights for inches in beads]


def wheel_title(check: Row) -> str:
    """Return what was looked at: "Left steer wheel, steering linkage"."""
    wheel = joint_name(str(check["side"]), str(check["axle"]), None, "wheel")
    return f"{wheel[:1].upper()}{wheel[1:]}, {check['wheel_part']}"


def _read(check: Row) -> str:
    where = f"read at the {check['read_at']} on {say_date(check['visit_date'])}"
    if check["result"] == Result.NONE_SEEN:
        return f"none seen, {where}"
    return f"{say_exact(check['play_written'], check['play_unit'], check['play_mm'])} {where}"


def say_exact(written: object, unit: object, mm: object) -> str:
    """Return a play as it was written with its mm beside it: "0.375 in (9.525 mm)", "6.351 mm"."""
    exact = f"{float(str(mm)):.4f}".rstrip("0").rstrip(".")
    return f"{exact} mm" if unit == "mm" else f"{written} {unit} ({exact} mm)"


def _allowed(limit: Row) -> str:
    return f"the {_value(limit)} of {limit['source']}{_scope(limit)}"


def _value(limit: Row) -> str:
    return say_exact(limit["limit_written"], limit["limit_unit"], limit["limit_mm"])


def _scope(limit: Row) -> str:
    low, high = limit["bead_from_in"], limit["bead_to_in"]
    bead = ""
    if is_known(low) and is_known(high):
        bead = f"beads of {low:.2f} to {high:.2f} in"
    elif is_known(high):
        bead = f"beads up to {high:.2f} in"
    elif is_known(low):
        bead = f"beads of {low:.2f} in and over"
    parts = [part for part in (bead, limit["weight_class"] if is_known(limit["weight_class"]) else "") if part]
    return f" ({', '.join(parts)})" if parts else ""


def _exceeds(play: float, limit: Row) -> bool:
    return play > float(limit["limit_mm"]) * (1.0 + _EQUAL)


def _may_apply(check: Row, limit: Row) -> bool:
    """Return whether nothing on record speaks against a limit's applying to a check."""
    if limit["wheel_part"] != check["wheel_part"] or pd.Timestamp(limit["valid_from"]) > pd.Timestamp(
        check["visit_date"]
    ):
        return False
    return not is_known(limit["model"]) or bool(limit["model"] == check["model"])


def _holds(limit: Row, weight: str, bead: float) -> bool:
    """Return whether a limit is for a weight class and a bead diameter, which tables state in hundredths of an inch."""
    inches = round(bead, 2)
    low, high = limit["bead_from_in"], limit["bead_to_in"]
    return (
        (not is_known(limit["weight_class"]) or limit["weight_class"] == weight)
        and (not is_known(low) or inches >= round(low, 2))
        and (not is_known(high) or inches <= round(high, 2))
    )


def _nearest_ways(check: Row, limits: list[Row]) -> list[Row]:
    """Return, of each source's limits, the newest, and those read where the check was if there are any."""
    kept: list[Row] = []
    for source in dict.fromkeys(limit["source"] for limit in limits):
        own = [limit for limit in limits if limit["source"] == source]
        newest = max(pd.Timestamp(limit["valid_from"]) for limit in own)
        kept += [limit for limit in own if pd.Timestamp(limit["valid_from"]) == newest]
    exact = [limit for limit in kept if limit["read_at"] == check["read_at"]]
    return exact + [limit for limit in kept if not is_known(limit["read_at"])] if exact else kept


def _asks(check: Row, limits: Sequence[Row], bead: float | None) -> str:
    """Return what has to be on record before it can be said which of the limits applies."""
    missing = []
    if not is_known(check["weight_class"]) and any(is_known(limit["weight_class"]) for limit in limits):
        classes = " or ".join(f'"{one}"' for one in WeightClass)
        missing.append(f"the vehicle's weight class ({classes}) is not on record")
    if bead is None and any(is_known(limit["bead_from_in"]) or is_known(limit["bead_to_in"]) for limit in limits):
        size = f'tyre size "{check["tyre_size"]}"' if is_known(check["tyre_size"]) else "no tyre size on record"
        missing.append(f"the nominal bead diameter is not known ({size}): write it as bead inches of the check")
    values = ", ".join(dict.fromkeys(map(_value, limits)))
    sources = ", ".join(dict.fromkeys(str(limit["source"]) for limit in limits))
    return f"over or within depends on which of {values} applies ({sources}): {'; '.join(missing)}"


def _indicative(check: Row, limit: Row) -> str:
    parts = [
        f"limit {words.format(limit[name])}, check {check[name] if is_known(check[name]) else 'not recorded'}"
        for name, words in _STATED.items()
        if is_known(limit[name]) and (not is_known(check[name]) or check[name] != limit[name])
    ]
    adjusted = is_known(check["bearings_adjusted"]) and bool(check["bearings_adjusted"])
    if is_known(limit["bearings_adjusted"]) and limit["bearings_adjusted"] and not adjusted:
        parts.append("limit has the wheel bearings adjusted first, which is not on record of the check")
    return f"indicative: {'; '.join(parts)}" if parts else ""
