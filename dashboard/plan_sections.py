"""Sections of the page of the weeks ahead: parts to order, bay hours, joints done together, next checks, gaps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard import pictures
from dashboard.listing import Cell, Column, Markup, listing, page_of, probability, vehicle_link
from dashboard.style import look
from fleetwear.planning.wording import is_known, say_count, say_date, say_probability
from fleetwear.reports.inert import html_text
from fleetwear.reports.plan_tables import (
    assumption_lines,
    bay_table,
    check_table,
    order_table,
    together_table,
    worth_hours,
    worth_listing,
)

if TYPE_CHECKING:
    from fleetwear.planning.ahead import Plan

_ORDERS = [
    Column("Part number", tight=True, bare=True),
    Column("Depot", tight=True),
    Column("To order", tight=True),
    Column("Order by", tight=True),
    Column("Pieces expected; that cover", tight=True),
    Column("On hand; on order", tight=True),
    Column("Mind", broad=True),
]
_HOURS = [
    Column("Week of", tight=True, bare=True),
    Column("Depot", tight=True),
    Column("Hours expected", tight=True),
    Column("Hours that cover", tight=True),
    Column("Jobs expected", tight=True),
    Column("Alignments expected", tight=True),
]
_TOGETHER = [
    Column("Unit", tight=True, bare=True),
    Column("Other side", bare=True),
    Column("With"),
    Column("Over by the service after next", tight=True),
    Column("Cost now", tight=True),
    Column("Expected cost later", tight=True),
    Column("Cheaper", tight=True),
]
_NEXT_CHECKS = [
    Column("Unit", tight=True, bare=True),
    Column("Joint", bare=True),
    Column("Check", tight=True),
    Column("By odometer", tight=True),
    Column("About", tight=True),
    Column("Accepted risk", tight=True),
    Column("What is said"),
]


def orders(plan: Plan) -> None:
    """Write the parts to order."""
    st.subheader("Parts to order")
    frame = order_table(plan)
    listed = worth_listing(frame)
    cover = f"{plan.settings.cover:.0%}"
    if listed.empty:
        st.markdown("No part is likely to be needed in these weeks.")
    else:
        note = (
            f"Pieces that cover {cover} of the joint draws, in which joints of one vehicle wear fast together; what "
            "is on hand and on order is taken off."
        )
        st.html(f'<p class="fw-quiet" style="margin:0">{note}</p>')
        page = listed[page_of(len(listed), key="order_rows")]
        listing(_ORDERS, [_order_row(row) for row in page.to_dict("records")], caption="Parts to order")
    if len(listed) < len(frame):
        rest = say_count(len(frame) - len(listed), "more part number has", "more part numbers have")
        st.markdown(f"{rest} hardly any demand; the workbook lists them.")


def _order_row(row: dict[Any, Any]) -> list[Cell]:
    by = "not known" if row["to_order"] else "nothing to order"
    if is_known(row["order_by"]):
        by = "now" if row["days_late"] else say_date(row["order_by"])
    return [
        Markup(f"<b>{html_text(str(row['part_number']))}</b>"),
        str(row["depot"]),
        str(row["to_order"]),
        by,
        f"{row['expected_pieces']:.2f}; {row['covering_pieces']}",
        f"{row['on_hand']}; {row['on_order']}",
        str(row["note"]),
    ]


def hours(plan: Plan, folder: str, number: int) -> None:
    """Write the bay hours by week, a chart a depot."""
    st.subheader("Bay hours")
    if plan.bays.empty:
        st.markdown("No work is likely in these weeks.")
        return
    cover = f"{plan.settings.cover:.0%}"
    words = f"Bars are expected hours; the mark with its number covers {cover} of the joint draws."
    st.html(f'<p class="fw-quiet" style="margin:0">{words}</p>')
    for depot, rows in plan.bays.groupby("depot"):
        st.markdown(f"**{depot}**: {rows['expected_hours'].sum():.1f} hours expected in these weeks")
        spec = pictures.bay_spec(folder, number, plan.settings, str(depot), look().name)
        pictures.write(spec, alt=f"Bay hours by week at {depot}", key=f"bays_{depot}")
    with st.expander("The same as a table"):
        rows = worth_hours(bay_table(plan))
        cells = [
            [
                str(row["week_of"]), str(row["depot"]), f"{row['expected_hours']:.1f}", f"{row['covering_hours']:.1f}",
                f"{row['expected_jobs']:.1f}", f"{row['expected_alignments']:.1f}",
            ]
            for row in rows.to_dict("records")
        ]  # fmt: skip
        listing(_HOURS, cells, caption="Bay hours by week and depot")


def together(plan: Plan) -> None:
    """Write the other sides of pressing joints, with what they cost now and later."""
    st.subheader("Worth doing together")
    frame = together_table(plan)
    if frame.empty:
        st.markdown("No pressing joint has another side that is ordered alone.")
        return
    worth = int((frame["cheaper"] == "now").sum())
    unknown = int((frame["cheaper"] == "not known").sum())
    told = f"{say_count(len(frame), 'other side', 'other sides')} of pressing joints; cheaper now: {worth}"
    st.markdown(told + (f", not known: {unknown}." if unknown else "."))
    with st.expander("Costs of each", expanded=worth > 0):
        page = frame[page_of(len(frame), key="together_rows")]
        listing(_TOGETHER, [_together_row(row) for row in page.to_dict("records")], caption="Joints done together")


def _together_row(row: dict[Any, Any]) -> list[Cell]:
    costs = [
        f"{row[name]:,.0f}" if is_known(row[name]) else "not known" for name in ("cost_now", "expected_cost_later")
    ]
    return [
        vehicle_link(str(row["unit"])),
        str(row["joint"]),
        str(row["done_with"]),
        probability(row["over_by_service_after_next"], look(), otherwise="not known"),
        *costs,
        str(row["note"] or row["cheaper"]),
    ]


def checks(plan: Plan) -> None:
    """Write by which odometer joints are to be looked at again."""
    st.subheader("Next checks")
    words = (
        "How far a joint may run until the probability of being over its limit is the accepted risk. A check never "
        "takes the place of an inspection that is due."
    )
    st.html(f'<p class="fw-quiet" style="margin:0">{words}</p>')
    every = plan.checks
    now = every[every["when"] == "now"]
    by_outcome = ", ".join(f"{count} {outcome}" for outcome, count in now["outcome"].value_counts().items())
    st.markdown(f"To be checked now: **{len(now)}** joints" + (f" ({by_outcome})." if by_outcome else "."))
    within = pd.Timestamp(plan.starts[-1]) + pd.Timedelta(days=7)
    ahead = every[(every["when"] == "by odometer and date") & (pd.to_datetime(every["check_date"]) < within)]
    if st.toggle(f"List all {len(every)} joints, those to be checked now too", key="all_checks"):
        ahead = every
    if ahead.empty:
        st.markdown("No other joint reaches its accepted risk in these weeks. That clears none.")
        return
    page = check_table(ahead[page_of(len(ahead), key="check_rows")])
    rows = [_check_row(row) for row in page.to_dict("records")]
    listing(_NEXT_CHECKS, rows, caption="Next checks, the earliest first")


def _check_row(row: dict[Any, Any]) -> list[Cell]:
    known = is_known(row["by_odometer"])
    return [
        vehicle_link(str(row["unit"])),
        str(row["joint"]),
        str(row["check"]),
        f"{row['by_odometer']:,.0f} {row['distance_unit']}" if known else "no odometer value",
        say_date(row["about"]),
        say_probability(row["accepted_risk"]),
        str(row["outcome"]),
    ]


def missing(plan: Plan) -> None:
    """Write what the plan does not cover, and what it assumes."""
    st.subheader("Not covered, and assumed")
    lines = [
        f"{row['count']} x {row['missing']} ({row['means']}): {row['first']}{' ...' if row['count'] > 5 else ''}"
        for row in plan.gaps.to_dict("records")
    ]
    items = "".join(f"<li>{html_text(line[:1].upper() + line[1:])}</li>" for line in [*lines, *assumption_lines(plan)])
    st.html(f'<ul class="fw-quiet fw-notes">{items}</ul>')
