"""What goes wrong in people's files: rows that must be refused, and values that are wrong but readable."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from demo_fleet import plans

if TYPE_CHECKING:
    from collections.abc import Mapping

    from demo_fleet.roster import Roster

NORTH_READINGS = "readings_north_yard.csv"
HARBOUR_READINGS = "readings_harbour.csv"
HILL_READINGS = "readings_hill.xlsx"

REFUSED: tuple[tuple[str, str, dict[str, str]], ...] = (
    (NORTH_READINGS, "unknown unit number", {"unit": "V9999"}),
    (NORTH_READINGS, "unknown joint", {"joint": "left middle lower ball joint"}),
    (NORTH_READINGS, "unknown direction", {"direction": "sideways"}),
    (NORTH_READINGS, "unknown unit of play", {"play": "21", "play unit": "furlong"}),
    (NORTH_READINGS, "negative play", {"play": "-4", "play unit": "thou"}),
    (NORTH_READINGS, "date in the future", {"visit date": "2062-05-14"}),
    (NORTH_READINGS, "play that is nan", {"play": "nan"}),
    (NORTH_READINGS, "empty play in a measured row", {"play": ""}),
    (NORTH_READINGS, "empty unit number", {"unit": ""}),
    (NORTH_READINGS, "unknown method", {"method": "kick"}),
    (HARBOUR_READINGS, "play that is inf", {"play (mm)": "inf"}),
    (HARBOUR_READINGS, "date in another form", {"visit date": "14/05/2025"}),
    (HARBOUR_READINGS, "date that does not exist", {"visit date": "2025-02-30"}),
    (HARBOUR_READINGS, "play that is not a number", {"play (mm)": "a lot"}),
    (HARBOUR_READINGS, "decimal comma", {"play (mm)": "0,45"}),
    (HARBOUR_READINGS, "unknown result", {"result": "maybe"}),
    (HILL_READINGS, "stroke that is not whole", {"stroke": "1.5"}),
    (HILL_READINGS, "unknown joint", {"joint": "right rear glove box"}),
    ("visits_north_yard.csv", "odometer that is not a number", {"mileage": "12O45"}),
    ("visits_harbour.csv", "neither yes nor no", {"symptom confirmed": "perhaps"}),
    ("services.csv", "negative odometer", {"odometer": "-500"}),
    ("work.csv", "unknown work", {"work": "hammered"}),
    ("work.csv", "joint of another model", {"joint": "centre axle pitman arm"}),
    ("limits.csv", "limit of zero", {"limit": "0"}),
    ("limits.csv", "unknown kind", {"kind": "hinge"}),
    ("odometer.csv", "swap without a new value", {"event": "swap", "new odometer": ""}),
    ("vehicles.csv", "unknown distance source", {"unit": "X901", "distance source": "guess"}),
)
"""File, what is wrong, and the cells that make it so; the rest of the row is a good row's."""

TYPO = "odometer typo"
IMPLAUSIBLE = "implausible reading"


def make_mistakes(
    tables: Mapping[str, pd.DataFrame], roster: Roster, rng: np.random.Generator
) -> dict[str, pd.DataFrame]:
    """Return the tables with every mistake in them, each marked in ``_case`` and ``_says``."""
    marred = dict(tables)
    marred["odometer.csv"] = _mistype_odometer(marred["odometer.csv"], roster)
    marred[NORTH_READINGS] = _write_mm_for_thou(marred[NORTH_READINGS], roster)
    for name in dict.fromkeys(file for file, _, _ in REFUSED):
        marred[name] = _put_in(marred[name], [(why, cells) for file, why, cells in REFUSED if file == name], rng)
    return marred


def _put_in(table: pd.DataFrame, wrong: list[tuple[str, dict[str, str]]], rng: np.random.Generator) -> pd.DataFrame:
    """Return the table with a spoilt copy of a good row put in for each mistake, not far from that row."""
    good = np.flatnonzero(_good_rows(table))
    chosen = np.sort(rng.choice(good, len(wrong), replace=False))
    spoilt = table.iloc[chosen].copy()
    for row, (why, cells) in zip(spoilt.index, wrong, strict=True):
        for column, text in {**cells, "_case": "refused", "_says": why}.items():
            spoilt.loc[row, column] = text
    order = np.argsort(np.append(np.arange(len(table)), chosen), kind="stable")
    return pd.concat([table, spoilt], ignore_index=True).iloc[order].reset_index(drop=True)


def _good_rows(table: pd.DataFrame) -> pd.Series[bool]:
    good = table["_case"] == ""
    if "result" in table:
        good &= (table["result"] == "measured") & (table["timing"] == "")
        play = next(column for column in table.columns if column.startswith("play"))
        good &= table[play].str.fullmatch(r"[0-9.]+")
    return good


def _mistype_odometer(table: pd.DataFrame, roster: Roster) -> pd.DataFrame:
    """Return the odometer entries with an extra digit in one, in the middle of its vehicle's."""
    rows = np.flatnonzero(table["unit"] == roster.unit[roster.roles[TYPO]])
    row = table.index[rows[rows.size // 2]]
    table = table.copy()
    right = table.loc[row, "odometer"]
    table.loc[row, "odometer"] = f"{right}0"
    table.loc[row, "_case"] = TYPO
    table.loc[row, "_says"] = f"a digit too many: {right} was meant; only this row is wrong"
    return table


def _write_mm_for_thou(table: pd.DataFrame, roster: Roster) -> pd.DataFrame:
    """Return the readings with one vehicle's last of its planned joint in thou, but with "mm" beside it."""
    mine = (table["unit"] == roster.unit[roster.roles[IMPLAUSIBLE]]) & (table["joint"] == plans.IMPLAUSIBLE_JOINT)
    mine &= table["direction"] == "in-out"
    row = table.index[mine][-1]
    table = table.copy()
    table.loc[row, "play"] = str(plans.IMPLAUSIBLE_THOU)
    table.loc[row, "play unit"] = "mm"
    table.loc[row, "_case"] = IMPLAUSIBLE
    table.loc[row, "_says"] = f"{plans.IMPLAUSIBLE_THOU} thou was meant, mm is written"
    return table


def joint_cases(roster: Roster) -> list[tuple[str, str, str, str]]:
    """Return (case, unit, joint, what it is) of the special cases that show in a joint's last reading."""
    over = [
        (role, joint, "over its limit at the last visit, not replaced")
        for role, joint in plans.OVER_LIMIT_JOINTS.items()
    ]
    one_way = ("one direction only", plans.ONE_DIRECTION_JOINT, "tested in-out only, never up-down")
    return [
        (role.rstrip(" 123"), str(roster.unit[roster.roles[role]]), joint, says)
        for role, joint, says in [*over, one_way]
    ]
