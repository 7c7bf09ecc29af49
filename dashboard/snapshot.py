"""The published snapshot as pages see it: one connection a snapshot, one cursor a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboard import beside, long_answers
from fleetwear.backtest.records import StoredBacktest, read_backtest, read_cases
from fleetwear.errors import StoreError
from fleetwear.planning.actions import read_latest_actions
from fleetwear.planning.consistency import Consistency, read_consistency
from fleetwear.planning.flag_pages import Asked, FlagPage, FleetAtAGlance, read_fleet, read_page
from fleetwear.planning.learnt import Learnt, read_learnt
from fleetwear.planning.maintenance import MaintenanceRecord, read_maintenance
from fleetwear.planning.vehicle import VehicleRecord, read_vehicle
from fleetwear.reports.joint_history import JointHistory, joint_histories
from fleetwear.store import default_store_dir, open_snapshot, snapshot_number

if TYPE_CHECKING:
    from datetime import date

    import duckdb

    from fleetwear.planning.ahead import Plan, PlanSettings
    from fleetwear.planning.ahead.material import PlanChoices
    from fleetwear.planning.setups import SetupRecord
    from fleetwear.trends import TrendAnswer, Trends


_VEHICLES = 200
"""Records that are kept, half a megabyte each: more than there are readers, whose pages ask for one several times."""


def current() -> tuple[str, int]:
    """Return the store's folder and the number of its snapshot, which is looked up at every run.

    Raises
    ------
    StoreError
        If nothing has been published.
    """
    folder = default_store_dir()
    number = snapshot_number(folder)
    if number is None:
        raise StoreError("there is no forecast to show yet", where=str(folder))
    return str(folder), number


def _close(con: duckdb.DuckDBPyConnection) -> None:
    con.close()


@st.cache_resource(max_entries=3, show_spinner=False, on_release=_close)
def _connection(folder: str, number: int) -> duckdb.DuckDBPyConnection:  # noqa: ARG001  the number is the cache's key
    return open_snapshot(default_store_dir())


@st.cache_resource(max_entries=3, show_spinner=False)
def fleet(folder: str, number: int) -> FleetAtAGlance:
    """Return what there is to choose from; it is shared between runs, so nobody may change it."""
    return read_fleet(_connection(folder, number).cursor())


@st.cache_resource(max_entries=64, show_spinner="Reading the forecast")
def flag_page(folder: str, number: int, asked: Asked, *, first: int, rows: int, drawn: int) -> FlagPage:
    """Return a page of the flags; it is shared between runs, so nobody may change it."""
    return read_page(_connection(folder, number).cursor(), asked, first=first, rows=rows, drawn=drawn)


@st.cache_resource(max_entries=3, show_spinner="Drawing the weeks ahead")
def plan_choices(folder: str, number: int) -> PlanChoices:
    """Return what can be chosen of a plan; it is shared between runs, so nobody may change it."""
    return beside.ask(long_answers.plan_choices, folder, number)


@st.cache_resource(max_entries=32, show_spinner=False)
def plan(folder: str, number: int, settings: PlanSettings) -> Plan:
    """Return the plan of some settings, without its flags; it is shared between runs, so nobody may change it."""
    return beside.ask(long_answers.plan, folder, number, settings)


@st.cache_data(ttl=10.0, max_entries=3, show_spinner=False)
def latest_actions(folder: str, number: int, forecast_id: int) -> pd.DataFrame | None:  # noqa: ARG001
    """Return the latest action of each joint, those recorded since the publication too; None while it is written."""
    try:
        return read_latest_actions(Path(folder), forecast_id)
    except StoreError:
        return None


@st.cache_resource(max_entries=_VEHICLES, show_spinner="Reading the vehicle")
def vehicle(folder: str, number: int, name: str) -> VehicleRecord:
    """Return a vehicle's record; it is shared between runs, so nobody may change it."""
    return read_vehicle(_connection(folder, number).cursor(), name)


@st.cache_resource(max_entries=_VEHICLES, show_spinner="Drawing the vehicle")
def histories(folder: str, number: int, unit: str) -> list[JointHistory]:
    """Return the histories of a vehicle's joints, the most pressing first; nobody may change them."""
    return joint_histories(vehicle(folder, number, unit))


@st.cache_resource(max_entries=24, show_spinner="Reading the maintenance record")
def maintenance(folder: str, number: int, unit: str, left: date | None, *, people: bool) -> MaintenanceRecord:
    """Return a vehicle's maintenance record, technicians named for those who may see them; nobody may change it."""
    return read_maintenance(
        _connection(folder, number).cursor(), unit, left=left, vehicle=vehicle(folder, number, unit), people=people
    )


@st.cache_resource(max_entries=3, show_spinner="Reading the model check")
def model_check(folder: str, number: int) -> StoredBacktest | None:
    """Return the latest backtest, None without one; it is shared between runs, so nobody may change it."""
    return read_backtest(_connection(folder, number).cursor())


@st.cache_resource(max_entries=3, show_spinner="Reading what the fit has learnt")
def learnt(folder: str, number: int) -> Learnt | None:
    """Return what the fit of the latest forecast has learnt, None without a forecast; nobody may change it."""
    return read_learnt(_connection(folder, number).cursor())


@st.cache_resource(max_entries=3, show_spinner="Comparing readings")
def consistency(folder: str, number: int) -> Consistency:
    """Return what the latest fit says of the sources of readings; nobody may change it."""
    return read_consistency(_connection(folder, number).cursor())


@st.cache_resource(max_entries=24, show_spinner="Comparing visits")
def setups(folder: str, number: int, *, kind: str | None, people: bool) -> SetupRecord:
    """Return what repeat visits say of setup, by technician too for those who may see it; nobody may change it."""
    return beside.ask(long_answers.setups, folder, number, kind, people)


@st.cache_resource(max_entries=3, show_spinner=False)
def model_check_cases(folder: str, number: int) -> pd.DataFrame:
    """Return the cases of the latest backtest; nobody may change them."""
    check = model_check(folder, number)
    if check is None:
        raise StoreError("there is no backtest in the store", where=folder, mend="Run `fleetwear backtest`.")
    return read_cases(_connection(folder, number).cursor(), check.backtest_id)


@st.cache_resource(max_entries=3, show_spinner="Reading the record")
def trends(folder: str, number: int) -> Trends:
    """Return what is told of all trends, without rows; it is shared between runs, so nobody may change it."""
    return beside.ask(long_answers.trends, folder, number)


@st.cache_resource(max_entries=48, show_spinner="Making the trends")
def trend_answer(folder: str, number: int, *, by: str, kind: str | None) -> TrendAnswer:
    """Return what the trends say by a factor, for a kind or for all; nobody may change it."""
    return beside.ask(long_answers.trend_answer, folder, number, by, kind)


def cursor(folder: str, number: int) -> duckdb.DuckDBPyConnection:
    """Return a cursor of this run's own."""
    return _connection(folder, number).cursor()
