"""What a plan is made of, read once: flags, joint draws, parts, stock, and where joints stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.forecast.fleet_draws import PROCEDURE, FleetDraws, read_fleet_draws
from fleetwear.planning.ahead.catalogue import fit_parts, superseded_numbers
from fleetwear.planning.ahead.next_check import check_distances
from fleetwear.planning.flags import Flags, read_flags
from fleetwear.store import sql
from fleetwear.vocabulary import OUTCOME_RANKS

if TYPE_CHECKING:
    import duckdb

    from fleetwear.planning.flags import ForecastRun
    from fleetwear.wear.sums import Floats


@dataclass(frozen=True)
class PlanChoices:
    """What can be chosen of a plan."""

    run: ForecastRun
    depots: list[str]
    joints: pd.DataFrame
    """One row a joint, by unit and position: unit, joint."""


@dataclass(frozen=True)
class Material:
    """What stays the same however services are moved."""

    flags: Flags
    draws: FleetDraws
    joints: pd.DataFrame
    """One row a joint, in its worst load direction: the columns of ``Flags.joints`` with vehicle (row of the draws),
    axle, side, place and those of ``fit_parts``."""
    joint_of: pd.Series
    """The row of ``joints`` of each series of the draws."""
    check_km: Floats
    """Running distance at which each series of the draws reaches its accepted risk; nan beyond the horizon."""
    stock: pd.DataFrame
    superseded: dict[str, str]

    @property
    def choices(self) -> PlanChoices:
        """What can be chosen of its plans."""
        joints = self.joints.sort_values(["unit", "position_id"])[["unit", "joint"]].astype(str)
        return PlanChoices(
            self.flags.run, sorted(self.flags.vehicles["depot"].dropna().unique()), joints.reset_index(drop=True)
        )


def read_material(con: duckdb.DuckDBPyConnection, *, forecast_id: int | None = None) -> Material:
    """Return what plans of a forecast, the latest if none is named, are made of.

    Raises
    ------
    StoreError
        If there is no forecast.
    InputError
        If part numbers supersede each other in a circle.
    """
    flags = read_flags(con, forecast_id=forecast_id)
    run = flags.run
    key = {"forecast_id": run.forecast_id}
    parts = con.execute(sql("ahead/parts"), key).df()
    stock = con.execute(sql("ahead/stock"), key).df()
    places = con.execute(sql("ahead/places"), key).df()
    draws = read_fleet_draws(con, fit_id=run.fit_id, as_of=run.as_of, known_by=run.known_by, settings=run.settings)
    joints = _worst(flags).merge(places, on=["vehicle_id", "position_id"], how="left")
    joints = fit_parts(joints, parts)
    vehicles = draws.outlook.vehicles
    row_of = pd.Series(np.arange(len(vehicles)), index=vehicles["vehicle_id"])
    joints = joints[joints["vehicle_id"].isin(row_of.index)].reset_index(drop=True)
    joints["vehicle"] = joints["vehicle_id"].map(row_of).astype(np.int64)
    joints["depot"] = joints["depot"].fillna("no depot")
    code = pd.Series(np.arange(len(joints)), index=pd.MultiIndex.from_frame(joints[["vehicle_id", "position_id"]]))
    asked = pd.MultiIndex.from_frame(draws.series[["vehicle_id", "position_id"]])
    return Material(
        flags, draws, joints, code.reindex(asked).reset_index(drop=True), _check_km(flags, draws), stock,
        superseded_numbers(parts),
    )  # fmt: skip


def _worst(flags: Flags) -> pd.DataFrame:
    """Return one row a joint, that of its most pressing load direction."""
    ranked = flags.joints.assign(
        rank=flags.joints["outcome"].map(OUTCOME_RANKS), chance=flags.joints["p_over_next"].fillna(-1.0)
    )
    return (
        ranked.sort_values(["vehicle_id", "position_id", "rank", "chance"], ascending=[True, True, True, False])
        .drop_duplicates(["vehicle_id", "position_id"])
        .drop(columns=["rank", "chance"])
        .reset_index(drop=True)
    )


def _check_km(flags: Flags, draws: FleetDraws) -> Floats:
    """Return the running distance of each series at which its accepted risk is reached."""
    if draws.series.empty:
        return np.zeros(0)
    keys = ["vehicle_id", "position_id", "direction"]
    risk = draws.series.merge(flags.joints[[*keys, "accepted_risk"]], on=keys, how="left")["accepted_risk"]
    now = np.median(draws.ahead.now_km, axis=1)[draws.vehicle] - draws.start_km
    rate = np.median(draws.ahead.rate, axis=1)[draws.vehicle]
    years = draws.settings.horizon_years
    run = np.maximum(now, 0.0)
    of_limit = {name: draws.series[name].to_numpy(dtype=np.float64) for name in PROCEDURE}
    distance = check_distances(
        draws.posterior,
        draws.series["limit_mm"].to_numpy(dtype=np.float64) - of_limit["procedure_offset_mm"],
        risk.fillna(1.0).to_numpy(dtype=np.float64),
        run,
        run + rate * 365.25 * years,
        limit_sd_mm=of_limit["procedure_sd_mm"],
    )
    return np.asarray(distance + draws.start_km)
