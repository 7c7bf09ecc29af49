"""One vehicle: what is said of it, and everything that stands behind that."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.planning.actions import read_actions, with_actions
from fleetwear.planning.flags import ForecastRun, latest_forecast
from fleetwear.planning.named_vehicle import find_vehicle
from fleetwear.store import sql
from fleetwear.store.known import at_hand

if TYPE_CHECKING:
    from datetime import date

    import duckdb


@dataclass(frozen=True)
class VehicleRecord:
    """A vehicle with its forecast and history."""

    run: ForecastRun
    vehicle: pd.Series
    """The row of ``forecast_vehicles`` with what is on record of the vehicle."""
    joints: pd.DataFrame
    """One row a current joint and load direction; see ``Flags.joints``."""
    readings: pd.DataFrame
    """One row a stroke, newest first, with life_no and life_distance_km."""
    visits: pd.DataFrame
    work: pd.DataFrame
    wheels: pd.DataFrame
    """One row a wheel check, newest first, with what is said of it; see ``pages/wheels.sql``."""
    lines: pd.DataFrame
    """Posterior components of each current series, for ``forecast.curves.growth_curve``."""
    methods: pd.DataFrame
    """What the fit found of each method, shape by shape, for each current series."""
    told: str = ""
    """What is to be said of the name by which it was asked for: that it has another unit number since."""


def find_unit(con: duckdb.DuckDBPyConnection, name: str, *, on_date: date | None = None) -> str:
    """Return the unit number that a vehicle bears on a day, named by unit number, VIN or plate; see `find_vehicle`."""
    return find_vehicle(con, name, on_date=on_date).unit


def read_vehicle(con: duckdb.DuckDBPyConnection, name: str, *, forecast_id: int | None = None) -> VehicleRecord:
    """Return everything on a vehicle named by unit number, VIN or plate, as known to the forecast.

    Raises
    ------
    InputError
        If there is no such vehicle.
    StoreError
        If there is no forecast.
    """
    run = latest_forecast(con, forecast_id)
    named = find_vehicle(con, name, on_date=run.as_of, known_by=run.known_by)
    unit, vehicle_id = named.unit, named.vehicle_id
    key = {"forecast_id": run.forecast_id, "unit": unit}
    vehicles = con.execute(sql("pages/vehicles"), key).df().query("vehicle_id == @vehicle_id")
    if vehicles.empty:
        raise InputError(
            f"vehicle {unit} is not in the forecast as of {run.as_of}",
            mend="It was loaded later: run `fleetwear forecast` again.",
        )
    vehicle = vehicles.iloc[0]
    joints = con.execute(sql("pages/joints"), key).df().query("vehicle_id == @vehicle_id").reset_index(drop=True)
    at_hand(con, as_of=run.as_of, known_by=run.known_by)
    own = {"vehicle_id": vehicle_id}
    return VehicleRecord(
        run=run,
        vehicle=vehicle,
        joints=with_actions(joints, read_actions(con, run.forecast_id)),
        readings=con.execute(sql("pages/readings"), own | {"fit_id": run.fit_id}).df(),
        visits=con.execute(sql("pages/visits"), own).df(),
        work=con.execute(sql("pages/work"), own).df(),
        wheels=con.execute(sql("pages/wheels"), own | {"forecast_id": run.forecast_id}).df(),
        lines=con.execute(sql("pages/lines"), own | {"forecast_id": run.forecast_id, "fit_id": run.fit_id}).df(),
        methods=con.execute(
            sql("pages/methods_of_vehicle"), own | {"forecast_id": run.forecast_id, "fit_id": run.fit_id}
        ).df(),
        told=named.told,
    )
