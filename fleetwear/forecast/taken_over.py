"""What a fit or forecast takes over from an earlier one: all that is known of vehicles of which nothing new was seen.

A fit may go by the populations of an earlier one for some days. Vehicles whose record is another since (a reading, a
correction, work, an agreed weight, their duty) are known anew by them; what is known of the others is taken over. A
forecast looks anew at those, at vehicles of which anything else is new (an odometer value, a limit, a symptom), at
those that may have come in since, and at those that it has not looked at for `LOOK_AGAIN_DAYS`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import fleetwear
from fleetwear.forecast.learnt_text import read_learnt, read_setups
from fleetwear.forecast.settings import Settings
from fleetwear.store import sql
from fleetwear.wear.shared import Sharing

if TYPE_CHECKING:
    from datetime import date, datetime

    import duckdb
    import pandas as pd

    from fleetwear.forecast.setups import Findings
    from fleetwear.wear.learnt import Learnt

LOOK_AGAIN_DAYS = 7
"""The draws of a vehicle are at most this old: what it runs meanwhile, and how its joints wear, is in them."""


@dataclass(frozen=True)
class FitBase:
    """The fit that another takes over from."""

    fit_id: int
    learnt_in: int
    """The fit whose populations both go by."""
    groups: dict[str, Learnt]
    sharing: Sharing
    unfitted: dict[str, str]
    """Kinds without a model, and why."""
    setups: dict[str, Findings]
    """By kind, what its readings count by."""


def base_fit(
    con: duckdb.DuckDBPyConnection, *, as_of: date, known_by: datetime | None, settings: Settings, days: int
) -> FitBase | None:
    """Return the fit to take over from, None where there is none of these settings less than ``days`` days old."""
    if days <= 0:
        return None
    asked = {"as_of": as_of, "known_by": known_by, "version": fleetwear.__version__, "days": days}
    for fit_id, learnt_in, stored in con.execute(sql("fit/base"), asked).fetchall():
        if Settings.from_json(str(stored)) != settings:
            continue
        groups = con.execute(
            "select model_group, content from fit_learnt where fit_id = ? order by model_group", [learnt_in]
        ).fetchall()
        if not groups:
            continue
        said = json.loads(str(stored))
        learnt = {str(name): read_learnt(str(content)) for name, content in groups}
        setups = con.execute(
            "select kind, content from fit_setups where fit_id = ? order by kind", [learnt_in]
        ).fetchall()
        found = {str(kind): read_setups(str(content)) for kind, content in setups}
        return FitBase(int(fit_id), int(learnt_in), learnt, Sharing(**said["sharing"]), said["unfitted"], found)
    return None


def fit_states(con: duckdb.DuckDBPyConnection, base: FitBase | None) -> pd.DataFrame:
    """Return the state of each vehicle's record as the fit takes it in, and whether it is known anew.

    Needs the tables of :func:`prepare_series`. Columns vehicle_id, state, is_new.
    """
    con.execute(sql("fit/vehicle_states")).fetchall()
    con.execute(sql("fit/vehicles_to_know"), {"fit_id": None if base is None else base.fit_id}).fetchall()
    return _with_news(con, "fit_states", "vehicles_to_know")


def only_series_to_know(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Leave only the series of vehicles that are known anew in the input tables of the fit; return those series."""
    for name in ("fit/series_to_know", "fit/readings_to_know", "fit/only_series_to_know"):
        con.execute(sql(name)).fetchall()
    return con.execute("select * from fit_input_series order by series").df()


def base_forecast(
    con: duckdb.DuckDBPyConnection, *, fit_id: int, as_of: date, known_by: datetime | None, settings: Settings
) -> int | None:
    """Return the forecast to take over from: of these settings, from a fit that goes by the same populations."""
    asked = {"fit_id": fit_id, "as_of": as_of, "known_by": known_by, "version": fleetwear.__version__}
    for forecast_id, stored in con.execute(sql("forecast/base"), asked).fetchall():
        if Settings.from_json(str(stored)) == settings:
            return int(forecast_id)
    return None


def forecast_states(con: duckdb.DuckDBPyConnection, *, fit_id: int, base: int | None, as_of: date) -> pd.DataFrame:
    """Return the state of all that is known of each vehicle, and whether it is forecast anew.

    Needs the tables of ``store.known.prepare``. Columns vehicle_id, state, is_new.
    """
    con.execute(sql("forecast/fitted_vehicles"), {"fit_id": fit_id}).fetchall()
    con.execute(sql("forecast/vehicle_states")).fetchall()
    asked = {"forecast_id": base, "as_of": as_of, "days": LOOK_AGAIN_DAYS}
    con.execute(sql("forecast/vehicles_to_forecast"), asked).fetchall()
    return _with_news(con, "forecast_states", "vehicles_to_forecast")


def _with_news(con: duckdb.DuckDBPyConnection, states: str, with_news: str) -> pd.DataFrame:
    """Return the states of vehicles, and whether each is among those with news."""
    return con.execute(
        f"select s.vehicle_id, s.state, v.vehicle_id is not null as is_new from {states} as s "
        f"left join {with_news} as v on v.vehicle_id = s.vehicle_id order by s.vehicle_id"
    ).df()


def only_series_to_forecast(con: duckdb.DuckDBPyConnection) -> None:
    """Leave only the series of vehicles that are forecast anew in the input tables of the fit."""
    con.execute(sql("forecast/only_series_to_forecast")).fetchall()


def take_over_fit(con: duckdb.DuckDBPyConnection, fit_id: int, base: FitBase | None, states: pd.DataFrame) -> None:
    """Write which fit found what is known of each vehicle, and what stands unchanged of the populations."""
    con.execute("insert into fit_bases values (?, ?)", [fit_id, fit_id if base is None else base.learnt_in]).fetchall()
    con.register("states", states)
    taken = {"fit_id": fit_id, "base": None if base is None else base.fit_id}
    con.execute(sql("fit/take_over_vehicles"), taken).fetchall()
    con.unregister("states")
    if base is None:
        return
    for table in ("fit_models", "fit_cohorts", "fit_methods", "fit_weights", "fit_effects"):
        con.execute(
            f"insert into {table} by name select * replace ($fit_id as fit_id) from {table} where fit_id = $base", taken
        ).fetchall()


def take_over_forecast(
    con: duckdb.DuckDBPyConnection, forecast_id: int, base: int | None, states: pd.DataFrame, as_of: date
) -> None:
    """Write which forecast drew what is said of each vehicle."""
    con.register("states", states)
    con.execute(
        sql("forecast/take_over_vehicles"), {"forecast_id": forecast_id, "base": base, "as_of": as_of}
    ).fetchall()
    con.unregister("states")
