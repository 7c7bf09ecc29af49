"""Vehicle: what is said of one vehicle, every joint's readings and growth, and its history."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboard import pictures, snapshot
from dashboard.listing import (
    Cell,
    Column,
    Markup,
    facts,
    listing,
    probability,
    said,
    vehicle_list_link,
    window,
)
from dashboard.style import look
from dashboard.tasks.one_vehicle_downloads import offer_maintenance_record, offer_page
from dashboard.tasks.one_vehicle_history import list_visits, list_work
from dashboard.tasks.vehicle_checks import show_coverage, show_symptoms, show_wheels
from fleetwear.errors import FleetwearError
from fleetwear.planning.actions import say_action
from fleetwear.planning.wording import (
    is_known,
    say_date,
    say_dates,
    say_distance,
    say_distances,
    say_growth,
    say_play,
    say_probability,
)
from fleetwear.reports.inert import html_text, markdown_text, on_screen
from fleetwear.reports.joint_history import JointHistory

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleetwear.planning.vehicle import VehicleRecord

_POINTS = ("05", "50", "95")
_FIRST = 6
"""Charts that are drawn before the reader asks for all."""


def show() -> None:
    """Write the page."""
    folder, number = snapshot.current()
    st.html(vehicle_list_link().html)
    heading = st.container()
    name = st.text_input(
        "Unit number, VIN or plate",
        key="unit",
        bind="query-params",
        placeholder="for example V101",
        max_chars=60,
        width=330,
    ).strip()
    if not name:
        heading.title("Vehicle")
        units = ", ".join(markdown_text(unit, 60) for unit in snapshot.fleet(folder, number).first_units)
        st.markdown(f"Write the unit number, VIN or plate of a vehicle. The most pressing now: {units}.")
        return
    try:
        record = snapshot.vehicle(folder, number, name)
    except FleetwearError:
        heading.title("Vehicle")
        raise
    vehicle = record.vehicle
    heading.title(f"Vehicle {markdown_text(vehicle['unit'], 60)}")
    st.markdown(markdown_text(_described(vehicle)))
    if record.told:
        st.markdown(markdown_text(record.told))
    said(str(vehicle["outcome"]), str(vehicle["reason"]))
    _facts(record)
    histories = snapshot.histories(folder, number, name)
    offer_page(record, histories)
    _untested(histories)
    show_coverage(record)
    show_symptoms(record)
    show_wheels(record)
    _charts(histories, folder, number, name)
    _joint_table(record, histories)
    list_visits(record)
    list_work(record)
    offer_maintenance_record(folder, number, name)


def _described(vehicle: pd.Series) -> str:
    parts = [vehicle["make"], vehicle["model"], vehicle["model_year"]]
    words = " ".join(str(part) for part in parts if is_known(part))
    places = [f"depot {vehicle['depot']}" if is_known(vehicle["depot"]) else "", str(vehicle["duty"] or "")]
    return ", ".join(part for part in (words, *places) if part)


def _facts(record: VehicleRecord) -> None:
    vehicle, run = record.vehicle, record.run
    unit = str(vehicle["distance_unit"])
    overdue = ", overdue" if bool(vehicle["overdue"]) else ""
    dates = [vehicle[f"next_service_date_{point}"] for point in _POINTS]
    odometer = [vehicle[f"next_service_odometer_{point}"] for point in _POINTS]
    now = [vehicle[name] for name in ("odometer_now_lower", "odometer_now", "odometer_now_upper")]
    meter = "Hub meter" if vehicle["distance_source"] == "hub meter" else "Odometer"
    pairs: list[tuple[str, Cell]] = [
        (f"Next service, 5 to 95\u00a0%{overdue}", window(say_dates(dates[0], dates[1], dates[2]))),
        (
            f"{meter} at next service, 5 to 95\u00a0%",
            window(say_distances(odometer[0], odometer[1], odometer[2], unit)),
        ),
        (
            f"{meter} on {run.as_of:%Y-%m-%d}, 5 to 95\u00a0%",
            window(say_distances(now[0], now[1], now[2], unit)),
        ),
        ("Distance a day", say_distance(vehicle["km_per_day"], unit)),
        (
            "Probability that any joint is over its limit at the next service",
            say_probability(vehicle["p_any_over_next"]),
        ),
        ("VIN or serial number", _or_unknown(vehicle["vin"])),
        ("Plate", _or_unknown(vehicle["plate"])),
        ("Tyres", _or_unknown(vehicle["tyre_size"])),
        ("Owner", _or_unknown(vehicle["owner"])),
        ("Forecast", f"number {run.forecast_id}, as of {run.as_of:%Y-%m-%d}"),
    ]
    if vehicle["distance_note"]:
        pairs.insert(4, ("How the distance is known", str(vehicle["distance_note"])))
    facts(pairs)


def _or_unknown(value: object) -> str:
    return str(value) if is_known(value) else "not on record"


def _untested(histories: list[JointHistory]) -> None:
    names = [history.title for history in histories if history.fact["n_visits"] == 0]
    if names:
        words = markdown_text("; ".join(names))
        st.markdown(
            f"**Not tested since {'they were' if len(names) > 1 else 'it was'} fitted:** {words}. "
            "A joint tested in one load direction only has not been cleared."
        )


def _charts(histories: list[JointHistory], folder: str, number: int, name: str) -> None:
    st.subheader("Joints")
    drawn = [at for at, history in enumerate(histories) if history.is_read]
    if not drawn:
        st.markdown("No joint of this vehicle has a reading yet.")
        return
    key = st.expander("How to read these pictures", key="key_of_marks", on_change="rerun")
    if key.open:
        with key:
            pictures.write(pictures.key_spec(look().name), alt="Key of the marks in the pictures")
    more = len(drawn) - _FIRST
    label = f"Draw all {len(drawn)}, not only the {_FIRST} most pressing"
    if more > 0 and not st.toggle(label, key="all", bind="query-params"):
        drawn = drawn[:_FIRST]
    for start in range(0, len(drawn), 2):
        for column, at in zip(st.columns(2, gap="large"), drawn[start : start + 2], strict=False):
            with column:
                _chart(histories[at], at, folder, number, name)


def _chart(history: JointHistory, at: int, folder: str, number: int, name: str) -> None:
    fact = history.fact
    outcome = str(fact["outcome"])
    chance = probability(fact["p_over_next"], look(), otherwise="no limit to compare with").html
    st.html(
        f'<p style="margin:0"><b>{html_text(history.title)}</b><br>{html_text(outcome[:1].upper() + outcome[1:])}. '
        f"Over at next service: {chance}</p>"
    )
    pictures.write(
        pictures.play_spec(folder, number, name, at, look().name),
        key=f"play-{fact['position_id']}-{fact['direction']}",
        alt=on_screen(f"Readings and growth of the {history.title}. {fact['reason']}"),
    )
    said_of = " ".join(text for text in (str(fact["reason"]), history.pace) if text)
    st.html(f'<p class="fw-quiet" style="margin:0 0 1.2rem">{html_text(said_of)}</p>')


def _joint_table(record: VehicleRecord, histories: list[JointHistory]) -> None:
    unit = str(record.vehicle["distance_unit"])
    st.subheader("Joints in figures")
    columns = [
        Column("Joint, load direction", bare=True, broad=True),
        Column("Last reading"),
        Column("Share of limit", tight=True),
        Column(f"Growth per 10,000 {unit} (95 %)"),
        Column("Over at next service", tight=True),
        Column("Crosses its limit, date (5 to 95\u00a0%)"),
        Column("Crosses its limit, odometer (5 to 95\u00a0%)"),
        Column("Mind"),
    ]
    words = f"Crossings later than {record.run.settings.horizon_years:g} years lie beyond the horizon."
    st.html(f'<p class="fw-quiet" style="margin:0">{words}</p>')
    notes: list[str] = []
    rows = [_figures(history, unit, notes) for history in histories]
    listing(columns, rows, caption="Joints, the most pressing first")
    if notes:
        items = "".join(f"<li>{html_text(note[:1].upper() + note[1:])}</li>" for note in notes)
        st.html(f'<ol class="fw-quiet fw-notes">{items}</ol>')


def _figures(history: JointHistory, unit: str, notes: list[str]) -> list[Cell]:
    fact = history.fact
    play = history.play_unit
    last = "not read" if not is_known(fact["last_date"]) else (
        f"{say_play(fact['last_play_mm'], play) if is_known(fact['last_play_mm']) else fact['last_result']}, "
        f"{say_date(fact['last_date'])}"
    )  # fmt: skip
    outcome = str(fact["outcome"])
    said_and_done = "; ".join(part for part in (outcome, say_action(fact)) if part)
    name = Markup(f"<b>{html_text(history.title)}</b><br>{html_text(said_and_done[:1].upper() + said_and_done[1:])}")
    growth = [fact[column] for column in ("growth_mm_per_km", "growth_lower", "growth_upper")]
    minded = [
        _noted(word, str(fact[column]), notes)
        for column, word in (
            ("indicative", "indicative"),
            ("question", "in question"),
            ("doubt", "with care"),
        )
        if fact[column]
    ]
    limited = history.limit is not None
    share = f"{float(fact['share_of_limit']):.0%} of {say_play(fact['limit_mm'], play)}"
    return [
        name,
        window(last),
        share if is_known(fact["share_of_limit"]) else history.limit_label,
        window(say_growth(growth, play, unit)),
        probability(fact["p_over_next"], look()),
        _crossing([fact[f"crossing_date_{point}"] for point in _POINTS], say_date, limited=limited),
        _crossing(
            [fact[f"crossing_odometer_{point}"] for point in _POINTS],
            lambda km: say_distance(km, unit),
            limited=limited,
            placed=fact["distance_source"] != "none",
        ),
        "; ".join(minded),
    ]


def _noted(word: str, sentence: str, notes: list[str]) -> str:
    """Return the word with the number of its sentence among the notes, which it joins where it is new."""
    full = sentence if sentence.startswith(word) else f"{word}: {sentence}"
    full = full if full.endswith((".", "?")) else f"{full}."
    if full not in notes:
        notes.append(full)
    return f"{word} (note {notes.index(full) + 1})"


def _crossing(points: list[object], word: Callable[[object], str], *, limited: bool, placed: bool = True) -> Cell:
    """Return when a limit is crossed; a point without a value lies beyond the horizon.

    ``limited`` says whether there is a limit, ``placed`` whether the vehicle has a meter to tell it by.
    """
    if not limited or not placed:
        return Markup(f'<span class="fw-quiet">{"no odometer" if limited else "no limit"}</span>')
    if not is_known(points[0]):
        return "beyond the horizon"
    low, middle, high = (word(value) if is_known(value) else "beyond the horizon" for value in points)
    return window(f"{middle} ({low} to {high})")
