"""Parts of a vehicle's page: what the last visit left untested, symptoms against movement, checks of whole wheels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard.listing import Cell, Column, Markup, listing
from fleetwear.planning.coverage import say_coverage
from fleetwear.planning.open_symptoms import open_symptoms
from fleetwear.planning.wheel_checks import NOT_OF_A_JOINT, standing_wheels
from fleetwear.planning.wording import say_date
from fleetwear.reports.inert import html_text
from fleetwear.reports.page_text import plain

if TYPE_CHECKING:
    from fleetwear.planning.vehicle import VehicleRecord

_WHEEL_COLUMNS = [
    Column("Date", tight=True, bare=True),
    Column("What was found, and the limit with its source", bare=True),
]


def show_coverage(record: VehicleRecord) -> None:
    """Write how much of the vehicle its last visit tested."""
    words = say_coverage(record.vehicle.to_dict())
    if words and len(record.joints):
        st.html(f'<p class="fw-quiet" style="margin:0">{html_text(words)}.</p>')


def show_symptoms(record: VehicleRecord) -> None:
    """Write the symptoms that stand, each with what moved under load and what follows."""
    lines = open_symptoms(record)
    if not lines:
        return
    st.subheader("Symptoms, and what moved under load")
    items = "".join(f"<li>{html_text(plain(line, 400))}</li>" for line in lines)
    st.html(f'<ul style="margin:0">{items}</ul>')


def show_wheels(record: VehicleRecord) -> None:
    """Write the checks of whole wheels as measured facts, those that stand first."""
    if record.wheels.empty:
        return
    st.subheader("Wheel checks")
    words = f"Measured at the wheel. Each limit is {NOT_OF_A_JOINT}; no joint's forecast rests on these."
    st.html(f'<p class="fw-quiet" style="margin:0">{html_text(words)}</p>')
    standing = standing_wheels(record.wheels)
    earlier = record.wheels[~record.wheels["is_last"].astype(bool)]
    rows: list[list[Cell]] = [
        [say_date(row["visit_date"]), _said(row["verdict"], row["says"])] for row in standing.to_dict("records")
    ]
    rows += [
        [say_date(row["visit_date"]), _said("measured again since", row["says"])] for row in earlier.to_dict("records")
    ]
    listing(_WHEEL_COLUMNS, rows, caption="Wheel checks, those that stand first")


def _said(verdict: object, says: object) -> Markup:
    head = str(verdict)
    return Markup(f"<b>{html_text(head[:1].upper() + head[1:])}.</b> {html_text(str(says))}")
