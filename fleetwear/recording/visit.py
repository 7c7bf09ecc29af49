"""A visit as a technician gives it: securing, complaint, readings and work, and the tables that hand it over."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fleetwear.vocabulary import Direction, Kind, Result, Timing, Work

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

Row = dict[str, Any]

RENEWING = (str(Work.REPLACED), str(Work.ADJUSTED))
"""Work that begins a new life of a joint."""


@dataclass(frozen=True)
class JointReading:
    """What one joint showed in one load direction, in one way of reading.

    ``strokes`` are the plays as they were written, numbers in the visit's play unit, each of a full push and pull;
    where nothing was measured they are empty, and ``result`` says "none seen" or "seen, not measured".
    ``instrument`` is the indicator's own number.
    """

    joint: str
    direction: str
    strokes: tuple[str, ...] = ()
    result: str = str(Result.MEASURED)
    method: str | None = None
    support: str | None = None
    read_at: str | None = None
    indicator: str | None = None
    instrument: str | None = None
    timing: str | None = None


@dataclass(frozen=True)
class JointWork:
    """What was done to one joint at the visit.

    ``work`` is "replaced" or "adjusted", which begin a new life of the joint, or "greased", which does not;
    ``part_number`` and ``reason`` as they were written.
    """

    joint: str
    work: str
    part_number: str | None = None
    reason: str | None = None


@dataclass(frozen=True)
class Visit:
    """One visit. Texts are taken as they were written; None and "" are what was not said.

    Attributes
    ----------
    unit, visit_date
        The vehicle's unit number and the day.
    odometer, distance_unit
        The value as written, and its unit ("km" or "mi"); None for a vehicle without an odometer.
    swap
        Last value of the old and first value of the new instrument, in ``distance_unit``, if it was swapped.
    technician, shop
        Codes or names.
    complaint, symptom_confirmed, symptom_joint
        What the driver said; whether the road test confirmed it (None: no road test); at which joint.
    secured
        Words of ``vocabulary.Secured`` that were confirmed.
    note
        Anything else.
    play_unit, step
        The unit of the strokes, and the step of the indicator in it, if known.
    readings
        The readings; those "after work" belong to the new life of a joint that was replaced or adjusted.
    work
        What was done to joints.
    """

    unit: str
    visit_date: date
    odometer: str | None = None
    distance_unit: str = "km"
    swap: tuple[str, str] | None = None
    technician: str | None = None
    shop: str | None = None
    complaint: str | None = None
    symptom_confirmed: bool | None = None
    symptom_joint: str | None = None
    secured: tuple[str, ...] = ()
    note: str | None = None
    play_unit: str = "mm"
    step: str | None = None
    readings: tuple[JointReading, ...] = field(default=())
    work: tuple[JointWork, ...] = field(default=())


def hand_over_tables(visit: Visit) -> dict[str, list[Row]]:
    """Return the visit as rows by table, in the columns of ``intake.columns``; tables without rows are left out."""
    day = {"unit": visit.unit, "visit date": visit.visit_date.isoformat()}
    odometer = _with_unit(visit.odometer, visit.distance_unit)
    tables: dict[str, list[Row]] = {"odometer": [], "visits": [], "work": [], "readings": []}
    if visit.swap is not None:
        old, new = (_with_unit(value, visit.distance_unit) for value in visit.swap)
        tables["odometer"].append(
            {
                "unit": visit.unit,
                "entry date": visit.visit_date.isoformat(),
                "odometer": old,
                "event": "swap",
                "new odometer": new,
            }
        )
    confirmed = None if visit.symptom_confirmed is None else ("yes" if visit.symptom_confirmed else "no")
    tables["visits"].append(
        day
        | {
            "odometer": odometer,
            "shop": visit.shop,
            "technician": visit.technician,
            "complaint": visit.complaint,
            "symptom confirmed": confirmed,
            "symptom joint": visit.symptom_joint,
            "secured": "; ".join(visit.secured) or None,
            "note": visit.note,
        }
    )
    tables["work"] += [
        {
            "unit": visit.unit,
            "work date": visit.visit_date.isoformat(),
            "odometer": odometer,
            "joint": done.joint,
            "work": done.work,
            "part number": done.part_number,
            "reason": done.reason,
        }
        for done in visit.work
    ]
    same = day | {"odometer": odometer, "shop": visit.shop, "technician": visit.technician}
    step = _with_unit(visit.step, visit.play_unit)
    for reading in visit.readings:
        tables["readings"] += [same | row for row in _rows(reading, visit.play_unit, step)]
    return {name: [_said(row) for row in rows] for name, rows in tables.items() if rows}


def _rows(reading: JointReading, unit: str, step: str | None) -> Iterable[Row]:
    way = {
        "joint": reading.joint,
        "direction": reading.direction,
        "method": reading.method,
        "support": reading.support,
        "read at": reading.read_at,
        "indicator": reading.indicator,
        "instrument": reading.instrument,
        "timing": reading.timing,
    }
    if not reading.strokes:
        yield way | {"result": reading.result, "play": None}
    for number, stroke in enumerate(reading.strokes, start=1):
        yield way | {
            "stroke": str(number),
            "result": str(Result.MEASURED),
            "play": _with_unit(stroke, unit),
            "resolution": step,
        }


def _with_unit(value: str | None, unit: str) -> str | None:
    return f"{value} {unit}" if value else None


def _said(row: Row) -> Row:
    """Return the row without cells that say nothing; a column that every row of a table needs stays."""
    return {name: cell for name, cell in row.items() if cell not in (None, "") or name == "play"}


def hand_over_text(visit: Visit) -> str:
    """Return the visit as a JSON file of tables; the same visit is always the same text."""
    return json.dumps(hand_over_tables(visit), ensure_ascii=False, indent=1) + "\n"


@dataclass(frozen=True)
class Untested:
    """Load directions that the visit has not tested.

    Attributes
    ----------
    half_tested
        Joints read at this visit in one load direction and not in another that tests their kind: joint, direction.
    not_read
        Joints that this visit has not read at all.
    not_read_since_work
        Joints that were replaced or adjusted at this visit and not read after it: readings before it tell nothing of
        what is in place now.
    """

    half_tested: tuple[tuple[str, Direction], ...]
    not_read: tuple[str, ...]
    not_read_since_work: tuple[str, ...] = ()


def untested(visit: Visit, kinds: dict[str, str]) -> Untested:
    """Return what the visit has not tested; a joint tested in one load direction only has not been cleared.

    Parameters
    ----------
    visit
        The visit.
    kinds
        The kind of every joint of the vehicle's model, by the joint's name.
    """
    renewed = {done.joint for done in visit.work if done.work in RENEWING}
    tested = {
        (reading.joint, reading.direction)
        for reading in visit.readings
        if reading.joint not in renewed or reading.timing == Timing.AFTER_WORK
    }
    read = {joint for joint, _ in tested}
    missing = tuple(
        (joint, direction)
        for joint, kind in kinds.items()
        if joint in read
        for direction in Kind(kind).test_directions
        if (joint, str(direction)) not in tested
    )
    not_read = [joint for joint in kinds if joint not in read]
    return Untested(
        missing,
        tuple(joint for joint in not_read if joint not in renewed),
        tuple(joint for joint in not_read if joint in renewed),
    )
