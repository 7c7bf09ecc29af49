"""Trends: how fast play grows, how parts differ, and by when they cross their limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboard import pictures, snapshot
from dashboard.downloads import download_button
from dashboard.listing import Column, Markup, listing
from dashboard.style import look
from fleetwear.forecast.effects import EFFECTS_CAUTION
from fleetwear.reports import trend_words as words
from fleetwear.reports.effect_tables import short_effect_table
from fleetwear.reports.flag_files import to_csv
from fleetwear.reports.inert import html_text
from fleetwear.reports.trend_html import trend_html
from fleetwear.reports.trend_pdf import trend_pdf
from fleetwear.reports.trend_sheet import cohort_title
from fleetwear.reports.trend_tables import (
    HEADS,
    TrendUnits,
    growth_table,
    lifetime_table,
    say_parts,
    trend_table,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from fleetwear.reports.charts import Spec
    from fleetwear.trends import ThinGroup, TrendAnswer

_EVERY_KIND = "every kind"
_NAMED = {"Kind of joint", *HEADS.values()}
_BROAD = {"Limit", "Comparison (95\u00a0%)"}
_FIRST = 6
"""Curves that are drawn before the reader asks for all."""
_FIRST_GROUPS = 4
"""Likewise of shares over the limit."""


def show() -> None:
    """Write the page."""
    folder, number = snapshot.current()
    everything = snapshot.trends(folder, number)
    run = everything.run
    st.title("Trends")
    st.markdown(
        f"How fast play grows, how parts differ, and by when they cross their limits. As of **{run.as_of:%Y-%m-%d}**, "
        f"forecast number {run.forecast_id}, fit number {run.fit_id}, made {run.made_at:%Y-%m-%d %H:%M}."
    )
    if not everything.kinds:
        st.markdown("No part of known origin has a reading yet, so there is no trend to tell.")
        return
    by, kind, units = _choose(everything.kinds, everything.units)
    told = snapshot.trend_answer(folder, number, by=by, kind=kind)
    st.html('<p class="fw-said">' + "<br>".join(html_text(one) for one in words.headlines(told, units)) + "</p>")
    _offer(told, units)
    _growth(told, units, folder, number)
    _curves(told, units, folder, number)
    _lifetimes(told, units, folder, number)
    _comparisons(told)
    _thin(told)
    st.subheader("How this is made")
    for text in (words.METHOD, words.what_counts(told), *words.left_out(told)):
        st.markdown(text)


def _choose(kinds: Sequence[str], units: Sequence[tuple[str, str]]) -> tuple[str, str | None, TrendUnits]:
    """Return what the trends are told by, of which kind, in which units."""
    by_name = {name: factor for factor, name in HEADS.items()}
    in_units = {f"{play}, {distance}": TrendUnits(play, distance) for play, distance in units}
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        by = st.selectbox("By", list(by_name), key="by", bind="query-params", width=158)
        kind = st.selectbox("Kind", [_EVERY_KIND, *kinds], key="kind", bind="query-params", width=220)
        unit = st.selectbox("Units", list(in_units), key="units", bind="query-params", width=120)
    return by_name[by], None if kind == _EVERY_KIND else kind, in_units[unit]


def _offer(told: TrendAnswer, units: TrendUnits) -> None:
    """Write the buttons that take the trends away, made only when they are asked for."""
    name = f"trends_by_{told.by}" + (f"_{told.kind.replace(' ', '_')}" if told.kind else "")
    with st.container(horizontal=True, gap="small"):
        for label, make, ending, mime in (
            ("Download report, PDF", lambda: trend_pdf(told, units=units), "pdf", "application/pdf"),
            ("Download report, HTML", lambda: trend_html(told, units=units).encode(), "html", "text/html"),
            (
                "Download table, CSV",
                lambda: to_csv(trend_table(told.growth, told.lifetimes, by=told.by)),
                "csv",
                "text/csv",
            ),
        ):
            download_button(label, make, f"{name}.{ending}", mime, key=ending, on_click="ignore")


def _growth(told: TrendAnswer, units: TrendUnits, folder: str, number: int) -> None:
    st.subheader("Growth of play")
    if told.growth.empty:
        st.markdown("No group has parts enough to tell its growth; what each still needs stands below.")
        return
    _quiet(words.HOW_TO_READ_GROWTH)
    pictures.write(
        pictures.growth_spec(folder, number, told.by, told.kind, units, look().name),
        alt="Growth of play by group: how parts are spread, and the mean with its interval.",
    )
    _quiet(words.GROWTH_CAUTION)
    _listing(growth_table(told.growth, by=told.by, units=units), caption="Growth of play by group")
    st.markdown(
        "The spread among parts is a standard deviation, from how their best figures differ and from what is not known "
        "of each, which stands in brackets. A joint read in two load directions makes two series."
    )


def _curves(told: TrendAnswer, units: TrendUnits, folder: str, number: int) -> None:
    st.subheader("Mean growth curves of the cohorts")
    if told.kind is None:
        st.markdown("Choose a kind of joint to see the curves of its cohorts; the report holds those of all kinds.")
        return
    if told.kind not in told.curves:
        st.markdown("No cohort of this kind has parts enough for a curve.")
        return
    _quiet(words.HOW_TO_READ_CURVES)
    cohorts = [curve for _, curve in told.curves[told.kind].groupby("cohort")]
    titles = [cohort_title(curve) for curve in cohorts]
    about = [say_parts(int(curve["n_lives"].iloc[0]), int(curve["n_vehicles"].iloc[0])) for curve in cohorts]
    specs = pictures.cohort_specs(folder, number, told.kind, units, look().name)
    more = len(specs) > _FIRST and not st.toggle(f"Draw all {len(specs)} cohorts", key="all", bind="query-params")
    _panels(titles, about, specs[:_FIRST] if more else specs, "Mean growth curve")


def _lifetimes(told: TrendAnswer, units: TrendUnits, folder: str, number: int) -> None:
    st.subheader("Distance to the limit")
    if not told.lifetimes:
        st.markdown("No part with a limit on record has been read.")
        return
    st.markdown(words.CROSSINGS_CAUTION)
    if told.crossing:
        _quiet(words.HOW_TO_READ_CROSSINGS)
        names = [one.kind if told.by == "kind" else f"{one.kind}, {one.level}" for one in told.crossing]
        about = [f"{one.lifetimes.n_crossed} of {len(one.lifetimes):,} parts crossed" for one in told.crossing]
        specs = pictures.crossing_specs(folder, number, told.by, told.kind, units, look().name)
        more = len(specs) > _FIRST_GROUPS and not st.toggle(f"Draw all {len(specs)} groups", key="all_groups")
        drawn = specs[:_FIRST_GROUPS] if more else specs
        _panels([name[:1].upper() + name[1:] for name in names], about, drawn, "Share over the limit")
    none = words.without_crossings(told)
    if none:
        _quiet(none)
    _listing(lifetime_table(told.lifetimes, by=told.by, units=units), caption="Distance to the limit by group")


def _comparisons(told: TrendAnswer) -> None:
    st.subheader("Adjusted comparisons of growth")
    if told.comparisons.empty:
        st.markdown("There is no comparison of growth for this question.")
        return
    table = short_effect_table(told.comparisons)
    with st.expander(f"All {len(table)} comparisons", expanded=len(table) <= _FIRST):
        listing(
            [Column("Comparison (95\u00a0%)", bare=True, broad=True), Column("Series, vehicles", tight=True),
             Column("All at once, 95\u00a0%", tight=True), Column("p holm", tight=True)],
            [
                [one["comparison"], f"{one['n_lives']:,}, {one['n_vehicles']:,}", one["all_at_once"],
                 f"{one['p_holm']:.2g}"]
                for one in table.to_dict("records")
            ],
            caption="Adjusted comparisons of growth",
        )  # fmt: skip
    _quiet(f"{words.say_p_values(told)} {EFFECTS_CAUTION}")


def _thin(told: TrendAnswer) -> None:
    st.subheader("Too thin to tell")
    _names("Growth", told.thin_growth)
    _names("Distance to the limit", told.thin_lifetimes)


def _names(heading: str, thin: Sequence[ThinGroup]) -> None:
    items = "".join(f"<li>{html_text(one.words())}</li>" for one in thin) or "<li>Nothing is too thin.</li>"
    st.html(f'<p style="margin:0"><b>{html_text(heading)}</b></p><ul class="fw-notes">{items}</ul>')


def _panels(titles: list[str], about: list[str], specs: list[Spec], what: str) -> None:
    """Write pictures two side by side, each under its title."""
    for start in range(0, len(specs), 2):
        for column, at in zip(st.columns(2, gap="large"), range(start, min(start + 2, len(specs))), strict=False):
            with column:
                st.html(
                    f'<p style="margin:0"><b>{html_text(titles[at])}</b> '
                    f'<span class="fw-quiet">{html_text(about[at])}</span></p>'
                )
                pictures.write(specs[at], alt=f"{what}: {titles[at]}, {about[at]}.")


def _listing(frame: pd.DataFrame, *, caption: str) -> None:
    columns = [Column(name, bare=name in _NAMED, broad=name in _BROAD) for name in frame.columns]
    rows: list[list[Any]] = [
        [Markup(f"<b>{html_text(str(cell))}</b>") if name in _NAMED else str(cell)
         for name, cell in zip(frame.columns, row, strict=True)]
        for row in frame.itertuples(index=False, name=None)
    ]  # fmt: skip
    listing(columns, rows, caption=caption)


def _quiet(text: str) -> None:
    st.html(f'<p class="fw-quiet" style="margin:0">{html_text(text)}</p>')
