"""The maintenance record of one vehicle: what 49 CFR 396.3(b) names, as far as it is kept here.

(b)(1) identification, (b)(2) nature and due date of what is to be done, (b)(3) date and nature of what was done,
(b)(4) tests of a bus's exits, which are not kept here, and (c) how long to keep it all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.planning.maintenance_done import Done, entries_done
from fleetwear.planning.maintenance_due import NOT_ON_RECORD, Due, operations_due
from fleetwear.planning.retention import KEPT_AFTER_LEAVING_MONTHS, after_months, keep_through
from fleetwear.planning.vehicle import VehicleRecord, read_vehicle
from fleetwear.planning.wording import is_known
from fleetwear.store import sql
from fleetwear.store.known import at_hand

if TYPE_CHECKING:
    from datetime import date

    import duckdb


NOTES = (
    "An aid to keeping the record that 49 CFR 396.3(b) names; not legal advice. What the law asks of you is for your "
    "counsel to say.",
    "It holds what was loaded into this program: visits, readings of suspension and steering joints, work on them, and "
    "services. Brakes, lights, tyres, wheels and all else must be added from where they are kept.",
    "It is not the report of a periodic inspection: for that see 49 CFR 396.17 and the appendix to part 396.",
)
"""What is said of every such record."""

BUSES = (
    "Tests of pushout windows, emergency doors and emergency door marking lights are not kept by this program. For a "
    "bus, add their record."
)
"""What is said of 49 CFR 396.3(b)(4)."""


@dataclass(frozen=True)
class Field:
    """One thing that identifies the vehicle."""

    name: str
    value: str | None
    """None where it is not on record."""

    @property
    def shown(self) -> str:
        """The value, or that it is not on record."""
        return self.value if self.value is not None else NOT_ON_RECORD


@dataclass(frozen=True)
class MaintenanceRecord:
    """The record of one vehicle."""

    vehicle: VehicleRecord
    identification: tuple[Field, ...]
    due: tuple[Due, ...]
    """The most pressing first."""
    done: tuple[Done, ...]
    """The newest first."""
    left: date | None
    """The day on which the vehicle left the motor carrier's control, where it is known."""

    @property
    def keep_through(self) -> date | None:
        """The day through which the whole record is kept at least; None where there is no entry and no leaving day."""
        days = [keep_through(entry.day, self.left) for entry in self.done]
        if self.left is not None:
            days.append(after_months(self.left, KEPT_AFTER_LEAVING_MONTHS))
        return max(days, default=None)


def read_maintenance(
    con: duckdb.DuckDBPyConnection,
    name: str,
    *,
    left: date | None = None,
    vehicle: VehicleRecord | None = None,
    people: bool = True,
) -> MaintenanceRecord:
    """Return the maintenance record of a vehicle named by unit number, VIN or plate.

    Parameters
    ----------
    con
        A connection to a store or a snapshot.
    name
        The vehicle.
    left
        The day on which it left the motor carrier's control, where it has.
    vehicle
        Its record, where it has been read already.
    people
        Whether technicians are named; they are for those who may see them.

    Raises
    ------
    InputError
        If there is no such vehicle, or something is on record of it after the day on which it left.
    StoreError
        If there is no forecast.
    """
    if vehicle is None:
        vehicle = read_vehicle(con, name)
    else:
        at_hand(con, as_of=vehicle.run.as_of, known_by=vehicle.run.known_by)
    own = {"vehicle_id": int(vehicle.vehicle["vehicle_id"])}
    services = con.execute(sql("pages/services"), own).df()
    done = sorted(entries_done(vehicle, services, people=people), key=lambda entry: entry.day, reverse=True)
    if left is not None and done and done[0].day > left:
        raise InputError(
            f"vehicle {vehicle.vehicle['unit']} left on {left}, and has a record of {done[0].day}",
            mend="Give the day on which it left your control, after its last record.",
        )
    return MaintenanceRecord(
        vehicle, _identification(vehicle), tuple(operations_due(vehicle, services)), tuple(done), left
    )


def _identification(record: VehicleRecord) -> tuple[Field, ...]:
    vehicle = record.vehicle
    fields = {
        "Company number": "unit",
        "Make": "make",
        "Model": "model",
        "Serial number (VIN)": "vin",
        "Year": "model_year",
        "Tyre size": "tyre_size",
        "Owner, if not the motor carrier": "owner",
        "Plate": "plate",
        "Depot": "depot",
    }
    return tuple(Field(name, _text(vehicle[column])) for name, column in fields.items())


def _text(value: object) -> str | None:
    if not is_known(value) or not str(value).strip():
        return None
    return str(int(value)) if isinstance(value, float) else str(value)
