"""The end of a visit: complaint, note, what will be recorded, recording it, and what was recorded."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboard import turns
from dashboard.listing import Column, Markup, listing
from dashboard.tasks.recording.fields import now
from dashboard.tasks.recording.joints import answer_of, say_reading, say_strokes_written
from dashboard.tasks.recording.known import forget
from fleetwear.planning.wording import begin_sentence, say_count
from fleetwear.recording import Drafts, record_draft, untested
from fleetwear.recording.form import ROAD_TEST, play_unit, readings_of, still_missing, visit_of
from fleetwear.reports.inert import html_text
from fleetwear.vocabulary import READING_CAUTION, Secured, Timing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from dashboard.tasks.recording.fields import Fields
    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.recording import BayJoint, BayRecord, Draft, Visit

_COLUMNS = [Column("Joint, load direction", bare=True), Column("Reading"), Column("Said at once", broad=True)]


def complaint(fields: Fields, joints: Sequence[BayJoint]) -> None:
    """Write the fields of the complaint, the road test and the note."""
    st.subheader("Complaint and road test", anchor=False)
    fields.text(
        "complaint", "What the driver says", placeholder="for example: clunk from the left front", max_chars=300
    )
    tested = fields.one_of("road_test", "The road test", list(ROAD_TEST), format_func=str.capitalize)
    with st.container():  # always there, so that the note keeps its place
        if tested == "confirmed":
            names = [joint.joint for joint in joints]
            fields.choice("symptom_joint", "At which joint", names, placeholder="not known", width=420)
    fields.long_text("note", "Note", placeholder="anything else worth keeping", max_chars=2000, height=96)


def summary(fields: Fields, folder: Path, bay: BayRecord, forecast: VehicleRecord | None,
            joints: Sequence[BayJoint]) -> None:  # fmt: skip
    """Write what will be recorded, what is not tested, and the button that records it."""
    st.subheader("Record", anchor=False)
    visit = visit_of(fields.values, bay, joints)
    told = _told(fields, bay, forecast, joints, visit)
    said = told["answers"]
    if said:
        listing(_COLUMNS, [[Markup(f"<b>{html_text(row[0])}</b>"), *row[1:]] for row in said], caption="What was read")
    else:
        st.markdown("No joint has been read yet.")
    _write(told["lines"])
    missing = still_missing(fields.values, bay, joints)
    if missing:
        st.markdown(f"Before it can be recorded, give {', '.join(missing)}.")
    pressed = st.button(
        "Record the visit", key=f"record {fields.draft.draft}", type="primary", width="stretch", disabled=bool(missing)
    )
    if st.button("Set this draft aside", key=f"aside {fields.draft.draft}", width="stretch"):
        Drafts(folder).set_aside(fields.draft.draft, aside=True, now=now())
        st.query_params.clear()
        st.rerun()
    if pressed:
        hand_over(fields, folder, bay, forecast, joints)


def hand_over(fields: Fields, folder: Path, bay: BayRecord, forecast: VehicleRecord | None,
              joints: Sequence[BayJoint]) -> None:  # fmt: skip
    """Record the visit, close the draft and show what was said."""
    draft, visit = fields.draft.draft, visit_of(fields.values, bay, joints)
    told = _told(fields, bay, forecast, joints, visit)
    turns.give_up()  # the store may be written to by others for a while
    with st.spinner("Recording"):
        found = record_draft(folder, draft, visit, today=date.today(), now=now())
        Drafts(folder).close(
            draft,
            told
            | {
                "entry": found.entry,
                "taken": found.taken,
                "refused": list(found.refused),
                "questions": found.questions,
                "readings": sum(max(len(one.strokes), 1) for one in visit.readings),
                "work": len(visit.work),
            },
            now=now(),
        )
    forget()
    st.rerun()


def _told(fields: Fields, bay: BayRecord, forecast: VehicleRecord | None, joints: Sequence[BayJoint],
          visit: Visit) -> dict[str, Any]:  # fmt: skip
    """Return what is said of the visit: an answer a reading, the work, and what is not tested or not confirmed."""
    lines = [*_work(visit), *_instruments(visit), *_lines(visit, bay)]
    not_done = [str(word) for word in Secured if str(word) not in visit.secured]
    if not_done:
        lines.append(f"Not confirmed: {', '.join(not_done)}.")
    return {"answers": _answers(fields, bay, forecast, joints), "lines": lines}


def _answers(fields: Fields, bay: BayRecord, forecast: VehicleRecord | None,
             joints: Sequence[BayJoint]) -> list[list[str]]:  # fmt: skip
    unit = play_unit(fields.values, bay)
    return [
        [
            f"{begin_sentence(joint.joint)}, {say_reading(reading)}",
            say_strokes_written(reading, unit),
            str(answer_of(fields, bay, forecast, joint, reading).says),
        ]
        for joint in joints
        for series in joint.series
        for reading in readings_of(fields.values, joint, series.direction)
    ]


def _work(visit: Visit) -> list[str]:
    """Return what was done to joints, in sentences, and what was read after work that is not recorded here."""
    lines = []
    for done in visit.work:
        part = f"part {done.part_number}" if done.part_number else ""
        told = "; ".join(filter(None, (part, done.reason)))
        lines.append(f"{begin_sentence(done.work)}: {done.joint}{f' ({told})' if told else ''}.")
    worked = {done.joint for done in visit.work}
    after = [one.joint for one in visit.readings if one.timing == Timing.AFTER_WORK and one.joint not in worked]
    if after:
        named = ", ".join(dict.fromkeys(after))
        lines.append(f"Read after work, but no work is recorded here: {named}. Say what was done, or load it.")
    return lines


def _instruments(visit: Visit) -> list[str]:
    """Return which indicators the readings were taken with, by their numbers, in a sentence."""
    used = [reading.instrument for reading in visit.readings if reading.instrument]
    but = ", but for what was read by eye" if len(used) < len(visit.readings) else ""
    return [f"Read with indicator {', '.join(dict.fromkeys(used))}{but}."] if used else []


def _lines(visit: Visit, bay: BayRecord) -> list[str]:
    """Return what is not tested, in sentences."""
    left = untested(visit, bay.kinds)
    lines = []
    if left.half_tested:
        named = "; ".join(f"{joint}, {direction}" for joint, direction in left.half_tested)
        lines.append(
            f"Not tested at this visit: {named}. A joint tested in one load direction only has not been cleared."
        )
    if left.not_read:
        lines.append(f"Not read at all: {say_count(len(left.not_read), 'joint', 'joints')} of {len(bay.kinds)}.")
    if left.not_read_since_work:
        lines.append(
            f"Not read since the work: {', '.join(left.not_read_since_work)}. What is in place now has not been tested."
        )
    return lines or ["Every joint is read in every load direction that tests it."]


def _write(lines: Sequence[str]) -> None:
    if lines:
        st.html("".join(f"<p>{html_text(line)}</p>" for line in lines))


def recorded(draft: Draft) -> None:
    """Write what was recorded, and how to go on."""
    told = draft.told
    unit = str(draft.fields.get("unit", ""))
    st.subheader(f"The visit of {unit} is recorded", anchor=False)
    count = say_count(int(told["readings"]), "reading", "readings")
    if told.get("work"):
        count = f"{count} and work on {say_count(int(told['work']), 'joint', 'joints')}"
    if not told["taken"]:
        what = (f"The visit with {count} is safe on the disk. The store is busy just now: the next load takes it in. "
                "There is nothing more to do here.")  # fmt: skip
    elif told["refused"]:
        what = f"The visit with {count} is safe on the disk, but rows of it could not be taken in:"
    else:
        what = f"The visit with {count} is in the store. The next forecast counts it."
    st.html(f'<p class="fw-said" role="status"><b>Saved</b><br>{html_text(what)}</p>')
    if told["refused"]:
        st.html("<ul>" + "".join(f"<li>{html_text(text)}</li>" for text in told["refused"]) + "</ul>")
        st.markdown("They stand in quarantine as they were given, with these reasons, until a correction is loaded.")
    if told["questions"]:
        st.markdown(f"{say_count(told['questions'], 'reading looks', 'readings look')} implausible and is asked about.")
    st.html(f'<p class="fw-quiet">Inbox entry {html_text(str(told["entry"]))}</p>')
    _write(told["lines"])
    if told["answers"]:
        rows = [[Markup(f"<b>{html_text(row[0])}</b>"), *row[1:]] for row in told["answers"]]
        with st.expander("What was read"):  # closed, so that what was saved is in sight on a phone
            listing(_COLUMNS, rows, caption="What was read")
    st.html(f'<p class="fw-quiet">{html_text(READING_CAUTION)}</p>')
    if st.button("Record another visit", key=f"another {draft.draft}", type="primary", width="stretch"):
        st.query_params.clear()
        st.rerun()
