"""The symptoms of one vehicle that stand, each with what moved under load and what follows, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.planning.symptoms import Movement, Road, decide, joint_movement, road_of, say_step
from fleetwear.planning.wording import is_known, say_date
from fleetwear.vocabulary import Work

if TYPE_CHECKING:
    from collections.abc import Hashable

    from fleetwear.planning.vehicle import VehicleRecord


def open_symptoms(record: VehicleRecord) -> list[str]:
    """Return a line for each symptom that stands, newest first.

    A confirmed one stands until its joint (any joint, where it names none) is replaced or adjusted on that day or
    later, or a later visit says that it is gone; one that is only reported, or was not confirmed, is shown where it is
    of the last visit.
    """
    lines, told = [], set()
    for at, visit in enumerate(record.visits.to_dict("records")):
        road = _road(visit)
        place = visit["symptom_joint"] if is_known(visit["symptom_joint"]) else None
        if road is Road.NONE or place in told:
            continue
        if road is Road.CONFIRMED and _worked_on(record.work, place, visit):
            told.add(place)
            continue
        if road is not Road.REPORTED:
            told.add(place)
        if road is Road.CONFIRMED or at == 0:
            lines.append(_line(visit, road, place, record.joints))
    return lines


def _road(visit: dict[Hashable, Any]) -> Road:
    confirmed = bool(visit["symptom_confirmed"]) if is_known(visit["symptom_confirmed"]) else None
    return road_of(complaint=is_known(visit["complaint"]), confirmed=confirmed)


def _worked_on(work: pd.DataFrame, place: str | None, visit: dict[Hashable, Any]) -> bool:
    if work.empty:
        return False
    since = pd.to_datetime(work["work_date"]) >= pd.Timestamp(visit["visit_date"])
    own = since & (work["work"] != str(Work.GREASED))
    return bool((own if place is None else own & (work["joint"] == place)).any())


def _line(visit: dict[Hashable, Any], road: Road, place: str | None, joints: pd.DataFrame) -> str:
    complaint = str(visit["complaint"]) if is_known(visit["complaint"]) else "symptom"
    head = f"{say_date(visit['visit_date'])}: {complaint}; {road}"
    own = joints if place is None else joints[joints["joint"] == place]
    if own.empty:
        return f"{head}."
    found = joint_movement(own)
    order = list(Movement)
    movement = min((Movement(one) for one in found["movement"]), key=order.index)
    left = sorted({direction for one in found["left"] for direction in one})
    step = say_step(decide(road, movement, direction_left=bool(left)), left)
    where = "most at any joint" if place is None else f"at the {place}"
    return f"{head}; {where}: {movement}. {step[:1].upper()}{step[1:]}."
