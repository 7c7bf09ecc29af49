"""A small store whose records end today: ten vehicles of one model with four joints, and a forecast."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.intake import take_files
from pipelines import nightly

if TYPE_CHECKING:
    from pathlib import Path

LEFT, RIGHT = "left front lower ball joint", "right front lower ball joint"
LEFT_END, RIGHT_END = "left front tie rod end", "right front tie rod end"
JOINTS = {LEFT: ("in-out", "fore-aft"), RIGHT: ("in-out", "fore-aft"), LEFT_END: ("in-out",), RIGHT_END: ("in-out",)}
POSITIONS = """model,axle,side,place,kind
Alpha,front,left,lower,ball joint
Alpha,front,right,lower,ball joint
Alpha,front,left,,tie rod end
Alpha,front,right,,tie rod end
"""
LIMITS = "kind,limit,basis,source\nball joint,1.2 mm,maker,handbook\ntie rod end,1.0 mm,maker,handbook\n"
VISITS, STEP_DAYS, KM_A_DAY = 5, 180, 100.0
VEHICLES = [f"R{number}" for number in range(101, 111)]
"""R110 is read in one load direction only."""


def last_visit(today: date) -> date:
    """Return the day of the last visit on record."""
    return today - timedelta(days=STEP_DAYS)


def odometer_on(today: date, day: date) -> int:
    """Return the odometer value of every vehicle on a day, km: 100 km a day since it was new."""
    new = today - timedelta(days=STEP_DAYS * (VISITS + 1))
    return round((day - new).days * KM_A_DAY)


def write_tables(folder: Path, today: date) -> list[Path]:
    """Write the tables of the store as CSV files."""
    rng = np.random.default_rng(20260701)
    new = today - timedelta(days=STEP_DAYS * (VISITS + 1))
    vehicles = ["unit,model,vin,plate,in service date,in service odometer,distance unit,play unit,depot"]
    vehicles += [f"{unit},Alpha,VIN{unit},P {unit},{new},0,km,mm,Harbour" for unit in VEHICLES]
    readings = ["unit,visit date,odometer,technician,shop,joint,direction,method,support,read at,indicator,play"]
    for unit in VEHICLES:
        for joint, directions in JOINTS.items():
            for direction in directions[: 1 if unit == VEHICLES[-1] else None]:
                growth = rng.normal(0.05, 0.012)
                for visit in range(1, VISITS + 1):
                    day = new + timedelta(days=STEP_DAYS * visit)
                    km = odometer_on(today, day)
                    play = 0.12 + growth * km / 10_000 + rng.normal(0.0, 0.015)
                    readings.append(
                        f"{unit},{day},{km} km,T{1 + visit % 2},Bay 1,{joint},{direction},lever under tyre,hanging,"
                        f"joint,dial indicator,{max(play, 0.0):.2f} mm"
                    )
    services = ["unit,service date,odometer,interval,interval months"]
    services += [
        f"{unit},{last_visit(today)},{odometer_on(today, last_visit(today))} km,20000 km,6" for unit in VEHICLES
    ]
    tables = {"vehicles": vehicles, "readings": readings, "services": services}
    texts = {name: "\n".join(rows) + "\n" for name, rows in tables.items()}
    texts |= {"positions": POSITIONS, "limits": LIMITS}
    paths = []
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    return paths


def make_bay_store(folder: Path, *, forecast: bool = True) -> Path:
    """Make the store in a folder, with a published forecast if wanted, and return its folder."""
    today = date.today()
    summaries = take_files(folder / "store", write_tables(folder / "files", today), today=today)
    assert all(one.rows_quarantined == 0 for one in summaries), summaries
    if forecast:
        yesterday = today - timedelta(days=1)
        nightly.run(folder / "store", as_of=yesterday, made_at=datetime.combine(yesterday, datetime.min.time()))
    return folder / "store"
