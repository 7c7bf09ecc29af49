"""The form that records what was done about a flag, by way of the store's inbox."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from dashboard import snapshot, turns
from dashboard.people import may
from fleetwear.planning.actions import record_action
from fleetwear.reports.inert import html_text
from fleetwear.vocabulary import Action

if TYPE_CHECKING:
    from fleetwear.planning.ahead import Plan
    from fleetwear.planning.ahead.material import PlanChoices


def show(folder: str, number: int, choices: PlanChoices, plan: Plan) -> None:
    """Write the form; what it records is seen on this page at once, and everywhere after the next publication."""
    if not may("record"):
        st.markdown("Recording what was done needs the role *record*.")
        return
    joints = choices.joints
    first = list(dict.fromkeys(plan.crossing["unit"].astype(str)))
    units = [*first, *sorted(set(joints["unit"]) - set(first))]
    with st.expander("Record what was done", expanded=False, key="action_form"):
        with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
            unit = st.selectbox("Vehicle", units, key="act_unit", width=120)
            own = joints.loc[joints["unit"] == unit, "joint"].tolist()
            leading = plan.crossing.loc[plan.crossing["unit"] == unit, "joint"].astype(str).tolist()
            named = [*dict.fromkeys(leading), *(joint for joint in own if joint not in leading)]
            joint = st.selectbox("Joint", named, key="act_joint", width=290)
            action = st.selectbox("Action", [str(word) for word in Action], key="act_action", width=170)
            on = st.date_input("Day", date.today(), max_value=date.today(), key="act_day", width=140)
            by = st.text_input("By", key="act_by", max_chars=40, width=120)
            note = st.text_input("Note", key="act_note", max_chars=200, width=290)
            pressed = st.button("Record", key="act_record")
        if pressed and unit and joint and isinstance(on, date):
            _record(folder, unit, joint, action, on, by=by, note=note)
            snapshot.latest_actions.clear()
            st.rerun()
    told = st.session_state.pop("recorded", None)
    if told:
        st.html(f'<p class="fw-said" role="status">{html_text(told)}</p>')
    fresh = snapshot.latest_actions(folder, number, choices.run.forecast_id)
    if fresh is None:
        st.markdown("The store is being written; what was recorded since this forecast is shown when that is over.")


def _record(folder: str, unit: str, joint: str, action: str, on: date, *, by: str, note: str) -> None:
    turns.give_up()  # the store may be written to by others for a while
    new = record_action(
        Path(folder), unit=unit, joint=joint, action=action, on=on, today=date.today(), by=by.strip(),
        note=note.strip(), recorded_at=datetime.now(UTC).replace(tzinfo=None),
    )  # fmt: skip
    state = "Recorded" if new else "On record already"
    told = f"{state}: {unit}, {joint}, {action} on {on:%Y-%m-%d}. It is in everybody's list after the next publication"
    if action == Action.REPLACED:
        told += "; load the replacement in a work file too, only that starts a new life of the joint"
    st.session_state["recorded"] = told + "."
