"""Model check: how forecasts of the past turned out, beside two rules that need no model."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboard import pictures, snapshot
from dashboard.downloads import download_button
from dashboard.listing import Column, Markup, facts, listing
from dashboard.style import look
from fleetwear.planning.wording import say_count, say_date
from fleetwear.reports.flag_files import to_csv
from fleetwear.reports.inert import html_text
from fleetwear.reports.learnt import method_table, shape_table, weight_table
from fleetwear.reports.model_check import (
    FORECASTERS,
    NONE,
    bin_table,
    date_table,
    figure_table,
    kind_table,
    left_out,
    say_coverage,
    say_lost,
    say_scope,
)

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.backtest.records import StoredBacktest

_FIGURES = [
    Column("Figure", bare=True),
    *(Column(name, tight=True) for name in FORECASTERS.values()),
    Column("What it is", bare=True),
]
_KINDS = [
    Column("Kind of joint", bare=True),
    Column("Readings", tight=True),
    Column("Over the limit"),
    Column("Missed: forecast / share of limit / line"),
    Column("Within the 95\u00a0% interval"),
    Column("Error (CRPS)"),
]
_DATES = [
    Column("As of", tight=True, bare=True),
    Column("Readings scored"),
    Column("Over the limit"),
    Column("Scored from an earlier date"),
    Column("Replaced unread"),
    Column("Not read again yet"),
]
_BINS = [
    Column("Forecast probability, mean"),
    Column("Share over the limit"),
    Column("95\u00a0% interval"),
    Column("Over the limit"),
]
_HOW_MADE = (
    "At each date the model was fitted again with only what had happened by then. A reading, the "
    "mean of a visit\u2019s strokes, counts where the joint\u2019s last one was within its limit by that "
    "date and the next one followed in the same life, before any work; each is scored once.\n\n"
    "The forecast is told at what distance and in what way the next reading was taken, so that wear "
    "alone is checked, not how far vehicles run. Its flags here are the cases in which the probability of "
    "a reading over the limit is above the accepted risk; those of the other pages go by the play "
    "itself, at the next service.\n\n"
    "The rivals flag as many joints as the forecast does: those nearest to their limit, which is "
    "what a rule such as \u201cflag at 80\u00a0% of the limit\u201d does, and those that a straight line through "
    "the joint\u2019s own readings (least squares; the common slope of its kind where there is one "
    "reading) carries furthest. Where joints tie for the last flag, each counts with its chance."
)
_HOW_TO_READ = (
    "Each point is a bin of forecasts: how often the reading came out over the limit, against the mean probability "
    "that was forecast, with its 95\u00a0% interval (Wilson). The numbers along the top are the cases of each bin. On "
    "the dashed line, forecasts are as they should be; above it, more came than was forecast. Both axes are drawn by "
    "square roots, to give room to small probabilities. Joints of one vehicle are alike, so the intervals are a little "
    "narrow."
)


_SHAPES = [
    Column("Joints", bare=True),
    Column("Shapes by weight", broad=True),
    Column("Error of a reading"),
    Column("Slipped", tight=True),
    Column("Parts, readings", tight=True),
    Column("Spread", tight=True),
]
_METHODS = [
    Column("Joints", bare=True),
    Column("How it was read", bare=True, broad=True),
    Column("Readings", tight=True),
    Column("Reads higher (+) or lower (\u2212)", tight=True),
    Column("Noise", tight=True),
    Column("Sees every other time", tight=True),
]
_WEIGHTS = [Column("Cohort", bare=True), Column("Shapes by weight", broad=True), Column("Visits scored", tight=True)]
_HOW_LEARNT = (
    "Shapes of wear are weighted by how well each foretells visits of vehicles that it was not fitted to. The error of "
    "a reading is its standard deviation about the true play, slips left out. Spread is the factor by which visits not "
    "seen call for wider intervals (above 1) than the shapes give by themselves."
)
_HOW_METHODS = (
    "The reference is the way that most limits of the kind are stated for, or else the most frequent. How much higher "
    "or lower another way reads is told with its 95\u00a0% interval; forecasts and limits are in terms of the "
    "reference. Play is seen every other time at the play in the last column, where some readings of that way saw none."
)


def show() -> None:
    """Write the page."""
    folder, number = snapshot.current()
    st.title("Model check")
    _check(folder, number)
    _learnt(folder, number)


def _check(folder: str, number: int) -> None:
    check = snapshot.model_check(folder, number)
    if check is None:
        _none_yet()
        return
    st.markdown(f"How forecasts of the past turned out. {say_scope(check)}")
    _figures(check)
    _calibration(folder, number, check)
    st.subheader("Prediction intervals")
    st.markdown(say_coverage(check))
    st.subheader("What is lost")
    st.markdown(say_lost(check))
    _kinds(check)
    _dates(folder, number, check)


def _none_yet() -> None:
    st.markdown(
        "No check has been made of this store yet. It looks from dates of the past, fits at each with only what had "
        "happened by then, and compares what was forecast of the next readings with what was read. In a terminal:"
    )
    st.code("fleetwear backtest", language=None)
    st.markdown("It takes about as long as four forecasts. Then load this page again.")


def _figures(check: StoredBacktest) -> None:
    st.subheader("Forecast and rivals")
    listing(_FIGURES, _first_bold(figure_table(check)), caption="Figures of the forecast and of its two rivals")
    with st.expander("How this is made"):
        st.markdown(_HOW_MADE)


def _calibration(folder: str, number: int, check: StoredBacktest) -> None:
    st.subheader("Calibration")
    st.html(f'<p class="fw-quiet" style="margin:0">{_HOW_TO_READ}</p>')
    pictures.write(
        pictures.calibration_spec(folder, number, look().name),
        alt="How often readings came out over the limit, against the probability that was forecast.",
    )
    with st.expander("The same as a table"):
        listing(_BINS, _rows(bin_table(check)), caption="Calibration, bin by bin")


def _kinds(check: StoredBacktest) -> None:
    st.subheader("Kinds of joint")
    listing(_KINDS, _first_bold(kind_table(check)), caption="Figures by kind of joint")


def _dates(folder: str, number: int, check: StoredBacktest) -> None:
    st.subheader("Dates and settings")
    listing(_DATES, _first_bold(date_table(check)), caption="The dates that were looked from")
    for note in left_out(check):
        st.markdown(note)
    facts(
        [
            ("Check", f"number {check.backtest_id}, made {check.made_at:%Y-%m-%d %H:%M}"),
            ("Took", say_count(max(round(check.elapsed_seconds), 1), "second", "seconds")),
            ("Record up to", say_date(check.settings["through"])),
            ("Program", f"fleetwear {check.version}"),
        ]
    )
    st.markdown(
        "The fits are this check\u2019s own, one a date; they stand for the model, not for the fit that the other "
        "pages show. Rows that were loaded late count from the day on which they happened."
    )
    download_button(
        "Download cases (CSV)",
        lambda: to_csv(snapshot.model_check_cases(folder, number)),
        f"model_check_{check.backtest_id}.csv",
        "text/csv",
        on_click="ignore",
    )


def _learnt(folder: str, number: int) -> None:
    learnt = snapshot.learnt(folder, number)
    if learnt is None:
        return
    st.subheader("What the fit has learnt")
    st.markdown(_HOW_LEARNT)
    listing(_SHAPES, _first_bold(shape_table(learnt)), caption="Shapes of wear and their weights, by kind of joint")
    own = weight_table(learnt)
    if len(own):
        with st.expander("Cohorts that differ from their kind"):
            listing(_WEIGHTS, _first_bold(own), caption="Weights of shapes, by cohort")
    with st.expander("How methods compare"):
        st.markdown(_HOW_METHODS)
        listing(_METHODS, _first_bold(method_table(learnt)), caption="Methods of measuring, by kind of joint")


def _rows(frame: pd.DataFrame) -> list[list[Any]]:
    """Return the cells; one without a figure is left empty."""
    return [[str(cell).replace(NONE, "") for cell in row] for row in frame.itertuples(index=False, name=None)]


def _first_bold(frame: pd.DataFrame) -> list[list[Any]]:
    return [[Markup(f"<b>{html_text(row[0])}</b>"), *row[1:]] for row in _rows(frame)]
