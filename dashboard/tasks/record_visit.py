"""Record a visit: the technician's page, on a phone or tablet in the bay."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.messages import outward
from dashboard.messages import show as show_error
from dashboard.people import require
from dashboard.tasks.recording import finish, start
from dashboard.tasks.recording.fields import Fields, now
from dashboard.tasks.recording.joints import readings
from dashboard.tasks.recording.known import bay_record, forecast_of
from dashboard.tasks.recording.vehicle import arrival, securing
from fleetwear.errors import FleetwearError
from fleetwear.planning.wording import is_known
from fleetwear.recording import Drafts, list_joints
from fleetwear.reports.inert import html_text
from fleetwear.store import Store, default_store_dir

if TYPE_CHECKING:
    from pathlib import Path

    from fleetwear.recording import BayRecord

_RULES = """
<style>
[data-testid="stMain"] .stButton button, [data-testid="stMain"] .stFormSubmitButton button { min-height: 52px; }
[data-testid="stMain"] .stButton button { justify-content: flex-start; text-align: left; }
[data-testid="stMain"] .stPills button, [data-testid="stMain"] [data-testid="stButtonGroup"] button
  { min-height: 48px; padding: 0 1rem; }
[data-testid="stMain"] input { min-height: 48px; }
[data-testid="stTextInputRootElement"], [data-testid="stNumberInputContainer"], [data-testid="stDateInputField"]
  { min-height: 50px; height: auto !important; }
[data-testid="stDateInputCalendarButton"] { min-width: 44px; min-height: 48px; }
[data-testid="stNumberInputStepDown"], [data-testid="stNumberInputStepUp"], [data-testid="stNumberInputClearButton"]
  { display: none; }
[data-testid="stSelectbox"] [role="group"], [data-testid="stSelectbox"] button { min-height: 48px; }
[data-testid="stSelectbox"] button { min-width: 44px; }
[data-testid="stMain"] [data-testid="stExpander"] summary { min-height: 48px; align-items: center; }
[data-testid="stMain"] [data-testid="stCheckbox"] label { min-height: 44px; align-items: center; }
.fw-cautions { margin: 0; padding-left: 1.2rem; }
.fw-cautions li { margin-bottom: 0.35rem; }
.fw-series { margin: 0.4rem 0 0; }
.fw-drafts { list-style: none; padding: 0 !important; margin: 0; }
.fw-drafts li { margin: 0 !important; }
.fw-drafts a { display: flex; align-items: center; min-height: 48px; }
</style>
"""


def show() -> None:
    """Write the page."""
    require("record")
    st.html(_RULES)
    st.title("Record a visit", anchor=False)
    folder = default_store_dir()
    if not Store(folder).exists:
        _how_to_begin(folder)
        return
    chosen = st.query_params.get("draft", "")
    if not chosen:
        start.begin(folder)
        return
    fields = Fields(folder, chosen)
    draft = fields.draft
    if draft.state == "recorded":
        finish.recorded(draft)
        return
    if draft.state == "set aside":
        _take_up(folder, chosen)
        return
    day = date.fromisoformat(str(fields.values.get("date") or date.today()))
    try:
        bay = bay_record(str(folder), str(draft.fields["unit"]), day)
    except FleetwearError as error:
        show_error(error)
        st.button("Try again", key=f"again {chosen}", type="primary", width="stretch")
        return
    forecast = forecast_of(str(bay.vehicle["unit"]))
    joints = list_joints(bay, forecast)
    if draft.state != "open":  # it was cut off while it was handed over
        finish.hand_over(fields, folder, bay, forecast, joints)
        return
    _vehicle(bay, told=str(draft.fields.get("called", "")))
    arrival(fields, bay)
    securing(fields)
    readings(fields, folder, bay, forecast, joints)
    finish.complaint(fields, joints)
    finish.summary(fields, folder, bay, forecast, joints)


def _vehicle(bay: BayRecord, *, told: str) -> None:
    vehicle = bay.vehicle
    words = ", ".join(str(vehicle[name]) for name in ("make", "model", "depot", "plate") if is_known(vehicle[name]))
    st.markdown(f"**{vehicle['unit']}** {words}")
    if told:
        st.html(f"<p>{html_text(told)}</p>")
    st.html('<p class="fw-quiet">Every field is kept as soon as it is completed. This page can be closed, and the same '
            "address opened on another tablet.</p>")  # fmt: skip


def _take_up(folder: Path, draft: str) -> None:
    st.markdown("This draft was set aside. Nothing of it was recorded.")
    if st.button("Take it up again", key=f"take up {draft}", type="primary", width="stretch"):
        Drafts(folder).set_aside(draft, aside=False, now=now())
        st.rerun()


def _how_to_begin(folder: Path) -> None:
    st.markdown("There is no store yet to record into. In a terminal, load the vehicles and their joint positions:")
    st.code("fleetwear load vehicles.csv positions.csv limits.csv", language=None)
    st.markdown("A forecast is not needed to record visits. Or try it with an invented fleet:")
    st.code("fleetwear demo", language=None)
    st.markdown("Then load this page again. This page looks for the store in:")
    st.code(outward(folder), language=None)
