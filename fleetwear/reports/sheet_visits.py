"""What a vehicle's page says of its last visits and wheel checks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.planning.coverage import say_coverage
from fleetwear.planning.open_symptoms import open_symptoms
from fleetwear.planning.wheel_checks import standing_wheels
from fleetwear.planning.wording import begin_sentence, is_known, say_date, say_distance, say_play
from fleetwear.reports.page_text import plain
from fleetwear.reports.sheet_words import ended
from fleetwear.vocabulary import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory
    from fleetwear.reports.sheet_words import Sheet

_VISITS = 3
_WHEELS = 3
_SYMPTOMS = 2


def last_visits(record: VehicleRecord, histories: Sequence[JointHistory]) -> list[Sheet]:
    """Return date, odometer and what was measured of the last visits."""
    unit, play = str(record.vehicle["distance_unit"]), str(record.vehicle["play_unit"])
    places = {(history.fact["position_id"], str(history.fact["direction"])): at for at, history in enumerate(histories)}
    shown = []
    for visit in record.visits.head(_VISITS).to_dict("records"):
        own = record.readings[record.readings["visit_id"] == visit["visit_id"]]
        complaint = f" Complaint: {plain(visit['complaint'], 60)}." if is_known(visit["complaint"]) else ""
        shown.append(
            {
                "date": say_date(visit["visit_date"]),
                "odometer": say_distance(visit["odometer_km"], unit) if is_known(visit["odometer_km"]) else "",
                "measured": _measured(own, places, play) + complaint,
            }
        )
    return shown


def _measured(own: pd.DataFrame, places: dict[tuple[object, str], int], play: str) -> str:
    """Return what was read at one visit, the most pressing joints first, strokes by their largest."""
    if own.empty:
        return "No reading."
    found: list[tuple[int, str]] = []
    for (position, direction), strokes in own.groupby(["position_id", "direction"], sort=True):
        first = strokes.iloc[0]
        measured = strokes.loc[strokes["result"] == Result.MEASURED, "play_mm"]
        what = say_play(measured.max(), play) if len(measured) else str(first["result"])
        place = places.get((position, str(direction)), len(places))
        found.append((place, f"{plain(first['joint'], 44)} {direction} {what}"))
    found.sort()
    words = "; ".join(text for _, text in found[:4])
    rest = f"; and {len(found) - 4} more" if len(found) > 4 else ""
    return f"{begin_sentence(words)}{rest}."


def coverage(record: VehicleRecord) -> str:
    """Return what the last visit left untested."""
    return ended(plain(say_coverage(record.vehicle.to_dict()), 220)) if len(record.joints) else ""


def symptoms(record: VehicleRecord) -> list[str]:
    """Return the symptoms that stand, each with what follows; the newest first."""
    return [plain(line, 260) for line in open_symptoms(record)[:_SYMPTOMS]]


def wheels(record: VehicleRecord) -> list[str]:
    """Return the wheel checks that stand, as measured facts with the source of their limit; the most pressing first."""
    own = standing_wheels(record.wheels)
    lines = [plain(says, 330) for says in own["says"].head(_WHEELS)]
    rest = len(own) - _WHEELS
    return [*lines, f"And {rest} more wheel checks, none more pressing."] if rest > 0 else lines
