"""The vehicle in the bay: day, odometer, who, and how it is secured."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import streamlit as st

from fleetwear.planning.wording import say_date, say_distance
from fleetwear.recording.form import odometer_doubt, other_field, sure_field
from fleetwear.reports.inert import html_text
from fleetwear.vocabulary import BAY_CAUTIONS, Secured

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dashboard.tasks.recording.fields import Fields
    from fleetwear.recording import BayRecord


_MOST_NAMES = 8


def arrival(fields: Fields, bay: BayRecord) -> None:
    """Write the fields of the vehicle's arrival, and what is asked about its odometer."""
    source, unit = str(bay.vehicle["distance_source"]), str(bay.vehicle["distance_unit"])
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        if source != "none":
            fields.whole("odometer", f"{source.capitalize()}, {unit}", placeholder="as it shows", width=210)
        fields.day("date", "Day of the visit", date.today(), width=160)
    _who(fields, "technician", "Technician (code)", "Another technician's code", bay.technicians)
    _who(fields, "shop", "Shop", "Another shop", bay.shops)
    if source == "none":
        st.html('<p class="fw-quiet">This vehicle has no odometer: its distance is estimated from dates.</p>')
        return
    if not bay.entries.empty:
        last = bay.entries.iloc[-1]
        known = f"Last on record: {say_distance(last['odometer_km'], unit)} on {say_date(last['on_date'])}."
        st.html(f'<p class="fw-quiet">{html_text(known)}</p>')
    with st.container():  # always there, so that what comes after keeps its place
        _question(fields, bay, unit)


def _who(fields: Fields, name: str, label: str, another: str, known: Sequence[str]) -> None:
    """Write the known names to choose from, large enough for gloves, and a line for another one."""
    if known:
        only = known[0] if name == "shop" and len(known) == 1 else None
        fields.one_of(name, label, known[:_MOST_NAMES], default=only)
    with st.container(width=210):
        fields.text(other_field(name), another if known else label, max_chars=40)


def _question(fields: Fields, bay: BayRecord, unit: str) -> None:
    doubt = odometer_doubt(fields.values, bay)
    swapped = fields.values.get("swap_old") is not None
    if doubt is not None:
        mend = " As it stands, loading would put the visit into quarantine." if doubt.refused else ""
        st.html(
            f'<p class="fw-said" role="alert"><b>Look at the odometer again</b><br>{html_text(doubt.words + mend)}</p>'
        )
        fields.tick(sure_field(fields.values), "I looked again: the value and the day are right")
    if doubt is not None or swapped:
        st.markdown("If the instrument was swapped, write both of its values:")
        with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
            fields.whole("swap_old", f"Last value of the old one, {unit}", width=210)
            fields.whole("swap_new", f"First value of the new one, {unit}", width=210)


def securing(fields: Fields) -> None:
    """Write the cautions and what is to be confirmed."""
    st.subheader("Make it safe first", anchor=False)
    items = "".join(f"<li>{html_text(text)}</li>" for text in BAY_CAUTIONS)
    st.html(f'<ul class="fw-cautions">{items}</ul>')
    words = [str(word) for word in Secured]
    done = fields.some_of("secured", "Confirm what is done", words, format_func=str.capitalize)
    with st.container():
        if len(done) < len(words):
            st.html('<p class="fw-quiet">What is not confirmed here is recorded as not confirmed.</p>')
