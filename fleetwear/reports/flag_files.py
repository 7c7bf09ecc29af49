"""The flags as files to take away: CSV and XLSX, with every measure's unit in its header."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.reports.inert import on_screen
from fleetwear.reports.sheet_text import for_sheet
from fleetwear.units import convert

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleetwear.planning.flags import Flags, ForecastRun

_LONGEST_CELL = 32_767
"""Characters that a cell of a workbook can hold (ECMA-376 as spreadsheets apply it; from memory)."""

_TEXT_WIDTH = 60
"""Widest column of a sheet, in characters."""


def with_lead(flags: Flags) -> pd.DataFrame:
    """Return ``flags.vehicles`` with p_over_next and indicative of the joint that leads each vehicle."""
    keys = ["vehicle_id", "position_id", "direction"]
    lead = flags.joints[[*keys, "p_over_next", "indicative"]]
    return flags.vehicles.merge(lead, on=keys, how="left")


def flag_file(run: ForecastRun, vehicles: pd.DataFrame) -> pd.DataFrame:
    """Return one row a vehicle, in the order of the flags, distances in km and in miles.

    Parameters
    ----------
    run
        The forecast.
    vehicles
        The vehicles with the joint that leads each; see `with_lead` and ``planning.flag_pages.FlagPage.vehicles``.
    """
    frame = pd.DataFrame(
        {
            "unit": vehicles["unit"],
            "depot": vehicles["depot"],
            "model": vehicles["model"],
            "outcome": vehicles["outcome"],
            "action": vehicles["action"],
            "action_date": pd.to_datetime(vehicles["action_date"]).dt.strftime("%Y-%m-%d"),
            "action_joint": vehicles["action_joint"],
            "joint": vehicles["joint"],
            "load_direction": vehicles["direction"],
            "probability_joint_over_at_next_service": vehicles["p_over_next"].round(4),
            "accepted_risk": vehicles["accepted_risk"].round(4),
            "probability_any_joint_over_at_next_service": vehicles["p_any_over_next"].round(4),
            "service_overdue": vehicles["overdue"].map({True: "yes", False: "no"}),
        }
    )
    for point in ("05", "50", "95"):
        dates = pd.to_datetime(vehicles[f"next_service_date_{point}"])
        frame[f"next_service_date_p{point}"] = dates.dt.strftime("%Y-%m-%d")
    for unit in ("km", "mi"):
        for name in ("odometer_now", "next_service_odometer_50"):
            shown = convert(vehicles[name].to_numpy(float), "km", unit)
            frame[f"{name.replace('_50', '_p50')}_{unit}"] = pd.Series(shown).round(0)
    frame["indicative"] = vehicles["indicative"].fillna("")
    frame["last_visit_date"] = pd.to_datetime(vehicles["last_visit_date"]).dt.strftime("%Y-%m-%d")
    frame["joints_on_record"] = vehicles["joints_to_test"].astype("Int64")
    frame["joints_not_tested_at_last_visit"] = vehicles["joints_untested"].astype("Int64")
    frame["joints_tested_in_part_at_last_visit"] = vehicles["joints_tested_in_part"].astype("Int64")
    frame["as_of"] = run.as_of.isoformat()
    frame["forecast_id"] = run.forecast_id
    frame["reason"] = vehicles["reason"]
    return frame


def to_csv(frame: pd.DataFrame) -> bytes:
    """Return the frame as CSV in UTF-8, with a byte-order mark for spreadsheets; no cell of it is a formula."""
    return for_sheet(frame).to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")


def to_xlsx(frame: pd.DataFrame, *, sheet: str) -> bytes:
    """Return the frame as an XLSX workbook of one sheet; no cell is ever a formula or a link."""
    return to_workbook({sheet: frame})


def to_workbook(sheets: Mapping[str, pd.DataFrame]) -> bytes:
    """Return frames as the sheets of an XLSX workbook, by name; no cell is ever a formula or a link."""
    import xlsxwriter

    buffer = io.BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}
    with xlsxwriter.Workbook(buffer, plain) as book:
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        for name, frame in sheets.items():
            _write_sheet(book.add_worksheet(name), frame, bold)
    return buffer.getvalue()


def _write_sheet(page: Any, frame: pd.DataFrame, bold: Any) -> None:
    for at, name in enumerate(frame.columns):
        cells = [None if pd.isna(value) else _shown(value) for value in frame[name].tolist()]
        page.write_string(0, at, str(name), bold)
        for row, cell in enumerate(cells, start=1):
            if isinstance(cell, str):
                page.write_string(row, at, cell)
            elif cell is not None:
                page.write(row, at, cell)
        longest = max([len(str(cell)) for cell in cells if cell is not None], default=0)
        page.set_column(at, at, min(max(longest, 12) + 1, _TEXT_WIDTH))
    page.freeze_panes(1, 1)
    page.autofilter(0, 0, len(frame), len(frame.columns) - 1)


def _shown(value: object) -> object:
    return on_screen(value, _LONGEST_CELL) if isinstance(value, str) else value
