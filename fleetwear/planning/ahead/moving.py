"""What is said of the fleet when its services are moved: flags recomputed from the joint draws."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.planning.actions import COLUMNS
from fleetwear.planning.ahead.gathering import any_of
from fleetwear.planning.flags import Flags, in_order
from fleetwear.planning.outcomes import classify, judge_vehicles

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from fleetwear.forecast.fleet_draws import Service
    from fleetwear.planning.ahead.material import Material
    from fleetwear.wear.sums import Floats

_POINTS = {"05": 0.05, "50": 0.50, "95": 0.95}


@dataclass(frozen=True)
class Moved:
    """A fleet whose services are moved."""

    flags: Flags
    service: Service
    over: NDArray[np.bool_]
    """Whether each joint of the material is over at its vehicle's service, in any load direction, (joints, K)."""
    p_after_next: Floats
    """Probability that it is by the service after it; nan without limit or model."""


def move(material: Material, *, shift_days: float, stretch: float) -> Moved:
    """Return the fleet with every service moved by some days and every interval stretched.

    Raises
    ------
    InputError
        If the shift or the stretch is out of range.
    """
    draws = material.draws
    service = draws.service(shift_days=shift_days, stretch=stretch)
    series_over = draws.over(service.km)
    over = _by_joint(material, series_over)
    after = _by_joint(material, draws.over(service.following_km)).mean(axis=1)
    known = np.zeros(len(material.joints), dtype=bool)
    known[material.joint_of] = True
    flags = material.flags
    if shift_days != 0.0 or stretch != 1.0:
        flags = _moved_flags(material, service, series_over, over)
    return Moved(flags, service, over, np.where(known, after, np.nan))


def _by_joint(material: Material, over: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return any_of(over, material.joint_of.to_numpy(dtype=np.int64), len(material.joints))


def _moved_flags(
    material: Material, service: Service, series_over: NDArray[np.bool_], joint_over: NDArray[np.bool_]
) -> Flags:
    """Return the flags with probabilities, service dates and odometers, outcomes and reasons of the moved service."""
    run, draws = material.flags.run, material.draws
    keys = ["vehicle_id", "position_id", "direction"]
    chance = draws.series[keys].assign(moved=series_over.mean(axis=1))
    joints = material.flags.joints.merge(chance, on=keys, how="left")
    joints["p_over_next"] = joints.pop("moved").where(joints["p_over_next"].notna())
    outlook = draws.outlook.vehicles
    any_over = any_of(joint_over, material.joints["vehicle"].to_numpy(dtype=np.int64), len(outlook))
    moved = outlook[["vehicle_id"]].assign(p_any_over_next=any_over.mean(axis=1), overdue=service.overdue)
    for name, point in _POINTS.items():
        moved[f"next_service_date_{name}"] = _dates(run.as_of, np.quantile(service.days, point, axis=1))
        moved[f"next_service_odometer_{name}"] = np.quantile(service.km, point, axis=1) - outlook["shift_km"]
    vehicles = material.flags.vehicles.drop(columns=["joint", "accepted_risk", *COLUMNS, "action_joint"])
    columns = [name for name in moved.columns if name != "vehicle_id"]
    fresh = moved.set_index("vehicle_id").reindex(vehicles["vehicle_id"]).reset_index(drop=True)
    for name in columns:
        vehicles = vehicles.assign(**{name: fresh[name].where(vehicles[name].notna(), vehicles[name])})
    vehicles["overdue"] = vehicles["overdue"].astype(bool)
    day = vehicles.set_index("vehicle_id")["next_service_date_50"]
    joints["next_service_date_50"] = joints["vehicle_id"].map(day)
    joints = classify(joints, settings=run.settings)
    return Flags(run, in_order(judge_vehicles(vehicles, joints), joints), joints)


def _dates(as_of: date, days: Floats) -> list[date]:
    return [as_of + timedelta(days=int(ahead)) for ahead in np.ceil(days)]


def presses(joints: pd.DataFrame, flags: Flags, outcomes: list[str]) -> NDArray[np.bool_]:
    """Return which joints have one of the outcomes in any load direction."""
    keys = ["vehicle_id", "position_id"]
    said = flags.joints.loc[flags.joints["outcome"].isin(outcomes), keys].drop_duplicates().assign(said=True)
    return joints[keys].merge(said, on=keys, how="left")["said"].notna().to_numpy()
