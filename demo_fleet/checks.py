"""Checks of whole wheels, their limits, and symptoms that were heard besides: from a stream of draws of their own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.catalogue import DEPOTS, LONG_TRUCK, TRAILER, TRUCK
from demo_fleet.period import iso_dates
from demo_fleet.tables import distance_units, table, text, written_odometer
from fleetwear.units import factor
from fleetwear.vocabulary import Method, ReadAt, Side, Support, WeightClass, WheelPart

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from demo_fleet.roster import Roster
    from demo_fleet.truth_tables import Fleet
    from demo_fleet.usage import Usage
    from demo_fleet.visits import Visits

_CHECKED_SHARE = 0.4
_PLAY_MM = {"light": 2.2, "heavy": 4.5}
_SPREAD = 0.3
_OVER_MM = 14.2
OVER_CASE = "wheel check over its limit"
UNREAD_CASE = "noise confirmed, joint not tested"
REPORTED_CASE = "noise reported, no road test"
_VISIT_FILES = ("visits_north_yard.csv", "visits_harbour.csv")


def wheel_limits() -> pd.DataFrame:
    """Return the shop's own limits of wheel checks, which it took over from a published table."""
    light, heavy = str(WeightClass.LIGHT), str(WeightClass.HEAVY)
    table_3 = "shop rule, after 49 CFR 570.60, Table 3"
    rows = [
        (light, "", "", "0.25", "shop rule, after 49 CFR 570.7(b)"),
        (heavy, "", "16.00", "0.25", table_3),
        (heavy, "16.01", "18.00", "0.375", table_3),
        (heavy, "18.01", "", "0.5", table_3),
    ]
    weight, low, high, limit, source = (list(column) for column in zip(*rows, strict=True))
    return table(
        {
            "wheel part": [str(WheelPart.STEERING_LINKAGE)] * len(rows),
            "weight class": weight,
            "bead inches from": low,
            "bead inches to": high,
            "support": [str(Support.LOADED)] * len(rows),
            "read at": [str(ReadAt.TYRE_TREAD)] * len(rows),
            "bearings adjusted": ["yes"] * len(rows),
            "limit (in)": limit,
            "basis": ["shop"] * len(rows),
            "source": source,
        }
    )


def wheel_checks(roster: Roster, usage: Usage, visits: Visits, rng: np.random.Generator) -> pd.DataFrame:
    """Return checks of the steered wheels at the last visits of some vehicles; one wheel is over its limit."""
    last = np.flatnonzero(visits.is_last & (roster.model[visits.vehicle] != TRAILER))
    chosen = last[rng.random(last.size) < _CHECKED_SHARE]
    taken = list(roster.roles.values())
    free = [int(v) for v in np.flatnonzero(roster.model == LONG_TRUCK) if int(v) not in taken]
    over = free[-1]
    own = last[visits.vehicle[last] == over]
    chosen = np.union1d(chosen, own)
    visit = np.repeat(chosen, 2)
    vehicle, day = visits.vehicle[visit], visits.day[visit]
    heavy = np.isin(roster.model[vehicle], (TRUCK, LONG_TRUCK))
    play = np.where(heavy, _PLAY_MM["heavy"], _PLAY_MM["light"]) * np.exp(rng.normal(0.0, _SPREAD, visit.size))
    side = np.tile([str(Side.LEFT), str(Side.RIGHT)], chosen.size)
    is_over = (vehicle == over) & (side == str(Side.LEFT))
    play = np.where(is_over, _OVER_MM, play)
    unit = text(np.array([depot.play_unit for depot in DEPOTS]))[visits.depot[visit]]
    digits = {"thou": 0, "mm": 2, "in": 3}
    case = np.where(is_over, OVER_CASE, "")
    return table(
        {
            "unit": roster.unit[vehicle],
            "visit date": iso_dates(day),
            "odometer": written_odometer(roster, usage, vehicle, day),
            "odometer unit": distance_units(roster, vehicle, day),
            "axle": np.where(heavy, "steer", "front"),
            "side": side,
            "wheel part": [str(WheelPart.STEERING_LINKAGE)] * visit.size,
            "method": [str(Method.STEERING_ROCK)] * visit.size,
            "support": [str(Support.LOADED)] * visit.size,
            "read at": [str(ReadAt.TYRE_TREAD)] * visit.size,
            "bearings adjusted": ["yes"] * visit.size,
            "play": [f"{mm * factor('mm', str(one)):.{digits[str(one)]}f}" for mm, one in zip(play, unit, strict=True)],
            "play unit": unit,
        },
        case=case,
        says=case,
    )


def add_symptoms(tables: dict[str, pd.DataFrame], fleet: Fleet, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """Return the tables with two symptoms more in the visits: one that nothing explains, one without a road test."""
    marred = dict(tables)
    unread = _unread_joints(fleet)
    for vehicle, joint in (unread[place] for place in rng.permutation(len(unread))):
        if _say(marred, fleet, vehicle, "yes", str(fleet.joints.name[joint]), UNREAD_CASE, "knock over bumps"):
            break
    for vehicle in rng.permutation(np.flatnonzero(fleet.roster.model != TRAILER)):
        if int(vehicle) not in fleet.roster.roles.values() and _say(
            marred, fleet, int(vehicle), "", "", REPORTED_CASE, "rattle on rough roads"
        ):
            break
    return marred


def _unread_joints(fleet: Fleet) -> list[tuple[int, int]]:
    """Return (vehicle, joint) of the joints with two load directions that were never read."""
    joints = fleet.joints
    read = np.unique(joints.joint[fleet.records.readings.series])
    two = np.unique(joints.joint[joints.is_second])
    taken = list(fleet.roster.roles.values())
    free = np.setdiff1d(two, read)
    return [(int(joints.vehicle[joint]), int(joint)) for joint in free if int(joints.vehicle[joint]) not in taken]


def _say(
    tables: dict[str, pd.DataFrame], fleet: Fleet, vehicle: int, confirmed: str, joint: str, case: str, complaint: str
) -> bool:
    """Write a symptom into the row of a vehicle's last visit, if it has one that says nothing else."""
    unit = str(fleet.roster.unit[vehicle])
    visits = fleet.visits
    last: NDArray[np.int64] = np.flatnonzero((visits.vehicle == vehicle) & visits.is_last)
    day = str(iso_dates(visits.day[last])[0])
    for name in _VISIT_FILES:
        rows = tables[name]
        who = rows["unit"] if "unit" in rows else rows["unit number"]
        own = (who == unit) & (rows["visit date"] == day) & (rows["_case"] == "") & (rows["complaint"] == "")
        if own.sum() != 1:
            continue
        changed = rows.copy()
        row = changed.index[own][0]
        changed.loc[row, ["complaint", "symptom confirmed", "symptom joint"]] = [complaint, confirmed, joint]
        changed.loc[row, ["_case", "_says"]] = case
        tables[name] = changed
        return True
    return False
