"""Tables in the user's own units, and their three forms: a table to read, JSON, CSV.

Vehicles of one table may use different units, so units have columns of their own: play_unit, distance_unit, and
growth_unit ("thou per 10,000 mi").
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from fleetwear.planning.actions import say_action
from fleetwear.planning.coverage import say_coverage
from fleetwear.planning.wording import say_probability
from fleetwear.reports.inert import on_screen
from fleetwear.reports.sheet_text import for_sheet
from fleetwear.units import factor

if TYPE_CHECKING:
    from collections.abc import Callable

Form = Literal["table", "json", "csv"]

_DIGITS = {"thou": 0, "in": 3, "mm": 2, "um": 0, "mi": 0, "km": 0}
_PROBABILITIES = ("any_joint_over", "probability", "probability_of_reading")
_PER = 10_000.0
"""Growth is told per this many of the user's units of distance."""


def own_units(values: pd.Series, units: pd.Series, *, stored_in: str) -> pd.Series:
    """Return stored values in each row's own unit, rounded to sensible digits."""
    scale = units.map({unit: factor(stored_in, unit) for unit in units.unique()}).astype(float)
    digits = units.map(_DIGITS).astype(int)
    shown = values.astype(float) * scale
    return pd.Series(
        [round(value, places) if np.isfinite(value) else np.nan for value, places in zip(shown, digits, strict=True)],
        index=values.index,
        dtype=float,
    )


def day(values: pd.Series) -> pd.Series:
    """Return dates as "2026-11-18"."""
    return pd.to_datetime(values).dt.strftime("%Y-%m-%d")


def done(rows: pd.DataFrame) -> pd.Series:
    """Return the open action of each row in words, nothing where there is none."""
    if "action" not in rows:
        return pd.Series(None, index=rows.index, dtype=object)
    joints = rows["action_joint"] if "action_joint" in rows else pd.Series(None, index=rows.index, dtype=object)
    said = [
        say_action({str(k): v for k, v in row.items()}, joint=joint) or None
        for row, joint in zip(rows.to_dict("records"), joints, strict=True)
    ]
    return pd.Series(said, index=rows.index, dtype=object)


def vehicle_table(vehicles: pd.DataFrame) -> pd.DataFrame:
    """Return the flags, one row a vehicle, from ``Flags.vehicles``."""
    distance = vehicles["distance_unit"]
    return pd.DataFrame(
        {
            "unit": vehicles["unit"],
            "depot": vehicles["depot"],
            "model": vehicles["model"],
            "outcome": vehicles["outcome"],
            "done": done(vehicles),
            "joint": vehicles["joint"],
            "direction": vehicles["direction"],
            "any_joint_over": vehicles["p_any_over_next"].round(3),
            "joints_in_probability": vehicles["joints_in_probability"],
            "accepted_risk": vehicles["accepted_risk"],
            "next_service": day(vehicles["next_service_date_50"]),
            "next_service_earliest": day(vehicles["next_service_date_05"]),
            "next_service_latest": day(vehicles["next_service_date_95"]),
            "overdue": vehicles["overdue"],
            "odometer_now": own_units(vehicles["odometer_now"], distance, stored_in="km"),
            "odometer_next_service": own_units(vehicles["next_service_odometer_50"], distance, stored_in="km"),
            "distance_unit": distance,
            "last_visit": day(vehicles["last_visit_date"]),
            "joints_on_record": vehicles["joints_to_test"].astype("Int64"),
            "joints_not_tested": vehicles["joints_untested"].astype("Int64"),
            "joints_tested_in_part": vehicles["joints_tested_in_part"].astype("Int64"),
            "coverage": [say_coverage(row) for row in vehicles.to_dict("records")],
            "reason": vehicles["reason"],
        }
    )


def joint_table(joints: pd.DataFrame) -> pd.DataFrame:
    """Return the forecasts, one row a joint and load direction, from ``Flags.joints``."""
    play, distance = joints["play_unit"], joints["distance_unit"]
    per = distance.map({unit: _PER * factor(unit, "km") for unit in distance.unique()}).astype(float)
    frame = pd.DataFrame(
        {
            "unit": joints["unit"],
            "joint": joints["joint"],
            "direction": joints["direction"],
            "outcome": joints["outcome"],
            "done": done(joints),
            "last_read": day(joints["last_date"]),
            "last_result": joints["last_result"],
            "last_play": own_units(joints["last_play_mm"], play, stored_in="mm"),
            "limit": own_units(joints["limit_mm"], play, stored_in="mm"),
            "limit_source": joints["limit_source"],
            "limit_basis": joints["limit_basis"],
            "limit_valid_from": day(joints["limit_valid_from"]),
            "limit_at_last_play": own_units(joints["judged_limit_mm"], play, stored_in="mm"),
            "mark": joints["indicative"].ne("").map({True: "indicative", False: ""}),
            "share_of_limit": joints["share_of_limit"].astype(float).round(2),
        }
    )
    growth_digits = play.map({unit: digits + 2 for unit, digits in _DIGITS.items()})
    for name in ("growth_mm_per_km", "growth_lower", "growth_upper"):
        scaled = joints[name] * per * play.map({unit: factor("mm", unit) for unit in play.unique()}).astype(float)
        pairs = zip(scaled.astype(float), growth_digits, strict=True)
        frame[name.removesuffix("_mm_per_km")] = [round(value, places) + 0.0 for value, places in pairs]
    frame["growth_unit"] = play + " per 10,000 " + distance
    frame["play_unit"], frame["distance_unit"] = play, distance
    frame["probability"] = joints["p_over_next"].astype(float).round(3)
    frame["probability_of_reading"] = joints["p_reading_over_next"].astype(float).round(3)
    frame["accepted_risk"] = joints["accepted_risk"].astype(float).round(3)
    for point in ("05", "50", "95"):
        frame[f"crossing_date_{point}"] = day(joints[f"crossing_date_{point}"])
    for point in ("05", "50", "95"):
        frame[f"crossing_odometer_{point}"] = own_units(joints[f"crossing_odometer_{point}"], distance, stored_in="km")
    frame["procedure_sd_mm"] = joints["procedure_sd_mm"].astype(float).round(4)
    frame["tested_at_last_visit"] = joints["tested_at_last_visit"]
    frame["indicative"], frame["doubt"], frame["reason"] = (
        joints["indicative"],
        joints["doubt"],
        joints["reason"],
    )
    return frame


def render(frame: pd.DataFrame, form: Form, write: Callable[[str], object]) -> None:
    """Write a frame as JSON records, as CSV, or as a table that fits the terminal.

    No control character reaches the terminal, and no cell of a CSV is a formula.
    """
    if form == "json":
        text = frame.to_json(orient="records", date_format="iso", indent=2, force_ascii=False)
        write(re.sub("[\x7f-\x9f]", lambda found: f"\\u{ord(found[0]):04x}", text) + "\n")
    elif form == "csv":
        write(for_sheet(frame).to_csv(index=False))
    else:
        _print_table(frame)


def _print_table(frame: pd.DataFrame) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in frame.columns:
        numeric = pd.api.types.is_numeric_dtype(frame[name])
        table.add_column(
            str(name).replace("_", " "), justify="right" if numeric else "left", overflow="fold",
            no_wrap=name in ("unit", "next service", "probability"),
        )  # fmt: skip
    names = [str(name) for name in frame.columns]
    for row in frame.itertuples(index=False):
        table.add_row(*(Text(_shown(name, value)) for name, value in zip(names, row, strict=True)))
    console = Console()
    if not console.is_terminal:
        console = Console(width=160)
    console.print(table)


def _shown(name: str, value: object) -> str:
    """Return a cell as a person reads it; a probability in the words of the pages, never as a bare 0 or 1."""
    if value is None or value != value:
        return ""
    return say_probability(value) if name in _PROBABILITIES else _cell(value)


def _cell(value: object) -> str:
    if isinstance(value, float):
        return f"{value:,.0f}" if value == int(value) and abs(value) >= 10 else f"{value:g}"
    return on_screen(value)
