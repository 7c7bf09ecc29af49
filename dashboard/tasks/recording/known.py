"""What the page knows of a vehicle: its record, fresh from the store, and its forecast, from the snapshot."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from dashboard import snapshot, turns
from fleetwear.errors import FleetwearError
from fleetwear.recording import BayRecord, opened, read_bay

if TYPE_CHECKING:
    from fleetwear.planning.vehicle import VehicleRecord

_FRESH_S = 60
"""Seconds for which a vehicle's record is not read again: nobody else records the vehicle that stands in the bay."""


@st.cache_resource(ttl=_FRESH_S, max_entries=32, show_spinner="Looking the vehicle up")
def bay_record(folder: str, name: str, on_date: date) -> BayRecord:
    """Return a vehicle as it is on record; it is shared between runs, so nobody may change it."""
    turns.give_up()  # the store may be written to by others for a while
    with opened(Path(folder)) as con:
        return read_bay(con, name, on_date=on_date)


def forget() -> None:
    """Have records read again: a visit was recorded."""
    bay_record.clear()


def forecast_of(unit: str) -> VehicleRecord | None:
    """Return the vehicle's forecast, None where there is none yet."""
    try:
        return snapshot.vehicle(*snapshot.current(), unit)
    except FleetwearError:
        return None
