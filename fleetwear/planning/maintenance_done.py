"""What was done to a vehicle, and when: visits with what they read, services, and work on joints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.planning.maintenance_due import day_of
from fleetwear.planning.wording import is_known, say_play
from fleetwear.vocabulary import Result, Timing, Work

if TYPE_CHECKING:
    from collections.abc import Hashable
    from datetime import date

    from fleetwear.planning.vehicle import VehicleRecord


@dataclass(frozen=True)
class Done:
    """An inspection, repair or maintenance, with its day and nature."""

    day: date
    odometer_km: float | None
    nature: str
    what: str
    by: str


def entries_done(record: VehicleRecord, services: pd.DataFrame, *, people: bool = True) -> list[Done]:
    """Return what was done, visits first, then work, then services; who read is named only where ``people`` says so."""
    entries = [_visit(visit, record, people=people) for visit in record.visits.to_dict("records")]
    entries += [_work(work, record) for work in record.work.to_dict("records")]
    for service in services.to_dict("records"):
        day = day_of(service["done_date"])
        assert day is not None
        entries.append(Done(day, _number(service["odometer_km"]), "Maintenance", "Service done", ""))
    return entries


def _number(value: object) -> float | None:
    return float(str(value)) if is_known(value) else None


def _work(work: dict[Hashable, Any], record: VehicleRecord) -> Done:
    day = day_of(work["work_date"])
    assert day is not None
    part = ", ".join(
        f"{name} {work[column]}"
        for name, column in (("part", "part_number"), ("from", "supplier"))
        if is_known(work[column])
    )
    why = f"; {work['reason']}" if is_known(work["reason"]) and work["reason"] else ""
    nature = "Repair" if work["work"] == Work.REPLACED else "Maintenance"
    what = f"{str(work['joint']).capitalize()} {work['work']}{f' ({part})' if part else ''}{why}"
    same_day = record.visits[pd.to_datetime(record.visits["visit_date"]).dt.date == day]
    odometer = _number(same_day.iloc[0]["odometer_km"]) if len(same_day) else None
    return Done(day, odometer, nature, what, "")


def _visit(visit: dict[Hashable, Any], record: VehicleRecord, *, people: bool) -> Done:
    day = day_of(visit["visit_date"])
    assert day is not None
    own = record.readings[record.readings["visit_id"] == visit["visit_id"]]
    complaint = say_complaint(visit)
    parts = [f"Complaint: {complaint}"] if complaint else []
    parts.append(f"Play read: {_read(own, str(record.vehicle['play_unit']))}" if len(own) else "No play was read")
    named = ("shop", "technician") if people else ("shop",)
    who = ", ".join(str(visit[name]) for name in named if is_known(visit[name]))
    return Done(day, _number(visit["odometer_km"]), "Inspection", ". ".join(parts), who)


def say_complaint(visit: dict[Hashable, Any]) -> str:
    """Return what the driver of a visit complained of, and whether it was confirmed; empty without a complaint."""
    if not is_known(visit["complaint"]):
        return ""
    confirmed = visit["symptom_confirmed"]
    if not is_known(confirmed):
        return str(visit["complaint"])
    if not confirmed:
        return f"{visit['complaint']}; not confirmed"
    joint = f" at the {visit['symptom_joint']}" if is_known(visit["symptom_joint"]) else ""
    return f"{visit['complaint']}; confirmed{joint}"


def _read(own: pd.DataFrame, play: str) -> str:
    """Return what one visit read, joint by joint: the largest stroke of each load direction."""
    told = []
    for joint, of_joint in own.groupby("joint", sort=True):
        words = []
        for (direction, timing), strokes in of_joint.groupby(["direction", "timing"], sort=True):
            later = ", after work" if timing == Timing.AFTER_WORK else ""
            words.append(f"{direction} {_strokes(strokes, play)}{later}")
        told.append(f"{joint} {', '.join(words)}")
    return "; ".join(told)


def _strokes(strokes: pd.DataFrame, play: str) -> str:
    mistaken = strokes["question_state"] == "mistake"
    believed = strokes[~mistaken]
    measured = believed.loc[believed["result"] == Result.MEASURED, "play_mm"]
    if believed.empty:
        return f"{say_play(strokes['play_mm'].max(), play)} (found to be a mistake)"
    what = say_play(measured.max(), play) if len(measured) else str(believed.iloc[0]["result"])
    asked = " (in question)" if (believed["question_state"] == "open").any() else ""
    return what + asked
