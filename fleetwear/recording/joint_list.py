"""The joints of a vehicle in the bay: what is known of each, what is due first, and what is said of a new reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.planning.fresh_reading import FreshAnswer, answer_at_once, expect_reading, way_of_reading
from fleetwear.planning.wording import is_known, say_date, say_play
from fleetwear.recording.on_record import limit_of, test_directions
from fleetwear.store.known import ASSUMED_KM_PER_DAY
from fleetwear.units import factor
from fleetwear.vocabulary import OUTCOME_RANKS, Outcome, Timing

if TYPE_CHECKING:
    from datetime import date

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.recording.on_record import BayRecord
    from fleetwear.recording.visit import JointReading

_WAY = ("method", "support", "read_at", "indicator")
_DUE = {str(o) for o in Outcome if o.rank <= Outcome.TOO_LITTLE_DATA.rank}


@dataclass(frozen=True)
class BaySeries:
    """One joint in one load direction.

    Attributes
    ----------
    direction
        The load direction.
    last
        The last reading in words, empty where it was never read.
    limit
        The limit in words.
    outcome, reason
        What the forecast says, empty without one.
    way
        How it was last read: method, support, read_at, indicator; None where it was not said.
    """

    direction: str
    last: str
    limit: str
    outcome: str
    reason: str
    way: dict[str, str | None]

    @property
    def is_due(self) -> bool:
        """Whether it is to be looked at at this visit."""
        return self.outcome in _DUE or not self.last


@dataclass(frozen=True)
class BayJoint:
    """One joint with all load directions that test its kind, and others in which it was read."""

    position_id: int
    joint: str
    kind: str
    place: str | None
    series: tuple[BaySeries, ...]

    @property
    def is_due(self) -> bool:
        """Whether it is to be looked at at this visit."""
        return any(one.is_due for one in self.series)

    @property
    def why(self) -> str:
        """Why it is due, in words: the most pressing outcome, or the load directions never tested."""
        outcomes = [one.outcome for one in self.series if one.outcome in _DUE]
        if outcomes:
            return min(outcomes, key=lambda outcome: OUTCOME_RANKS[outcome])
        never = [one.direction for one in self.series if not one.last]
        return f"not tested: {', '.join(never)}" if never else ""


def list_joints(bay: BayRecord, forecast: VehicleRecord | None) -> list[BayJoint]:
    """Return the joints of a vehicle, the most pressing first, then those with load directions never tested.

    Parameters
    ----------
    bay
        The vehicle as it is on record.
    forecast
        Its forecast, None without one.
    """
    said: dict[tuple[int, str], dict[str, Any]] = {}
    if forecast is not None:
        for row in forecast.joints.to_dict("records"):
            said[int(row["position_id"]), str(row["direction"])] = {str(k): v for k, v in row.items()}
    last = {(int(row["position_id"]), str(row["direction"])): row for row in bay.last.to_dict("records")}
    found = [
        BayJoint(
            int(row["position_id"]),
            str(row["joint"]),
            str(row["kind"]),
            str(row["place"]) if is_known(row["place"]) else None,
            _series_of(bay, row, said, last),  # type: ignore[arg-type]
        )
        for row in bay.joints.to_dict("records")
    ]
    return sorted(found, key=lambda joint: (_rank(joint, said), joint.position_id))


def _rank(joint: BayJoint, said: dict[tuple[int, str], dict[str, Any]]) -> tuple[int, float]:
    ranks = [OUTCOME_RANKS[one.outcome] for one in joint.series if one.outcome]
    chances = [said.get((joint.position_id, one.direction), {}).get("p_over_next") for one in joint.series]
    chance = max((float(str(p)) for p in chances if is_known(p)), default=-1.0)
    never = Outcome.NOT_TESTED.rank if any(not one.last for one in joint.series) else len(Outcome)
    return min([*ranks, never]), -chance


def _series_of(
    bay: BayRecord,
    joint: dict[str, Any],
    said: dict[tuple[int, str], dict[str, Any]],
    last: dict[tuple[int, str], dict[str, Any]],
) -> tuple[BaySeries, ...]:
    at = int(joint["position_id"])
    tests = test_directions(str(joint["kind"]))
    directions = [*tests, *(direction for where, direction in last if where == at and direction not in tests)]
    unit = str(bay.vehicle["play_unit"])
    found = []
    for direction in directions:
        read, fact = last.get((at, direction)), said.get((at, direction), {})
        way = {name: str(read[name]) if read and is_known(read[name]) else None for name in _WAY}
        limit, source = _limit(bay, joint, direction, way)
        found.append(
            BaySeries(
                direction,
                _last_words(read, unit),
                f"limit {say_play(limit, unit)} ({source})" if limit is not None else "no limit on record",
                str(fact.get("outcome", "")),
                str(fact.get("reason", "")),
                way,
            )
        )
    return tuple(found)


def _last_words(read: dict[str, Any] | None, unit: str) -> str:
    if read is None:
        return ""
    what = say_play(read["play_mm"], unit) if is_known(read["play_mm"]) else str(read["result"])
    return f"{what} on {say_date(read['visit_date'])}"


def _limit(
    bay: BayRecord, joint: dict[str, Any], direction: str, way: dict[str, str | None]
) -> tuple[float | None, str]:
    return limit_of(
        bay.limits,
        kind=str(joint["kind"]),
        place=str(joint["place"]) if is_known(joint["place"]) else None,
        direction=direction,
        method=way["method"],
        read_at=way["read_at"],
    )


def answer_reading(
    bay: BayRecord,
    forecast: VehicleRecord | None,
    joint: BayJoint,
    reading: JointReading,
    *,
    play_unit: str,
    run_km: float | None,
    on_date: date,
    step: float | None = None,
) -> FreshAnswer:
    """Return what is said at once of a reading, from the stored forecast; nothing is fitted.

    Parameters
    ----------
    bay, forecast
        The vehicle on record, and its forecast or None.
    joint, reading
        The joint and its reading; the strokes are numbers in ``play_unit``.
    play_unit, step
        The unit of the strokes and the step of the indicator in it.
    run_km
        The distance that the vehicle has run, swaps undone, km; None where the odometer is not known yet.
    on_date
        The day of the visit.
    """
    scale = factor(play_unit, "mm")
    way: dict[str, str | None] = {"method": reading.method, "read_at": reading.read_at}
    limit_mm, source = _limit(bay, {"kind": joint.kind, "place": joint.place}, reading.direction, way)
    strokes = [float(stroke) * scale for stroke in reading.strokes]
    expected, without = None, _no_forecast(bay, forecast, joint, reading)
    if forecast is not None and not without:
        fact = _fact(forecast, joint.position_id, reading.direction)
        run = _run_km(bay, forecast, fact, run_km, on_date)
        own = _own(forecast.lines, joint.position_id, reading.direction)
        if run is None:
            without = "the forecast needs the odometer"
        elif own.empty:
            without = "joints of this kind have too few readings in the fleet for a forecast"
        else:
            expected = expect_reading(
                own,
                _own(forecast.methods, joint.position_id, reading.direction),
                distance_km=run - float(fact["life_start_km"]),
                way=way_of_reading(reading.method, reading.read_at),
                detection=(forecast.run.settings.none_seen_mm, forecast.run.settings.none_seen_softness_mm),
                step_mm=(step or 0.0) * scale,
                own_history=bool(fact["n_visits"] > 0),
            )
    return answer_at_once(
        strokes,
        reading.result,
        expected,
        limit_mm=limit_mm,
        limit_source=source,
        play_unit=play_unit,
        without=without,
    )


def _no_forecast(bay: BayRecord, forecast: VehicleRecord | None, joint: BayJoint, reading: JointReading) -> str:
    """Return why there is no forecast for this reading, empty where there may be one."""
    if forecast is None:
        return "there is no forecast of this vehicle yet, so the reading is not held against its history"
    if reading.timing == Timing.AFTER_WORK:
        return "work on the joint begins a new life: the history of the old one no longer foretells this reading"
    fact = _fact(forecast, joint.position_id, reading.direction)
    if fact.empty:
        return "this joint is not in the forecast in this load direction"
    worked = bay.joints.loc[bay.joints["position_id"] == joint.position_id, "last_work_date"].iloc[0]
    counted = fact["life_start_date"]
    if is_known(worked) and (not is_known(counted) or worked > counted):
        return f"the joint was replaced or adjusted on {say_date(worked)}, which this forecast does not count yet"
    return ""


def _fact(forecast: VehicleRecord, position_id: int, direction: str) -> pd.Series:
    found = _own(forecast.joints, position_id, direction)
    return found.iloc[0] if len(found) else pd.Series(dtype=object)


def _own(frame: pd.DataFrame, position_id: int, direction: str) -> pd.DataFrame:
    found: pd.DataFrame = frame.loc[(frame["position_id"] == position_id) & (frame["direction"] == direction)]
    return found


def _run_km(
    bay: BayRecord, forecast: VehicleRecord, fact: pd.Series, run_km: float | None, on_date: date
) -> float | None:
    """Return the distance run; of a vehicle without an odometer as the forecast counts it, from dates."""
    if bay.vehicle["distance_source"] != "none":
        return run_km
    ahead = (on_date - forecast.run.as_of).days
    return float(fact["life_start_km"]) + float(fact["life_distance_km"]) + ahead * ASSUMED_KM_PER_DAY
