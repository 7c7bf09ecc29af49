"""Weeks ahead: who presses in which week, parts to order, bay hours, and what becomes of it when services are moved."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboard import action_form, plan_sections, snapshot
from dashboard.downloads import download_button
from dashboard.listing import Cell, Column, Markup, listing, page_of, probability, vehicle_link
from dashboard.style import look
from fleetwear.planning.actions import say_action, with_actions
from fleetwear.planning.ahead import PlanSettings
from fleetwear.planning.wording import say_count, say_date
from fleetwear.reports.flag_files import to_workbook
from fleetwear.reports.inert import html_text
from fleetwear.reports.plan_calendar import to_calendar
from fleetwear.reports.plan_tables import plan_sheets

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.planning.ahead import Plan

_EVERY_DEPOT = "every depot"
_WEEKS = (4, 8, 12, 26, 52)
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_CROSSING = [
    Column("Week of", tight=True),
    Column("Depot", tight=True),
    Column("Unit", tight=True, bare=True),
    Column("Joint, and what is said", bare=True, broad=True),
    Column("Probability", tight=True),
    Column("In", tight=True),
    Column("Done so far", tight=True),
]


def show() -> None:
    """Write the page."""
    folder, number = snapshot.current()
    choices = snapshot.plan_choices(folder, number)
    run = choices.run
    st.title("Weeks ahead")
    st.markdown(
        "Who presses in which week, what to order and how long it takes. "
        f"As of **{run.as_of:%Y-%m-%d}**, forecast number {run.forecast_id}."
    )
    settings = _choose(choices.depots)
    plan = snapshot.plan(folder, number, settings)
    _effect(plan, folder, number)
    _downloads(plan)
    _crossing(plan, snapshot.latest_actions(folder, number, run.forecast_id))
    action_form.show(folder, number, choices, plan)
    plan_sections.orders(plan)
    plan_sections.hours(plan, folder, number)
    plan_sections.together(plan)
    plan_sections.checks(plan)
    plan_sections.missing(plan)


def _choose(depots: list[str]) -> PlanSettings:
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        depot = st.selectbox("Depot", [_EVERY_DEPOT, *depots], key="plan_depot", bind="query-params", width=158)
        weeks = st.selectbox("Weeks", _WEEKS, index=2, key="plan_weeks", width=90)
        shift = st.slider(
            "Move every service by, days", -60, 60, 0, key="plan_shift", width=230,
            help="Earlier below 0, later above. Probabilities, weeks, parts and hours are worked out again.",
        )  # fmt: skip
        stretch = st.slider(
            "Intervals times", 0.5, 2.0, 1.0, 0.05, key="plan_stretch", width=180,
            help="Every service interval is made longer or shorter by this factor.",
        )  # fmt: skip
        cover = st.slider(
            "Outcomes to cover", 0.5, 0.99, 0.9, 0.01, key="plan_cover", width=180,
            help="The share of outcomes in which the parts on the shelf and the bay hours are enough.",
        )  # fmt: skip
    return PlanSettings(
        weeks=weeks,
        depot=None if depot == _EVERY_DEPOT else depot,
        shift_days=float(shift),
        stretch=float(stretch),
        cover=float(cover),
    )


def _effect(plan: Plan, folder: str, number: int) -> None:
    """Say how many press, and how many would as forecast where services are moved."""
    own = plan.settings
    pressing = len(plan.crossing) + plan.later
    words = (
        f"**{say_count(pressing, 'joint', 'joints')}** press, {len(plan.crossing)} of them in these weeks; "
        f"**{plan.expected_over:.2f}** joints are expected to be over their limit when their vehicle is next in"
    )
    if own.shift_days or own.stretch != 1.0:
        as_forecast = snapshot.plan(folder, number, replace(own, shift_days=0.0, stretch=1.0))
        before = len(as_forecast.crossing) + as_forecast.later
        words += f". With services as forecast: {before} press, {as_forecast.expected_over:.2f} expected over"
    st.markdown(words + ".")


def _downloads(plan: Plan) -> None:
    stem = f"weeks_ahead_{plan.flags.run.as_of:%Y-%m-%d}"
    with st.container(horizontal=True, gap="small"):
        download_button(
            "Download workbook (XLSX)",
            lambda: to_workbook(plan_sheets(plan)),
            f"{stem}.xlsx",
            _XLSX,
            on_click="ignore",
        )
        download_button(
            "Download calendar (ICS)", lambda: to_calendar(plan), f"{stem}.ics", "text/calendar", on_click="ignore"
        )


def _crossing(plan: Plan, actions: pd.DataFrame | None) -> None:
    st.subheader("By week")
    rows = plan.crossing if actions is None else with_actions(plan.crossing, actions)
    if rows.empty:
        st.markdown("No joint presses in these weeks. That clears no vehicle.")
    else:
        page = rows[page_of(len(rows), key="crossing_rows")]
        listing(
            _CROSSING, [_crossing_row(row) for row in page.to_dict("records")], caption="Joints that press, by week"
        )
    if plan.later:
        st.markdown(f"{say_count(plan.later, 'more joint presses', 'more joints press')} whose vehicle is in later.")


def _crossing_row(row: dict[Any, Any]) -> list[Cell]:
    said = f"{row['joint']}, {row['direction']}: <b>{html_text(str(row['outcome']))}</b>"
    at_once = row["when"] == "at once"
    return [
        say_date(row["week_start"]),
        str(row["depot"]),
        vehicle_link(str(row["unit"])),
        Markup(said[:1].upper() + said[1:]),
        probability(row["p_over_next"], look()),
        "at once" if at_once else f"{row['when']}, {say_date(row['next_service_date_50'])}",
        say_action(row) or "nothing recorded",
    ]
