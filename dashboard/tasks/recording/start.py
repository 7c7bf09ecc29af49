"""Beginning a visit, or going on with a draft."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.messages import outward
from dashboard.messages import show as show_error
from dashboard.tasks.recording.fields import now
from dashboard.tasks.recording.known import bay_record
from fleetwear.errors import FleetwearError
from fleetwear.planning.wording import say_count
from fleetwear.recording import Drafts
from fleetwear.recording.form import who
from fleetwear.reports.inert import html_text

if TYPE_CHECKING:
    from pathlib import Path

    from fleetwear.recording import Draft


def begin(folder: Path) -> None:
    """Write the question for the vehicle, and the drafts that wait."""
    with st.form("begin", border=False):
        name = st.text_input(
            "Vehicle: unit number, VIN or plate", key="begin_unit", placeholder="for example V101", max_chars=60
        ).strip()
        asked = st.form_submit_button("Begin", key="begin", type="primary", width="stretch")
    if asked and not name:
        st.markdown("Write the unit number, VIN or plate of the vehicle in the bay.")
    if asked and name:
        try:
            bay = bay_record(str(folder), name, date.today())
            called = {"called": bay.told} if bay.told else {}
            draft = Drafts(folder).begin({"unit": bay.vehicle["unit"]} | called, now=now())
        except FleetwearError as error:
            show_error(error)
        else:
            st.query_params["draft"] = draft.draft
            st.rerun()
    _waiting(folder)


def _waiting(folder: Path) -> None:
    drafts, damaged = Drafts(folder).waiting()
    open_ones = [draft for draft in drafts if draft.state != "set aside"]
    aside = [draft for draft in drafts if draft.state == "set aside"]
    if open_ones:
        st.subheader("Go on with a visit", anchor=False)
        _links(open_ones)
    if aside:
        with st.expander(say_count(len(aside), "draft was set aside", "drafts were set aside")):
            _links(aside)
    if damaged:
        st.markdown(
            f"{say_count(len(damaged), 'draft', 'drafts')} cannot be read and stay as they are in "
            f"`{outward(Drafts(folder).folder)}`: {', '.join(damaged)}."
        )


def _links(drafts: list[Draft]) -> None:
    items = "".join(
        f'<li><a class="fw-back" href="record?draft={draft.draft}" target="_self">'
        f"{html_text(str(draft.fields.get('unit', '?')))}, "
        f"{html_text(draft.saved_at[:16].replace('T', ' '))} UTC{_people(draft)}</a></li>"
        for draft in drafts
    )
    st.html(f'<ul class="fw-drafts">{items}</ul>')


def _people(draft: Draft) -> str:
    technician = who(draft.fields, "technician")
    return f", {html_text(str(technician))}" if technician else ""
