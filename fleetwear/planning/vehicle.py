"""One vehicle: what is said of it, and everything that stands behind that."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.planning.actions import read_actions, with_actions
from fleetwear.planning.flags import ForecastRun, latest_forecast
from fleetwear.store import sql
from fleetwear.store.known import at_hand

if TYPE_CHECKING:
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


def find_unit(con: duckdb.DuckDBPyConnection, name: str) -> str:
    """Return the unit number of a vehicle named by unit number, VIN or plate, in any case.

    Raises
    ------
    InputError
        If none has it, naming the nearest unit numbers.
    """
    rows = con.execute(
        "select distinct unit from vehicles "
        "where lower(trim(?)) in (lower(unit), lower(vin), lower(plate)) order by unit",
        [name],
    ).fetchall()
    if len(rows) == 1:
        return str(rows[0][0])
    if rows:
        found = ", ".join(str(row[0]) for row in rows)
        raise InputError(f"{name!r} names several vehicles: {found}", mend="Give the unit number.")
    units = [str(row[0]) for row in con.execute("select distinct unit from vehicles order by unit").fetchall()]
    near = difflib.get_close_matches(name.strip().upper(), units, n=3, cutoff=0.4)
    hint = f"The nearest unit numbers are {', '.join(near)}." if near else "Load its row of a vehicles file first."
    raise InputError(f"no vehicle has the unit number, VIN or plate {name!r}", mend=hint)


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
    unit = find_unit(con, name)
    key = {"forecast_id": run.forecast_id, "unit": unit}
    vehicles = con.execute(sql("pages/vehicles"), key).df()
    if vehicles.empty:
        raise InputError(
            f"vehicle {unit} is not in the forecast as of {run.as_of}",
            mend="It was loaded later: run `fleetwear forecast` again.",
        )
    vehicle = vehicles.iloc[0]
    vehicle_id = int(vehicle["vehicle_id"])
    at_hand(con, as_of=run.as_of, known_by=run.known_by)
    own = {"vehicle_id": vehicle_id}
    return VehicleRecord(
        run=run,
        vehicle=vehicle,
        joints=with_actions(con.execute(sql("pages/joints"), key).df(), read_actions(con, run.forecast_id)),
        readings=con.execute(sql("pages/readings"), own | {"fit_id": run.fit_id}).df(),
        visits=con.execute(sql("pages/visits"), own).df(),
        work=con.execute(sql("pages/work"), own).df(),
        wheels=con.execute(sql("pages/wheels"), own | {"forecast_id": run.forecast_id}).df(),
        lines=con.execute(sql("pages/lines"), own | {"forecast_id": run.forecast_id, "fit_id": run.fit_id}).df(),
        methods=con.execute(
            sql("pages/methods_of_vehicle"), own | {"forecast_id": run.forecast_id, "fit_id": run.fit_id}
        ).df(),
    )
