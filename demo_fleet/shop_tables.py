"""What the shops wrote, as tables: visits, readings and work, each shop in its own headers and units."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from demo_fleet import readings
from demo_fleet.catalogue import DEPOTS, HARBOUR, HILL, MODELS, NORTH_YARD, PARTS
from demo_fleet.period import iso_dates
from demo_fleet.tables import distance_units, table, text, written_odometer
from fleetwear.units import factor
from fleetwear.vocabulary import Timing

if TYPE_CHECKING:
    import pandas as pd

    from demo_fleet.joints import Joints
    from demo_fleet.readings import Readings
    from demo_fleet.records import Records
    from demo_fleet.roster import Roster
    from demo_fleet.usage import Usage
    from demo_fleet.visits import Visits

_UNIT_IN_CELL_SHARE = 0.03
_THOU_MM = factor("thou", "mm")


def visit_table(
    roster: Roster, usage: Usage, visits: Visits, records: Records, joints: Joints, depot: int
) -> pd.DataFrame:
    """Return a depot's visits, by day, in its own headers."""
    order = np.flatnonzero(visits.depot == depot)
    order = order[np.lexsort((visits.vehicle[order], visits.day[order]))]
    vehicle, day = visits.vehicle[order], visits.day[order]
    said = records.complaint[order] != ""
    symptom = records.symptom_joint[order]
    technicians = np.array(DEPOTS[depot].technicians)
    columns: dict[str, object] = {
        "unit" if depot == HARBOUR else "unit number": roster.unit[vehicle],
        "visit date": iso_dates(day),
        "odometer (km)" if depot == HARBOUR else "mileage": written_odometer(roster, usage, vehicle, day),
    }
    if depot != HARBOUR:
        columns["odometer unit"] = distance_units(roster, vehicle, day)
    columns |= {
        "shop": DEPOTS[depot].shop,
        "technician": technicians[order % technicians.size],
        "complaint": text(records.complaint[order]),
        "symptom confirmed": np.where(said, np.where(records.confirmed[order], "yes", "no"), ""),
        "symptom joint": np.where(symptom >= 0, text(joints.name)[symptom], ""),
        "secured": np.where(order % 5 == 0, "wheel chocks and jack stands", "wheel chocks"),
    }
    noise = (vehicle == roster.roles["noise confirmed, joint under its limit"]) & visits.is_last[order]
    single = vehicle == roster.roles["single visit"]
    case = np.where(noise, "noise confirmed, joint under its limit", np.where(single, "single visit", ""))
    return table(columns, case=case, says=case)


def order_readings(taken: Readings, visits: Visits, depot: int) -> Readings:
    """Return a depot's readings as they were written: by day, vehicle, before and after work, joint."""
    rows = np.flatnonzero(visits.depot[taken.visit] == depot)
    part = taken.take(rows)
    keys = (
        part.stroke,
        part.session,
        part.series,
        part.timing == 2,
        visits.vehicle[part.visit],
        visits.day[part.visit],
    )
    return part.take(np.lexsort(keys))


def reading_table(
    roster: Roster,
    usage: Usage,
    visits: Visits,
    joints: Joints,
    taken: Readings,
    depot: int,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return a depot's readings in its own headers and units.

    North yard writes thou with a unit column, Harbour mm with the unit in the header, Hill inches in a
    workbook with the visit's facts in every row. A few cells carry their own unit.
    """
    part = order_readings(taken, visits, depot)
    vehicle, day = visits.vehicle[part.visit], visits.day[part.visit]
    measured = np.isfinite(part.play_mm)
    by_eye = ~measured
    columns: dict[str, object] = {"unit": roster.unit[vehicle], "visit date": iso_dates(day)}
    if depot == HILL:
        technicians = np.array(DEPOTS[depot].technicians)
        columns["odometer (mi)"] = written_odometer(roster, usage, vehicle, day)
        columns["shop"] = DEPOTS[depot].shop
        columns["technician"] = technicians[part.visit % technicians.size]
    columns |= {
        "joint": text(joints.name)[joints.joint[part.series]],
        "direction" if depot == NORTH_YARD else "load direction": joints.direction[part.series],
        "method": np.array([str(method) for method in readings.METHODS])[part.method],
        "support": np.array([str(support) for support in readings.SUPPORTS])[part.loaded.astype(np.int64)],
        "read at": np.array([str(place) for place in readings.READ_AT])[part.read_at],
        "indicator": np.where(by_eye, "eye", "dial indicator"),
        "session": part.session,
        "stroke": part.stroke,
        "timing": np.array(["", Timing.BEFORE_WORK, Timing.AFTER_WORK])[part.timing],
        "result": np.array([str(result) for result in readings.RESULTS])[part.result],
    }
    in_cell = (rng.random(vehicle.size) < _UNIT_IN_CELL_SHARE) & measured
    as_thou = [f"{value:.0f}" if value == value else "" for value in part.play_mm / _THOU_MM]
    as_mm = [f"{value:.2f}" if value == value else "" for value in part.play_mm]
    as_inch = [f"{value:.3f}" if value == value else "" for value in part.play_mm / 25.4]
    if depot == NORTH_YARD:
        in_mm = in_cell & (rng.random(vehicle.size) < 0.5)
        thou = np.where(in_cell, np.char.add(as_thou, " thou"), as_thou)
        columns["play"] = np.where(in_mm, np.char.add(as_mm, " mm"), thou)
        columns["play unit"] = np.where(measured & ~in_cell, "thou", "")
        columns["resolution"] = np.where(measured, ".001 in", "")
    elif depot == HARBOUR:
        columns["play (mm)"] = np.where(in_cell, np.char.add(as_mm, " mm"), as_mm)
        columns["resolution (mm)"] = np.where(measured, "0.01", "")
    else:
        columns["play (in)"] = as_inch
        columns["resolution (in)"] = np.where(measured, "0.001", "")
    frame = table(columns)
    frame["_visit"], frame["_series"], frame["_life"] = part.visit, part.series, part.life
    frame["_measured_mm"] = part.play_mm
    frame["_true_mm"], frame["_expected_mm"], frame["_slipped"] = part.true_mm, part.expected_mm, part.slipped
    return frame


def work(roster: Roster, usage: Usage, visits: Visits, records: Records, joints: Joints) -> pd.DataFrame:
    """Return the work done, by day; a part number where a part was put in."""
    done = records.work
    order = np.lexsort((done.joint, visits.vehicle[done.visit], visits.day[done.visit]))
    visit, joint = done.visit[order], done.joint[order]
    vehicle, day = visits.vehicle[visit], visits.day[visit]
    supplier = done.supplier[order]
    number = {(part.model, str(part.kind), part.place, part.supplier): part.number for part in PARTS}
    model = [MODELS[place] for place in roster.model[vehicle]]
    position = [kind.positions[place] for kind, place in zip(model, joints.position[joint], strict=True)]
    fitted = [
        number.get((kind.name, str(place.kind), place.place or "", maker), "")
        for kind, place, maker in zip(model, position, supplier.tolist(), strict=True)
    ]
    reason = done.reason[order]
    case = np.where(reason == "noise on the road test", "replaced for a noise", "")
    case = np.where(reason == "shimmed", "kingpin shimmed", case)
    case = np.where(reason == "bearing set", "wheel bearing set", case)
    return table(
        {
            "unit": roster.unit[vehicle],
            "work date": iso_dates(day),
            "odometer": written_odometer(roster, usage, vehicle, day),
            "odometer unit": distance_units(roster, vehicle, day),
            "joint": text(joints.name)[joint],
            "work": done.work[order],
            "part number": fitted,
            "supplier": supplier,
            "reason": reason,
        },
        case=case,
        says=case,
    )
