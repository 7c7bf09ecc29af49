"""What is to be done to a vehicle, and by when: its service, and each of its joints by its most pressing outcome."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.planning.retention import after_months
from fleetwear.planning.wording import (
    begin_sentence,
    is_known,
    say_date,
    say_dates,
    say_distance,
    say_play,
    say_probability,
)
from fleetwear.vocabulary import OUTCOME_RANKS, Outcome

if TYPE_CHECKING:
    from fleetwear.planning.vehicle import VehicleRecord

NOT_ON_RECORD = "not on record"
_DAYS_PER_MONTH = 365.25 / 12


@dataclass(frozen=True)
class Due:
    """An operation to be performed, and by when."""

    nature: str
    what: str
    by: date | None
    odometer_km: float | None
    when: str
    """The due date as it is said: "now", "2027-01-16", "at the next service, 2027-01-16 at the latest"."""


def operations_due(record: VehicleRecord, services: pd.DataFrame) -> list[Due]:
    """Return the service and what is to be done to each joint, the most pressing first."""
    service = _service_due(record, services)
    expected = record.vehicle["next_service_date_50"]
    days = [day for day in (service.by, day_of(expected)) if day is not None]
    by_then = min(days, default=None)
    joints = [_joint_due(rows, record, by_then) for _, rows in record.joints.groupby("position_id", sort=True)]
    joints.sort(key=lambda pair: pair[0])
    urgent = OUTCOME_RANKS[str(Outcome.SYMPTOM_CONFIRMED)]
    now = [due for (rank, _, _), due in joints if rank <= urgent]
    then = [due for (rank, _, _), due in joints if rank > urgent]
    return [*now, service, *then]


def _service_due(record: VehicleRecord, services: pd.DataFrame) -> Due:
    vehicle = record.vehicle
    unit = str(vehicle["distance_unit"])
    dates = [vehicle[f"next_service_date_{point}"] for point in ("05", "50", "95")]
    expected = f"expected {say_dates(dates[0], dates[1], dates[2])}, with 90 % probability between the two"
    if services.empty:
        note = f" ({vehicle['distance_note']})" if vehicle["distance_note"] else ""
        return Due("Service", f"No service is on record; {expected}{note}", None, None, NOT_ON_RECORD)
    last = services.iloc[0]
    done = day_of(last["done_date"])
    assert done is not None
    parts, by, odometer = [], None, None
    when = []
    if is_known(last["interval_km"]):
        parts.append(say_distance(last["interval_km"], unit))
        if is_known(last["due_odometer_km"]):
            odometer = float(last["due_odometer_km"])
            when.append(f"at {say_distance(odometer, unit)}")
    if is_known(last["interval_months"]):
        months = float(last["interval_months"])
        parts.append(f"{months:g} months")
        by = _after(done, months)
        when.insert(0, f"{by}")
    at = f" at {say_distance(last['odometer_km'], unit)}" if is_known(last["odometer_km"]) else ""
    what = f"Every {' or '.join(parts)}, whichever comes first; last done {done}{at}; {expected}"
    if len(parts) == 1:
        what = what.replace(", whichever comes first", "")
    late = ", overdue" if bool(vehicle["overdue"]) else ""
    return Due("Service", what, by, odometer, " or ".join(when) + late if when else f"about {say_date(dates[1])}{late}")


def _after(day: date, months: float) -> date:
    """Return the day so many months later; a part of a month counts in days, rounded down."""
    whole = int(months)
    return after_months(day, whole) + timedelta(days=int((months - whole) * _DAYS_PER_MONTH))


_OPERATIONS = {
    Outcome.OVER_LIMIT: ("Repair", "over its limit"),
    Outcome.SYMPTOM_CONFIRMED: ("Repair", "a symptom was confirmed: replace even under the limit"),
    Outcome.CROSSES: ("Repair", "forecast to be over its limit at the next service"),
    Outcome.RECHECK: ("Inspection", "measure again"),
    Outcome.NOT_TESTED: ("Inspection", "test; it has not been tested in every load direction and has not been cleared"),
    Outcome.TOO_LITTLE_DATA: ("Inspection", "measure; one visit tells no trend, or too few such joints are on record"),
    Outcome.NO_LIMIT: ("Inspection", "measure, and look up the maker's limit"),
    Outcome.NO_CROSSING: ("Inspection", "no crossing forecast; inspect as scheduled"),
}


def _joint_due(rows: pd.DataFrame, record: VehicleRecord, by_then: date | None) -> tuple[tuple[int, float, str], Due]:
    """Return the place in order of urgency, and what is to be done to one joint: its worst load direction leads."""
    play = str(record.vehicle["play_unit"])
    ranked = rows.assign(
        rank=rows["outcome"].map(OUTCOME_RANKS), chance=rows["p_over_next"].astype(float).fillna(0.0)
    ).sort_values(["rank", "chance", "direction"], ascending=[True, False, True])
    worst = ranked.iloc[0]
    outcome = Outcome(str(worst["outcome"]))
    nature, words = _OPERATIONS[outcome]
    detail = ""
    if outcome is Outcome.OVER_LIMIT:
        read = f"{say_play(worst['last_largest_mm'], play)} on {say_date(worst['measured_date'])}"
        detail = f" ({read}; limit {say_play(worst['limit_mm'], play)}, {worst['limit_source']})"
    elif outcome is Outcome.CROSSES:
        risk = (
            f"probability {say_probability(worst['p_over_next'])}, accepted {say_probability(worst['accepted_risk'])}"
        )
        detail = f" ({risk}; limit {say_play(worst['limit_mm'], play)}, {worst['limit_source']})"
    elif outcome is Outcome.SYMPTOM_CONFIRMED:
        detail = f" ({worst['symptom']})"
    directions = " and ".join(sorted(rows["direction"].astype(str)))
    what = f"{begin_sentence(str(worst['joint']))}, {directions}: {words}{detail}"
    if outcome in (Outcome.OVER_LIMIT, Outcome.SYMPTOM_CONFIRMED):
        due = Due(nature, what, record.run.as_of, None, "now")
    else:
        when = f"next service, by {by_then}" if by_then is not None else "next service"
        due = Due(nature, what, by_then, None, when)
    return (outcome.rank, -float(worst["chance"]), str(worst["joint"])), due


def day_of(value: object) -> date | None:
    """Return the day of a cell, None where it is empty."""
    return pd.Timestamp(str(value)).date() if is_known(value) else None
