"""The truth behind the files, as tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from demo_fleet import mistakes
from demo_fleet.period import AS_OF, day_number, iso_dates

if TYPE_CHECKING:
    from demo_fleet.joints import Joints
    from demo_fleet.records import Records
    from demo_fleet.roster import Roster
    from demo_fleet.usage import Usage
    from demo_fleet.visits import Visits
    from demo_fleet.wear import Lives

_TRUTH_UNTIL = day_number("2028-01-01")


@dataclass(frozen=True)
class Fleet:
    """All that happened to the fleet, as it was drawn."""

    roster: Roster
    usage: Usage
    visits: Visits
    joints: Joints
    lives: Lives
    records: Records


def truth_tables(fleet: Fleet, written: dict[str, pd.DataFrame], *, first_row: int = 2) -> dict[str, pd.DataFrame]:
    """Return the truth tables by name; ``truth.Truth`` says what stands in them.

    ``first_row`` is the number that a person counts for a file's first row: 2 where a header stands above it.
    """
    return {
        "lives": _true_lives(fleet),
        "usage": _true_usage(fleet.roster, fleet.usage),
        "vehicles": _true_vehicles(fleet.roster, fleet.usage, fleet.visits),
        "readings": _true_readings(fleet, written, first_row),
        "events": _events(fleet.roster, written, first_row),
    }


def _true_lives(fleet: Fleet) -> pd.DataFrame:
    joints, roster = fleet.joints, fleet.roster
    lives = pd.concat([pd.DataFrame(begun) for begun in fleet.lives.begun], ignore_index=True)
    lives = lives.sort_values(["series", "life"], ignore_index=True)
    series = lives["series"].to_numpy()
    limit = joints.limit_on(series, np.full(series.size, np.datetime64(AS_OF, "D").astype(np.int64)))
    ends = lives.groupby("series")[["start_day", "start_running_km"]].shift(-1)
    end_date = pd.Series("", index=lives.index, dtype=object)
    ended = ends["start_day"].notna()
    end_date[ended] = iso_dates(ends.loc[ended, "start_day"].to_numpy(dtype=np.int64))
    frame = pd.DataFrame(
        {
            "unit": roster.unit[joints.vehicle_of_series[series]],
            "joint": joints.name[joints.joint[series]],
            "direction": joints.direction[series],
            "life": lives["life"],
            "started_by": lives["started_by"],
            "supplier": lives["supplier"],
            "start_date": iso_dates(lives["start_day"].to_numpy()),
            "start_running_km": lives["start_running_km"],
            "end_date": end_date,
            "end_running_km": ends["start_running_km"],
        }
    )
    for name in ("process", "initial_mm", "rate_mm_per_km", "exponent", "fast_factor", "onset_km"):
        frame[name] = lives[name]
    frame["limit_mm"] = limit
    return frame.replace([np.inf], np.nan)


def _true_usage(roster: Roster, usage: Usage) -> pd.DataFrame:
    vehicle, month = np.nonzero(
        (usage.days[None, :] >= roster.in_service_day[:, None]) & (usage.days[None, :] <= _TRUTH_UNTIL)
    )
    day = usage.days[month]
    return pd.DataFrame(
        {
            "unit": roster.unit[vehicle],
            "date": iso_dates(day),
            "running_km": usage.running_km[vehicle, month],
            "odometer_km": usage.odometer_on(vehicle, day),
        }
    )


def _true_vehicles(roster: Roster, usage: Usage, visits: Visits) -> pd.DataFrame:
    everyone, next_day = np.arange(roster.size), visits.next_service_day
    return pd.DataFrame(
        {
            "unit": roster.unit,
            "in_service_date": iso_dates(roster.in_service_day),
            "rough_route_factor": roster.rough_route,
            "next_service_date": iso_dates(next_day),
            "next_service_running_km": usage.running_on(everyone, next_day),
            "next_service_odometer_km": usage.odometer_on(everyone, next_day),
        }
    )


def _true_readings(fleet: Fleet, written: dict[str, pd.DataFrame], first_row: int) -> pd.DataFrame:
    visits, joints = fleet.visits, fleet.joints
    parts = []
    for name, table in written.items():
        if not name.startswith("readings"):
            continue
        rows = np.flatnonzero(table["_case"] != "refused")
        kept = table.iloc[rows]
        visit, series = kept["_visit"].to_numpy(dtype=np.int64), kept["_series"].to_numpy(dtype=np.int64)
        parts.append(
            pd.DataFrame(
                {
                    "file": name,
                    "row": rows + first_row,
                    "unit": fleet.roster.unit[visits.vehicle[visit]],
                    "date": iso_dates(visits.day[visit]),
                    "joint": joints.name[joints.joint[series]],
                    "direction": joints.direction[series],
                    "life": kept["_life"].to_numpy(),
                    "running_km": visits.running_km[visit],
                    "true_mm": kept["_true_mm"].to_numpy(),
                    "expected_mm": kept["_expected_mm"].to_numpy(),
                    "measured_mm": kept["_measured_mm"].to_numpy(),
                    "slipped": kept["_slipped"].to_numpy(),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _events(roster: Roster, written: dict[str, pd.DataFrame], first_row: int) -> pd.DataFrame:
    """Return the special cases: those marked in rows, then those that show in a joint's last reading."""
    events = []
    for name, table in written.items():
        for row in np.flatnonzero(table["_case"] != ""):
            cells = table.iloc[row]
            unit = cells.get("unit", cells.get("unit number", ""))
            events.append((cells["_case"], name, row + first_row, unit, cells.get("joint", ""), cells["_says"]))
    for case, unit, joint, says in mistakes.joint_cases(roster):
        for name, table in written.items():
            if not name.startswith("readings"):
                continue
            rows = np.flatnonzero((table["unit"] == unit) & (table["joint"] == joint) & (table["_case"] == ""))
            if rows.size:
                events.append((case, name, rows[-1] + first_row, unit, joint, says))
    return pd.DataFrame(events, columns=["case", "file", "row", "unit", "joint", "says"])
