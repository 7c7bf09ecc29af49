"""What a vehicle's page tells of its past: visits, and work on its joints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard.listing import Cell, Column, listing
from dashboard.people import may
from dashboard.tasks.one_vehicle_downloads import offer_readings
from fleetwear.planning.maintenance_done import say_complaint
from fleetwear.planning.wording import is_known, say_count, say_date, say_distance

if TYPE_CHECKING:
    from fleetwear.planning.vehicle import VehicleRecord

_VISIT_COLUMNS = [
    Column("Date", tight=True, bare=True),
    Column("Odometer", tight=True),
    Column("Shop"),
    Column("Technician"),
    Column("Complaint"),
    Column("Note"),
]
_WORK_COLUMNS = [
    Column("Date", tight=True, bare=True),
    Column("Distance run", tight=True),
    Column("Joint"),
    Column("Work"),
    Column("Part, supplier"),
    Column("Why"),
]


def list_visits(record: VehicleRecord) -> None:
    """Write the vehicle's visits, newest first, and the button for its readings."""
    st.subheader("Visits")
    unit = str(record.vehicle["distance_unit"])
    if record.visits.empty:
        st.markdown("No visit is on record.")
        return
    named = may("people")
    rows: list[list[Cell]] = [
        [
            say_date(visit["visit_date"]),
            say_distance(visit["odometer_km"], unit) if is_known(visit["odometer_km"]) else "",
            _blank(visit["shop"]),
            *([_blank(visit["technician"])] if named else []),
            say_complaint(visit),
            _blank(visit["note"]),
        ]
        for visit in record.visits.to_dict("records")
    ]
    columns = [column for column in _VISIT_COLUMNS if named or column.name != "Technician"]
    listing(columns, rows, caption="Visits, newest first")
    readings = say_count(len(record.readings), "reading", "readings")
    st.markdown(f"{readings} on {say_count(len(rows), 'visit', 'visits')}.")
    offer_readings(record)


def _blank(value: object) -> str:
    return str(value) if is_known(value) else ""


def list_work(record: VehicleRecord) -> None:
    """Write the work that was done on the vehicle's joints, newest first."""
    st.subheader("Work on joints")
    if record.work.empty:
        st.markdown("No work on a joint is on record.")
        return
    unit = str(record.vehicle["distance_unit"])
    hidden = record.vehicle["distance_source"] == "none"
    rows: list[list[Cell]] = [
        [
            say_date(work["work_date"]),
            "" if hidden else say_distance(work["running_km"], unit),
            str(work["joint"]),
            str(work["work"]),
            ", ".join(str(work[name]) for name in ("part_number", "supplier") if is_known(work[name])),
            _blank(work["reason"]),
        ]
        for work in record.work.to_dict("records")
    ]
    listing(_WORK_COLUMNS, rows, caption="Work, newest first")
