"""The fields of a draft and the visit that they make: names of fields, and nothing of how they are shown."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.recording.odometer import OdometerDoubt, check_odometer, running_km
from fleetwear.recording.visit import JointReading, JointWork, Visit
from fleetwear.units import SPELLINGS, factor
from fleetwear.vocabulary import Indicator, Result, Timing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleetwear.recording.joint_list import BayJoint
    from fleetwear.recording.on_record import BayRecord

STROKES = 3
"""Strokes that a form asks for at first; a further one is asked for when all are given."""
MOST_STROKES = 9
ROAD_TEST = {"confirmed": True, "not confirmed": False}
"""What a road test said; without a word there was none."""


def series_field(position_id: int, direction: str, what: str, *, after_work: bool = False) -> str:
    """Return the name of a field of one joint in one load direction: a stroke "s1", result, method, ...

    Strokes and result of a joint that is read again after work on it have names of their own; how it is loaded and read
    is the same.
    """
    return f"{position_id}/{direction}{' after work' if after_work else ''}/{what}"


def work_field(position_id: int, what: str) -> str:
    """Return the name of a field of the work on one joint: done, part, reason."""
    return f"{position_id}/work/{what}"


def other_field(name: str) -> str:
    """Return the name of the field for a technician or shop that is not among the known ones."""
    return f"{name}_other"


def who(fields: Mapping[str, Any], name: str) -> str | None:
    """Return the technician or shop: the one that was written, or else the one that was chosen."""
    return str(fields.get(other_field(name)) or fields.get(name) or "").strip() or None


def sure_field(fields: Mapping[str, Any]) -> str:
    """Return the name of the field that says that an odometer value asked about is right: it holds for that value."""
    return f"odometer {fields.get('odometer')} on {fields.get('date')} is right"


def instrument_of(fields: Mapping[str, Any], indicator: str | None) -> str | None:
    """Return the number of the visit's indicator for a reading; one by eye used none."""
    return None if indicator == Indicator.EYE else str(fields.get("instrument") or "").strip() or None


def strokes_of(
    fields: Mapping[str, Any], position_id: int, direction: str, *, after_work: bool = False
) -> tuple[str, ...]:
    """Return the strokes that were given, as they are written."""
    names = (series_field(position_id, direction, f"s{i}", after_work=after_work) for i in range(1, MOST_STROKES + 1))
    given = (fields.get(name) for name in names)
    return tuple(written(value) for value in given if value is not None)


def written(value: float | str) -> str:
    """Return a number as it is written, without what binary fractions add."""
    return value if isinstance(value, str) else format(float(value), ".12g")


def clash(fields: Mapping[str, Any], position_id: int, direction: str, *, after_work: bool = False) -> bool:
    """Return whether strokes are given beside a word that nothing was measured."""
    word = fields.get(series_field(position_id, direction, "result", after_work=after_work))
    return bool(word) and bool(strokes_of(fields, position_id, direction, after_work=after_work))


def is_read_twice(fields: Mapping[str, Any], joint: BayJoint, direction: str) -> bool:
    """Return whether a joint is, or can be, read before and after work in a load direction.

    It is where work on it is recorded, unless its first reading is said to be of after the work already; and where
    readings after the work are given.
    """
    if _is_given(fields, joint.position_id, direction, after_work=True):
        return True
    taken = fields.get(series_field(joint.position_id, direction, "timing"))
    return bool(fields.get(work_field(joint.position_id, "done"))) and taken != Timing.AFTER_WORK


def _is_given(fields: Mapping[str, Any], position_id: int, direction: str, *, after_work: bool) -> bool:
    word = fields.get(series_field(position_id, direction, "result", after_work=after_work))
    return bool(word) or bool(strokes_of(fields, position_id, direction, after_work=after_work))


def work_of(fields: Mapping[str, Any], joint: BayJoint) -> JointWork | None:
    """Return what was done to a joint, None where nothing was."""
    done = fields.get(work_field(joint.position_id, "done"))
    if not done:
        return None
    told = (str(fields.get(work_field(joint.position_id, name)) or "").strip() or None for name in ("part", "reason"))
    return JointWork(joint.joint, str(done), *told)


def readings_of(fields: Mapping[str, Any], joint: BayJoint, direction: str) -> tuple[JointReading, ...]:
    """Return the readings of a joint in a load direction: none, one, or one before and one after work."""
    found = (reading_of(fields, joint, direction, after_work=after) for after in (False, True))
    return tuple(reading for reading in found if reading is not None)


def reading_of(
    fields: Mapping[str, Any], joint: BayJoint, direction: str, *, after_work: bool = False
) -> JointReading | None:
    """Return the reading of a joint in a load direction, None where it was not tested. Strokes win over a word."""
    strokes = strokes_of(fields, joint.position_id, direction, after_work=after_work)
    word = fields.get(series_field(joint.position_id, direction, "result", after_work=after_work))
    if not strokes and not word:
        return None
    way = {
        name: fields.get(series_field(joint.position_id, direction, name))
        for name in ("method", "support", "read_at", "indicator", "timing")
    }
    way["instrument"] = instrument_of(fields, way["indicator"])
    if after_work or is_read_twice(fields, joint, direction):
        way["timing"] = str(Timing.AFTER_WORK if after_work else Timing.BEFORE_WORK)
    return JointReading(joint.joint, direction, strokes, str(Result.MEASURED) if strokes else str(word), **way)


def visit_of(fields: Mapping[str, Any], bay: BayRecord, joints: Sequence[BayJoint]) -> Visit:
    """Return the visit that a draft's fields make.

    Parameters
    ----------
    fields
        The draft's fields.
    bay, joints
        The vehicle and its joints, in the order in which readings are handed over.
    """
    in_order = sorted(joints, key=lambda joint: joint.position_id)
    complaint = fields.get("complaint")
    road_test = ROAD_TEST.get(str(fields.get("road_test")))
    swap = _swap(fields)
    return Visit(
        unit=str(bay.vehicle["unit"]),
        visit_date=visit_date(fields),
        odometer=None if fields.get("odometer") is None else written(fields["odometer"]),
        distance_unit=str(bay.vehicle["distance_unit"]),
        swap=None if swap is None else (written(swap[0]), written(swap[1])),
        technician=who(fields, "technician"),
        shop=who(fields, "shop"),
        complaint=complaint,
        symptom_confirmed=road_test,
        symptom_joint=fields.get("symptom_joint") if road_test else None,
        secured=tuple(fields.get("secured") or ()),
        note=fields.get("note"),
        play_unit=play_unit(fields, bay),
        step=None if fields.get("step") is None else written(fields["step"]),
        readings=tuple(
            reading
            for joint in in_order
            for series in joint.series
            for reading in readings_of(fields, joint, series.direction)
        ),
        work=tuple(done for joint in in_order if (done := work_of(fields, joint)) is not None),
    )


def visit_date(fields: Mapping[str, Any]) -> date:
    """Return the day of the visit."""
    return date.fromisoformat(str(fields["date"]))


def play_unit(fields: Mapping[str, Any], bay: BayRecord) -> str:
    """Return the unit in which strokes are written."""
    chosen = fields.get("play_unit")
    return str(chosen if chosen in SPELLINGS["play"].values() else bay.vehicle["play_unit"])


def _swap(fields: Mapping[str, Any]) -> tuple[float, float] | None:
    old, new = fields.get("swap_old"), fields.get("swap_new")
    return None if old is None or new is None else (float(old), float(new))


def _swaps(fields: Mapping[str, Any], bay: BayRecord) -> pd.DataFrame:
    """Return the swaps on record and that of this visit."""
    swap = _swap(fields)
    if swap is None:
        return bay.swaps
    scale = factor(str(bay.vehicle["distance_unit"]), "km")
    own = {"on_date": [pd.Timestamp(visit_date(fields))], "old_km": [swap[0] * scale], "new_km": [swap[1] * scale]}
    return pd.DataFrame(own) if bay.swaps.empty else pd.concat([bay.swaps, pd.DataFrame(own)], ignore_index=True)


def odometer_doubt(fields: Mapping[str, Any], bay: BayRecord) -> OdometerDoubt | None:
    """Return what is to be asked about the draft's odometer value, None where nothing is."""
    if fields.get("odometer") is None or bay.vehicle["distance_source"] == "none":
        return None
    unit = str(bay.vehicle["distance_unit"])
    km = float(fields["odometer"]) * factor(unit, "km")
    return check_odometer(km, visit_date(fields), bay.entries, _swaps(fields, bay), distance_unit=unit)


def run_km_of(fields: Mapping[str, Any], bay: BayRecord) -> float | None:
    """Return the distance that the vehicle has run by the draft's odometer, None where it is not given."""
    if fields.get("odometer") is None:
        return None
    km = float(fields["odometer"]) * factor(str(bay.vehicle["distance_unit"]), "km")
    return running_km(km, visit_date(fields), _swaps(fields, bay))


def still_missing(fields: Mapping[str, Any], bay: BayRecord, joints: Sequence[BayJoint] = ()) -> list[str]:
    """Return what has to be given before the visit can be recorded, in words."""
    missing = [
        f"what was done to the {joint.joint} (it has a part number or a reason)"
        for joint in joints
        if not fields.get(work_field(joint.position_id, "done"))
        and any(fields.get(work_field(joint.position_id, name)) for name in ("part", "reason"))
    ]
    if bay.vehicle["distance_source"] != "none" and fields.get("odometer") is None:
        missing.append(f"the {bay.vehicle['distance_source']} value")
    if not who(fields, "technician"):
        missing.append("the technician's code")
    doubt = odometer_doubt(fields, bay)
    if doubt is not None and not fields.get(sure_field(fields)):
        missing.append("a word on the odometer value that was asked about")
    return missing
