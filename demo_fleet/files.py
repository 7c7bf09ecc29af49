"""The demo fleet as a folder of files, and the truth beside them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import xlsxwriter

from demo_fleet import checks, mistakes, other_headers, shop_tables, study, supplies, tables
from demo_fleet.catalogue import HARBOUR, HILL, NORTH_YARD
from demo_fleet.joints import list_joints
from demo_fleet.period import AS_OF
from demo_fleet.plans import arrange
from demo_fleet.records import keep_records
from demo_fleet.roster import draw_roster
from demo_fleet.truth_tables import Fleet, truth_tables
from demo_fleet.usage import draw_usage
from demo_fleet.visits import schedule_visits
from demo_fleet.wear import first_lives

if TYPE_CHECKING:
    from pathlib import Path


SEED = 6
_SHEET_ROWS = 1_048_575


@dataclass(frozen=True)
class DemoFiles:
    """What was written.

    Attributes
    ----------
    folder
        Where.
    files
        The files to load, in loading order.
    truth
        The truth files, by name: lives, usage, vehicles, readings, events. They are never loaded.
    as_of
        The day as of which to forecast.
    """

    folder: Path
    files: tuple[Path, ...]
    truth: dict[str, Path]
    as_of: date


def write(folder: Path, *, seed: int = SEED, vehicles: int = 80) -> DemoFiles:
    """Write an invented fleet's files into a folder, and into ``truth/``, ``study/`` and ``other_headers/`` in it
    the truth, a study, and a sheet with headers of its own and its column map.

    Parameters
    ----------
    folder
        Made if it is not there.
    seed
        The same seed and number of vehicles give the same CSV files, byte for byte.
    vehicles
        Powered vehicles, at least 30; trailers come on top.

    Returns
    -------
    DemoFiles
        The files in loading order, the truth files, and the as-of date.

    Raises
    ------
    ValueError
        If there are fewer vehicles than the special cases need.
    """
    *streams, study_rng, checks_rng = np.random.default_rng(seed).spawn(5)
    fleet, written = live_and_write_down(vehicles, [*streams, checks_rng])
    written = {_fitting_name(name, table): table for name, table in written.items()}
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    for name, table in written.items():
        (_write_workbook if name.endswith(".xlsx") else _write_csv)(folder / name, visible(table))
    truth = {}
    for name, table in truth_tables(fleet, written).items():
        truth[name] = folder / "truth" / f"{name}.csv"
        _write_csv(truth[name], table)
    (folder / "study").mkdir(exist_ok=True)
    _write_csv(folder / "study" / study.FILE, study.study_table(study_rng))
    other_headers.write(folder / "other_headers", written[mistakes.HARBOUR_READINGS])
    return DemoFiles(folder, tuple(folder / name for name in written), truth, AS_OF)


def live_and_write_down(
    vehicles: int, streams: list[np.random.Generator], *, first: int = 0
) -> tuple[Fleet, dict[str, pd.DataFrame]]:
    """Return a fleet, and its tables by file name with every mistake in them.

    Parameters
    ----------
    vehicles
        Powered vehicles, at least 30.
    streams
        Random numbers of the fleet, its readings, its files and its checks.
    first
        Added to the numbers of its units.
    """
    fleet_rng, readings_rng, files_rng, checks_rng = streams
    fleet = _live(vehicles, fleet_rng, readings_rng, first)
    written = mistakes.make_mistakes(_tables(fleet, files_rng), fleet.roster, files_rng)
    written = checks.add_symptoms(written, fleet, checks_rng)
    written["wheel_limits.csv"] = checks.wheel_limits()
    written["wheel_checks.csv"] = checks.wheel_checks(fleet.roster, fleet.usage, fleet.visits, checks_rng)
    return fleet, written


def _live(vehicles: int, fleet_rng: np.random.Generator, readings_rng: np.random.Generator, first: int) -> Fleet:
    roster = draw_roster(vehicles, fleet_rng, first=first)
    usage = draw_usage(roster, fleet_rng)
    visits = schedule_visits(roster, usage, fleet_rng)
    joints = list_joints(roster)
    lives = first_lives(roster, joints, fleet_rng)
    plan = arrange(roster, visits, joints, lives)
    records = keep_records(roster, visits, lives, plan, readings_rng)
    return Fleet(roster, usage, visits, joints, lives, records)


def _tables(fleet: Fleet, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """Return the tables by file name, in loading order: an odometer's swap before what the new one said."""
    roster, usage, visits, joints, records = (
        fleet.roster,
        fleet.usage,
        fleet.visits,
        fleet.joints,
        fleet.records,
    )
    out = {
        "vehicles.csv": tables.vehicles(roster, usage),
        "positions.csv": tables.positions(),
        "limits.csv": tables.limits(),
        "odometer.csv": tables.odometer(roster, usage, rng),
        "services.csv": tables.services(roster, usage, visits),
        "parts.csv": supplies.parts(),
        "stock.csv": supplies.stock(),
    }
    for name, depot in (("visits_north_yard.csv", NORTH_YARD), ("visits_harbour.csv", HARBOUR)):
        out[name] = shop_tables.visit_table(roster, usage, visits, records, joints, depot)
    for name, depot in (
        (mistakes.NORTH_READINGS, NORTH_YARD),
        (mistakes.HARBOUR_READINGS, HARBOUR),
        (mistakes.HILL_READINGS, HILL),
    ):
        out[name] = shop_tables.reading_table(roster, usage, visits, joints, records.readings, depot, rng)
    out["work.csv"] = shop_tables.work(roster, usage, visits, records, joints)
    return out


def _fitting_name(name: str, table: pd.DataFrame) -> str:
    """Return the file's name, a CSV's where a workbook's sheet would not hold the rows."""
    return name.replace(".xlsx", ".csv") if len(table) > _SHEET_ROWS else name


def visible(table: pd.DataFrame) -> pd.DataFrame:
    """Return what is written of a table into its file."""
    return table[[column for column in table.columns if not column.startswith("_")]]


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    table.to_csv(path, index=False, lineterminator="\n")


def _write_workbook(path: Path, table: pd.DataFrame) -> None:
    """Write one sheet: dates as dates, numbers as numbers, and text where a cell is neither."""
    with xlsxwriter.Workbook(str(path)) as book:
        book.set_properties({"created": datetime(2026, 11, 1)})
        sheet = book.add_worksheet("Readings")
        bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
        sheet.write_row(0, 0, list(table.columns), bold)
        sheet.freeze_panes(1, 0)
        for number, column in enumerate(table.columns):
            is_date = column.endswith("date")
            is_number = column.startswith(("odometer", "session", "stroke", "play", "resolution"))
            for row, value in enumerate(table[column].tolist(), start=1):
                if is_date:
                    sheet.write_datetime(row, number, datetime.fromisoformat(value), day)
                elif is_number and value != "":
                    sheet.write_number(row, number, float(value))
                else:
                    sheet.write_string(row, number, str(value)) if value != "" else None
