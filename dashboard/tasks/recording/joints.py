"""The joints: what is due, the readings of the one that is open, and what is said of them at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fleetwear.planning.fresh_reading import say_strokes
from fleetwear.planning.wording import begin_sentence
from fleetwear.recording import answer_reading
from fleetwear.recording.form import (
    MOST_STROKES,
    STROKES,
    clash,
    instrument_of,
    is_read_twice,
    play_unit,
    reading_of,
    readings_of,
    run_km_of,
    series_field,
    strokes_of,
    visit_date,
    work_field,
    work_of,
)
from fleetwear.recording.visit import RENEWING
from fleetwear.reports.inert import html_text
from fleetwear.units import factor
from fleetwear.vocabulary import Indicator, Method, ReadAt, Result, Support, Timing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from dashboard.tasks.recording.fields import Fields
    from fleetwear.planning.fresh_reading import FreshAnswer
    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.recording import BayJoint, BayRecord, BaySeries, JointReading

_UNITS = ("mm", "thou", "in", "um")
_RESULTS = (str(Result.NONE_SEEN), str(Result.SEEN))
_WAYS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("method", "Method", tuple(Method)),
    ("support", "The joint is", tuple(Support)),
    ("read_at", "Read at", tuple(ReadAt)),
    ("indicator", "Read with", tuple(Indicator)),
)
_TIMINGS = (str(Timing.BEFORE_WORK), str(Timing.AFTER_WORK))
_CLOSED = "none"


def readings(fields: Fields, folder: Path, bay: BayRecord, forecast: VehicleRecord | None,
             joints: Sequence[BayJoint]) -> None:  # fmt: skip
    """Write the joints, those that are due first, with the form of the one that is open."""
    st.subheader("Joints", anchor=False)
    if not joints:
        model = bay.vehicle["model"]
        st.markdown(f"No joint positions are on record for the model {model}: load a positions file. "
                    "The visit can be recorded without readings.")  # fmt: skip
        return
    if forecast is None:
        st.markdown("There is no forecast of this vehicle yet: readings are held against limits only.")
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        fields.choice("play_unit", "Play is written in", _UNITS, default=str(bay.vehicle["play_unit"]), width=150)
        fields.number("step", "Step of the indicator", placeholder="if known", width=190)
        fields.choice("instrument", "Number of the indicator", bay.instruments, placeholder="its own, if it has one",
                      accept_new_options=True, width=230)  # fmt: skip
    st.html('<p class="fw-quiet">A stroke is a full push and pull. The mean of the strokes is the play.</p>')
    opened = str(fields.values.get("open") or joints[0].position_id)
    due = [joint for joint in joints if joint.is_due]
    rest = [joint for joint in joints if not joint.is_due]
    _group(fields, folder, bay, forecast, joints, due, opened, title="")
    if rest:
        shown = any(str(joint.position_id) == opened or _is_read(fields, joint) for joint in rest) or not due
        with st.expander(f"{len(rest)} joints of which nothing is due", expanded=shown):
            _group(fields, folder, bay, forecast, joints, rest, opened, title="")


def _group(fields: Fields, folder: Path, bay: BayRecord, forecast: VehicleRecord | None, joints: Sequence[BayJoint],
           shown: Sequence[BayJoint], opened: str, *, title: str) -> None:  # fmt: skip
    if title:
        st.markdown(title)
    for joint in shown:
        is_open = str(joint.position_id) == opened
        mark = "close" if is_open else "read"
        if st.button(_row(fields, joint), key=f"row {fields.draft.draft} {joint.position_id}", width="stretch",
                     icon=":material/expand_less:" if is_open else ":material/expand_more:", help=None,
                     type="secondary"):  # fmt: skip
            fields.put(folder, open=_CLOSED if mark == "close" else str(joint.position_id))
            st.rerun()
        if is_open:
            with st.container(border=True):
                _joint(fields, bay, forecast, joint)
                _next(fields, folder, joints, joint)


def _row(fields: Fields, joint: BayJoint) -> str:
    """Return what stands on the button of a joint."""
    name = f"**{begin_sentence(joint.joint)}**"
    unit, work = str(fields.values.get("play_unit") or ""), work_of(fields.values, joint)
    found = {series.direction: readings_of(fields.values, joint, series.direction) for series in joint.series}
    entered = [
        f"{say_reading(reading)} {say_strokes_written(reading, unit)}" for each in found.values() for reading in each
    ]
    if work is not None:
        entered.append(work.work)
    if entered:
        missing = [
            direction
            for direction, readings in found.items()
            if not any(work is None or reading.timing == Timing.AFTER_WORK for reading in readings)
        ]  # what was read before work is of what was there before
        left = f"; not tested: {', '.join(missing)}" if missing else ""
        return f"{name}: {'; '.join(entered)}{left}"
    return f"{name}: {joint.why}" if joint.why else name


def say_reading(reading: JointReading) -> str:
    """Return which reading of its joint it is: "in-out", "in-out after work"."""
    return f"{reading.direction} {reading.timing}" if reading.timing == Timing.AFTER_WORK else reading.direction


def say_strokes_written(reading: JointReading, unit: str) -> str:
    """Return what was read, as it was written: "0.42 · 0.43 mm", "none seen"."""
    return f"{' · '.join(reading.strokes)} {unit}" if reading.strokes else reading.result


def _is_read(fields: Fields, joint: BayJoint) -> bool:
    return any(readings_of(fields.values, joint, series.direction) for series in joint.series)


def _joint(fields: Fields, bay: BayRecord, forecast: VehicleRecord | None, joint: BayJoint) -> None:
    for series in joint.series:
        _series(fields, bay, forecast, joint, series)
    _work(fields, bay, forecast, joint)
    if len(joint.series) > 1:
        st.html('<p class="fw-quiet">A joint tested in one load direction only has not been cleared. What is left '
                "empty is recorded as not tested.</p>")  # fmt: skip


def _series(fields: Fields, bay: BayRecord, forecast: VehicleRecord | None, joint: BayJoint, series: BaySeries, *,
            after_work: bool = False) -> None:  # fmt: skip
    """Write the fields of one reading, and what is said of it; one after work is loaded and read as before it."""
    at, direction = joint.position_id, series.direction
    name = f"{begin_sentence(joint.joint)}, loaded {direction}{', after the work' if after_work else ''}"
    last = f"Last {series.last}" if series.last else "Never tested in this load direction"
    known = "Read it again: what was read before tells nothing of what is in place now" if after_work else last
    st.html(f'<p class="fw-series"><b>{html_text(name)}</b><br>'
            f'<span class="fw-quiet">{html_text(known)}; {html_text(series.limit)}</span></p>')  # fmt: skip
    unit = play_unit(fields.values, bay)
    given = len(strokes_of(fields.values, at, direction, after_work=after_work))
    with st.container(horizontal=True, vertical_alignment="bottom", gap="xsmall"):
        for number in range(1, max(STROKES, min(given + 1, MOST_STROKES)) + 1):
            fields.number(
                series_field(at, direction, f"s{number}", after_work=after_work), f"Stroke {number}, {unit}", width=86
            )
    when = f"{direction}, after work" if after_work else direction
    fields.one_of(
        series_field(at, direction, "result", after_work=after_work), f"Or, without a number ({when})", _RESULTS,
        format_func=str.capitalize,
    )  # fmt: skip
    if not after_work:
        _way(fields, joint, series)
    with st.container():  # always there: what comes after keeps its place, and what is being typed there is kept
        _answer(fields, bay, forecast, joint, direction, after_work=after_work)


def _work(fields: Fields, bay: BayRecord, forecast: VehicleRecord | None, joint: BayJoint) -> None:
    """Write what is done to the joint at this visit, and the readings after it."""
    done, part, reason = (work_field(joint.position_id, name) for name in ("done", "part", "reason"))
    chosen = fields.one_of(done, "Work on this joint at this visit", RENEWING, format_func=str.capitalize)
    with st.container():  # always there, so that what comes after keeps its place
        if chosen or fields.values.get(part) or fields.values.get(reason):
            with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
                fields.text(part, "Part number", placeholder="if a part was fitted", max_chars=60, width=210)
                fields.text(reason, "Reason", placeholder="for example: over its limit", max_chars=200, width=300)
        for series in joint.series:
            if is_read_twice(fields.values, joint, series.direction):
                _series(fields, bay, forecast, joint, series, after_work=True)


def _way(fields: Fields, joint: BayJoint, series: BaySeries) -> None:
    """Write how the joint is loaded and read; as last time unless it is changed."""
    names = [series_field(joint.position_id, series.direction, name) for name, _, _ in _WAYS]
    before = [series.way[name] for name, _, _ in _WAYS]
    now = [fields.values.get(name, was) for name, was in zip(names, before, strict=True)]
    places = {"read_at": "read at the ", "indicator": "with the "}
    words = ", ".join(f"{places.get(name, '')}{word}" for (name, _, _), word in zip(_WAYS, now, strict=True) if word)
    number = instrument_of(fields.values, now[-1])
    if number:
        words = f"{words} {number}" if now[-1] else ", ".join(filter(None, (words, f"with indicator {number}")))
    label = f"How ({series.direction}): as last time" if any(before) and now == before else f"How ({series.direction})"
    st.html(f'<p class="fw-quiet">{html_text(words or "How it is loaded and read is not said yet.")}</p>')
    with (
        st.expander(label, expanded=not any(before)),
        st.container(horizontal=True, vertical_alignment="bottom", gap="small"),
    ):
        for (_, asked, options), field, was in zip(_WAYS, names, before, strict=True):
            fields.choice(field, f"{asked} ({series.direction})", [str(option) for option in options], default=was,
                          placeholder="not said", width=200)  # fmt: skip
        if not is_read_twice(fields.values, joint, series.direction):
            fields.choice(series_field(joint.position_id, series.direction, "timing"), f"Taken ({series.direction})",
                          _TIMINGS, default=_TIMINGS[0], width=200)  # fmt: skip


def _answer(fields: Fields, bay: BayRecord, forecast: VehicleRecord | None, joint: BayJoint, direction: str, *,
            after_work: bool) -> None:  # fmt: skip
    reading = reading_of(fields.values, joint, direction, after_work=after_work)
    if reading is None:
        return
    answer, strokes = answer_of(fields, bay, forecast, joint, reading), reading.strokes
    scale = factor(play_unit(fields.values, bay), "mm")
    unit = play_unit(fields.values, bay)
    spread = f"{say_strokes([float(one) * scale for one in strokes], unit)}. " if strokes else ""
    both = (
        "Strokes and a word are both given: the strokes count. Take one of them away. "
        if clash(fields.values, joint.position_id, direction, after_work=after_work)
        else ""
    )
    st.html(f'<p class="fw-said" role="status"><b>{html_text(begin_sentence(str(answer.says)))}</b><br>'
            f"{html_text(both)}{html_text(begin_sentence(spread))}{html_text(answer.reason)}</p>")  # fmt: skip


def answer_of(
    fields: Fields, bay: BayRecord, forecast: VehicleRecord | None, joint: BayJoint, reading: JointReading
) -> FreshAnswer:
    """Return what is said at once of a reading."""
    return answer_reading(
        bay,
        forecast,
        joint,
        reading,
        play_unit=play_unit(fields.values, bay),
        run_km=run_km_of(fields.values, bay),
        on_date=visit_date(fields.values),
        step=fields.values.get("step"),
    )


def _next(fields: Fields, folder: Path, joints: Sequence[BayJoint], joint: BayJoint) -> None:
    """Write the button that opens the next joint that is not read yet, those that are due first."""
    order = [*joints[joints.index(joint) + 1 :], *joints[: joints.index(joint)]]
    unread = [one for one in order if not _is_read(fields, one)]
    after = next((one for one in unread if one.is_due), unread[0] if unread else None)
    label = "Close: every joint is read" if after is None else f"Next: {after.joint}"
    if st.button(label, key=f"next {fields.draft.draft} {joint.position_id}", type="primary", width="stretch"):
        fields.put(folder, open=_CLOSED if after is None else str(after.position_id))
        st.rerun()
