"""How well a reading is known: a repeatability study's file, and one reading's uncertainty against a limit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboard.downloads import download_button
from dashboard.listing import Cell, Column, Markup, listing, said
from dashboard.messages import show as show_error
from dashboard.tasks import repeat_visits
from fleetwear.errors import FleetwearError
from fleetwear.intake.study_file import read_study_bytes
from fleetwear.measurement import analyse, decide, make_budget
from fleetwear.measurement.decision import ACCEPTED_RISK
from fleetwear.reports.inert import html_text
from fleetwear.reports.reading_study import (
    ACCEPTED_RISK_WORDS,
    anova_table,
    budget_table,
    decision_words,
    read_limit,
    refused_words,
    study_json,
    study_words,
    variation_table,
)
from fleetwear.units import factor
from fleetwear.vocabulary import READING_CAUTION

if TYPE_CHECKING:
    import pandas as pd

_MEGABYTES = 5
_UNITS = ("mm", "thou", "in", "um")
_EXAMPLE = "joint,technician,play (mm)\nJ1,P1,0.42\nJ1,P1,0.45\nJ1,P2,0.40\n..."
_ABOUT_STUDIES = (
    "Some ten joints that span what you meet, two or three people, each joint read two or three times by everyone, "
    "lever and indicator set up afresh for every stroke, in mixed order and without seeing the earlier readings. "
    "One row a stroke, as CSV or XLSX with the columns joint, technician (a code will do) and play with its unit:"
)
_ABOUT_SETUP = (
    "How far the means of two visits differ although nothing wore: from joints that were read again within days. The "
    "standard deviation between such visits, beyond what strokes and people explain."
)
_OWN = "nothing: only what I enter"
_ABOUT_SOURCE = (
    "Setup as repeat visits on record show it, for the method (and shop) chosen, and repeatability as their strokes do."
)
_ROUNDING = (
    "A setup that repeat visits tell holds rounding and differences between the people of those visits already: "
    "resolution and reproducibility entered beside it count twice, on the cautious side."
)


def show() -> None:
    """Write the page."""
    st.title("How well a reading is known")
    st.markdown(
        "How much of a reading is the joint, and how much the reading itself. A study tells it for your people and "
        "tools, and repeat visits on record tell the setup; below, one reading is held against its limit. Nothing "
        "that is entered here is stored."
    )
    _study()
    visits = repeat_visits.show(listed=_listing)
    _reading(visits)
    st.html(f'<p class="fw-quiet">{html_text(READING_CAUTION)}</p>')


def _study() -> None:
    st.subheader("A repeatability study")
    about = st.expander("How a study is made, and its file", key="about_studies", on_change="rerun")
    if about.open:
        with about:
            st.markdown(_ABOUT_STUDIES)
            st.code(_EXAMPLE, language=None)
    file = st.file_uploader(
        f"Study file (CSV or XLSX, at most {_MEGABYTES} MB)",
        type=["csv", "xlsx"],
        max_upload_size=_MEGABYTES,
        key="study_file",
    )
    limit = st.text_input("Limit, with its unit (may be left empty)", placeholder="0.5 mm", key="study_limit",
                          max_chars=30, width=300)  # fmt: skip
    if file is None:
        return
    try:
        limit_mm = read_limit(limit) if limit.strip() else None
        found = read_study_bytes(file.name, file.getvalue())
        study = analyse(found.joints, found.people, found.play_mm)
    except FleetwearError as error:
        show_error(error)
        return
    table = variation_table(study, found.play_unit, limit_mm=limit_mm)
    _listing(table, caption="The variations of the study")
    for text in study_words(study, found.play_unit, limit_mm=limit_mm):
        st.markdown(_plain(text))
    refused = refused_words(found)
    if refused:
        st.markdown(f"**{len(refused)} rows were refused, and the study stands without them:**")
        st.html("<ul>" + "".join(f"<li>{html_text(text)}</li>" for text in refused) + "</ul>")
    anova = anova_table(study)
    if anova is not None:
        with st.expander("Analysis of variance (in mm)"):
            _listing(anova.rename(columns=lambda name: name.replace("_", " ")), caption="Analysis of variance")
    download_button(
        "Download the study (JSON)",
        study_json(study, found, limit_mm=limit_mm),
        "reading_study.json",
        "application/json",
        on_click="ignore",
    )


def _reading(visits: repeat_visits.Choices) -> None:
    st.subheader("One reading against its limit")
    with st.form("reading"):
        with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
            unit = st.selectbox("Unit", _UNITS, key="unit", width=110)
            reading = _number("Reading", "reading", help_="The mean of the strokes below.")
            limit = _number("Limit", "limit")
            strokes = st.number_input("Strokes", min_value=1, max_value=1000, value=1, step=1, key="strokes", width=158)
        with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
            repeatability = _number(
                "Repeatability", "repeatability", help_="Standard deviation of strokes: see a study."
            )
            resolution = _number("Resolution", "resolution", help_="The step that the indicator is read to.")
            setup = _number("Setup", "setup", help_=_ABOUT_SETUP)
            people = _number("Reproducibility", "reproducibility", help_="Standard deviation between people.")
        source = st.selectbox(
            "Setup and repeatability, where left empty", [_OWN, *visits.names], key="setup_source", help=_ABOUT_SOURCE,
            disabled=not visits.names,
        )  # fmt: skip
        risk = st.slider("Accepted risk", 0.01, 0.25, ACCEPTED_RISK, 0.01, key="reading_risk", width=300)
        st.form_submit_button("Show", key="show_reading")
    st.html(f'<p class="fw-quiet">{html_text(ACCEPTED_RISK_WORDS)}</p>')
    scale = factor(unit, "mm")
    of_visits = visits.chosen(source, unit)
    stroke_mm = of_visits.repeatability_mm if repeatability is None and of_visits else (repeatability or 0.0) * scale
    if reading is None or limit is None or (repeatability is None and of_visits is None):
        st.markdown("Give at least a reading, its limit and the repeatability.")
        return
    told = setup is None and of_visits is not None
    try:
        budget = make_budget(
            stroke_mm,
            strokes=int(strokes),
            resolution=(resolution or 0.0) * scale,
            setup=of_visits.setup_mm if of_visits and told else (setup or 0.0) * scale,
            reproducibility=(people or 0.0) * scale,
            setup_source=of_visits.source if of_visits and told else "what was entered",
        )
        decision = decide(reading * scale, limit * scale, budget, accepted_risk=risk)
    except FleetwearError as error:
        show_error(error)
        return
    said(str(decision.verdict), " ".join(decision_words(decision, budget, unit)))
    _listing(budget_table(budget, unit), caption="The uncertainty of the reading")
    if told:
        st.markdown(_ROUNDING)
    elif setup is None:
        st.markdown(
            "No setup was given, so the uncertainty holds for this setup only; another visit can differ by more."
        )


def _number(label: str, key: str, *, help_: str | None = None) -> float | None:
    return st.number_input(label, min_value=0.0, value=None, format="%.4g", key=key, width=158, help=help_)


def _listing(table: pd.DataFrame, *, caption: str) -> None:
    """Write a table, its first column in bold and the narrow ones on one line."""
    names = [str(name) for name in table.columns]
    columns = [Column(name[:1].upper() + name[1:], bare=i == 0) for i, name in enumerate(names)]
    rows: list[list[Cell]] = [
        [Markup(f"<b>{html_text(_text(row[0]))}</b>"), *(_text(cell) for cell in row[1:])]
        for row in table.itertuples(index=False, name=None)
    ]
    listing(columns, rows, caption=caption)


def _text(cell: Any) -> str:
    return "" if cell != cell else str(cell)


def _plain(text: str) -> str:
    """Return text that Markdown shows as it is."""
    return "".join(f"\\{one}" if one in "\\`*_[]<>$#~" else one for one in text)
