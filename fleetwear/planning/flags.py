"""The flags: what is said of every vehicle and joint in a stored forecast, by depot, horizon and accepted risk."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError, StoreError
from fleetwear.forecast.settings import Settings
from fleetwear.planning.actions import latest_of_vehicles, read_actions, with_actions
from fleetwear.planning.outcomes import classify, judge_vehicles
from fleetwear.store import sql
from fleetwear.vocabulary import OUTCOME_RANKS

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import date, datetime

    import duckdb


@dataclass(frozen=True)
class ForecastRun:
    """Which forecast is shown."""

    forecast_id: int
    fit_id: int
    as_of: date
    known_by: datetime | None
    made_at: datetime
    settings: Settings


@dataclass(frozen=True)
class Flags:
    """What is said of the vehicles of a forecast."""

    run: ForecastRun
    vehicles: pd.DataFrame
    """One row a vehicle, the most pressing first: the columns of ``forecast_vehicles`` with unit, model, duty,
    joint (the one that leads), play_unit, distance_unit, and the latest open action: action, action_date, action_by,
    action_note, action_joint."""
    joints: pd.DataFrame
    """One row a joint and load direction of those vehicles: the columns of ``forecast_joints`` with unit, joint,
    kind, depot, play_unit, distance_unit, and the joint's open action: action, action_date, action_by, action_note."""

    def without_rows(self) -> Flags:
        """Return which forecast they are of, and nothing that it says."""
        return replace(self, vehicles=self.vehicles.iloc[:0].copy(), joints=self.joints.iloc[:0].copy())


def latest_forecast(con: duckdb.DuckDBPyConnection, forecast_id: int | None = None) -> ForecastRun:
    """Return the latest forecast, or the one of that number.

    Raises
    ------
    StoreError
        If there is none.
    """
    rows = con.execute(sql("pages/forecast"), {"forecast_id": forecast_id}).fetchall()
    if not rows:
        wanted = "no forecast" if forecast_id is None else f"no forecast number {forecast_id}"
        raise StoreError(f"there is {wanted} in the store", mend="Run `fleetwear forecast` first.")
    number, fit_id, as_of, known_by, made_at, _version, settings = rows[0]
    return ForecastRun(int(number), int(fit_id), as_of, known_by, made_at, Settings.from_json(str(settings)))


def read_flags(
    con: duckdb.DuckDBPyConnection,
    *,
    depot: str | None = None,
    horizon_days: float | None = None,
    accepted_risk: float | None = None,
    forecast_id: int | None = None,
) -> Flags:
    """Return the flags of a forecast, the most pressing vehicles first, soonest service first among equals.

    Parameters
    ----------
    con
        A connection to a store or a snapshot.
    depot
        Only vehicles of that depot.
    horizon_days
        Only vehicles whose next service falls, at its median, within that many days of the as-of date.
    accepted_risk
        In place of the forecast's own; the cap of load-carrying joints stays.
    forecast_id
        In place of the latest.

    Raises
    ------
    StoreError
        If there is no forecast.
    InputError
        If the depot is unknown or the risk is not a probability.
    """
    checked_risk(accepted_risk)
    run = latest_forecast(con, forecast_id)
    key = {"forecast_id": run.forecast_id, "unit": None}
    vehicles = con.execute(sql("pages/vehicles"), key).df()
    joints = con.execute(sql("pages/joints"), key).df()
    joints = with_actions(joints, read_actions(con, run.forecast_id))
    if accepted_risk is not None:
        joints = classify(joints, settings=run.settings, general_risk=accepted_risk)
        wheels = con.execute(sql("pages/wheels"), {"forecast_id": run.forecast_id, "vehicle_id": None}).df()
        vehicles = judge_vehicles(vehicles, joints, wheels)
    return narrow(Flags(run, in_order(vehicles, joints), joints), depot=depot, horizon_days=horizon_days)


def narrow(
    flags: Flags,
    *,
    depot: str | None = None,
    horizon_days: float | None = None,
    unit: str | None = None,
    outcomes: Collection[str] | None = None,
) -> Flags:
    """Return the flags of some vehicles only.

    Parameters
    ----------
    flags
        The flags of more vehicles; they are left as they are.
    depot, horizon_days
        As in `read_flags`.
    unit
        Only the vehicle of that unit number.
    outcomes
        Only vehicles, and joints, of which one of these outcomes is said.

    Raises
    ------
    InputError
        If the depot is unknown.
    """
    chosen = _chosen(flags.vehicles, flags.run, depot, horizon_days)
    if unit is not None:
        chosen &= flags.vehicles["unit"] == unit
    joints = flags.joints
    if outcomes is not None:
        chosen &= flags.vehicles["outcome"].isin(outcomes)
        joints = joints[joints["outcome"].isin(outcomes)]
    elif chosen.all():
        return flags
    vehicles = flags.vehicles[chosen].reset_index(drop=True)
    joints = joints[joints["vehicle_id"].isin(vehicles["vehicle_id"])].reset_index(drop=True)
    return Flags(flags.run, vehicles, joints)


def checked_risk(accepted_risk: float | None) -> None:
    """Raise InputError unless the risk, where one is given, is a probability."""
    if accepted_risk is not None and not 0.0 < accepted_risk < 1.0:
        raise InputError(f"accepted risk {accepted_risk}", mend="Give a probability between 0 and 1, such as 0.1.")


def checked_horizon(days: float | None) -> None:
    """Raise InputError unless the horizon, where one is given, is a number of days within a century."""
    if days is not None and not 0.0 <= days <= 36_525.0:
        raise InputError(f"a horizon of {days:g} days", mend="Give days between 0 and 36525, such as 60.")


def _chosen(vehicles: pd.DataFrame, run: ForecastRun, depot: str | None, horizon_days: float | None) -> pd.Series[bool]:
    chosen = pd.Series(True, index=vehicles.index)
    if depot is not None:
        known = sorted(vehicles["depot"].dropna().unique())
        if depot not in known:
            raise InputError(f"no vehicle stands at depot {depot!r}", mend=f"Choose one of: {', '.join(known)}.")
        chosen &= vehicles["depot"] == depot
    if horizon_days is not None:
        checked_horizon(horizon_days)
        last = pd.Timestamp(run.as_of) + pd.Timedelta(days=horizon_days)
        chosen &= pd.to_datetime(vehicles["next_service_date_50"]) <= last
    return chosen


def in_order(vehicles: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return the vehicles, the most pressing outcome first, with the joint that leads and the latest open action."""
    lead = ["vehicle_id", "position_id", "direction"]
    return (
        vehicles.merge(joints[[*lead, "joint", "accepted_risk"]], on=lead, how="left")
        .merge(latest_of_vehicles(joints), on="vehicle_id", how="left")
        .assign(outcome_rank=lambda frame: frame["outcome"].map(OUTCOME_RANKS))
        .sort_values(["outcome_rank", "next_service_date_50", "unit"])
        .drop(columns="outcome_rank")
        .reset_index(drop=True)
    )
