"""Pictures: charts as Vega-Lite specifications, kept for as long as their snapshot is looked at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard import snapshot
from dashboard.style import look
from fleetwear.reports.charts import (
    Spec,
    bay_chart,
    calibration_chart,
    cohort_chart,
    consistency_chart,
    crossing_chart,
    growth_chart,
    key_chart,
    play_chart,
    risk_chart,
)
from fleetwear.reports.trend_tables import TrendUnits, curves_end

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from fleetwear.planning.ahead import PlanSettings


def write(spec: Spec, *, alt: str, key: str | None = None) -> None:
    """Write a picture as wide as its container; ``alt`` says what it shows to those who do not see it."""
    st.vega_lite_chart(spec, theme=None, width="stretch", alt=alt, key=key)


@st.cache_data(max_entries=64, show_spinner=False)
def risk_spec(
    folder: str,  # noqa: ARG001  folder, number, said and the look's name are the cache's key
    number: int,  # noqa: ARG001
    said: tuple[tuple[int, int, str, str], ...],  # noqa: ARG001
    look_name: str,  # noqa: ARG001
    *,
    _drawn: pd.DataFrame,
    _as_of: date,
) -> Spec:
    """Return the picture of joints that press, which are told apart by vehicle, position, direction and outcome."""
    return risk_chart(_drawn, as_of=_as_of, look=look())


@st.cache_data(max_entries=512, show_spinner=False)
def play_spec(folder: str, number: int, unit: str, at: int, look_name: str) -> Spec:  # noqa: ARG001
    """Return the picture of a vehicle's joint, by its place in the order of urgency."""
    return play_chart(snapshot.histories(folder, number, unit)[at], look=look())


@st.cache_data(max_entries=128, show_spinner=False)
def bay_spec(folder: str, number: int, settings: PlanSettings, depot: str, look_name: str) -> Spec:  # noqa: ARG001
    """Return the picture of a depot's bay hours in a plan, on the axis of all its depots."""
    plan = snapshot.plan(folder, number, settings)
    most = float(plan.bays[["expected_hours", "covers_hours"]].to_numpy().max())
    own = plan.bays[plan.bays["depot"] == depot]
    return bay_chart(own, starts=plan.starts, most_hours=most, look=look())


@st.cache_data(max_entries=4, show_spinner=False)
def key_spec(look_name: str) -> Spec:  # noqa: ARG001  the look's name is the cache's key
    """Return the key of the marks."""
    return key_chart(look=look())


@st.cache_data(max_entries=8, show_spinner=False)
def calibration_spec(folder: str, number: int, look_name: str) -> Spec:  # noqa: ARG001
    """Return the picture of the latest backtest's calibration over all cases."""
    check = snapshot.model_check(folder, number)
    assert check is not None, "a page without a backtest draws nothing"
    curve = check.calibration[check.calibration["scope"] == "all"]
    return calibration_chart(curve, look=look())


@st.cache_data(max_entries=48, show_spinner=False)
def growth_spec(folder: str, number: int, by: str, kind: str | None, units: TrendUnits, look_name: str) -> Spec:  # noqa: ARG001
    """Return the picture of growth by a factor."""
    told = snapshot.trend_answer(folder, number, by=by, kind=kind)
    return growth_chart(told.growth, told.densities, by=by, units=units, look=look())


@st.cache_data(max_entries=48, show_spinner="Drawing the curves")
def cohort_specs(
    folder: str,
    number: int,
    kind: str,
    units: TrendUnits,
    look_name: str,  # noqa: ARG001
) -> list[Spec]:
    """Return the pictures of a kind's cohorts, in the order of their names."""
    told = snapshot.trend_answer(folder, number, by="kind", kind=kind)
    curves = told.curves[kind]
    ends = curves_end(curves, units)
    return [cohort_chart(curve, ends=ends, units=units, look=look()) for _, curve in curves.groupby("cohort")]


@st.cache_data(max_entries=48, show_spinner=False)
def crossing_specs(
    folder: str,
    number: int,
    by: str,
    kind: str | None,
    units: TrendUnits,
    look_name: str,  # noqa: ARG001
) -> list[Spec]:
    """Return the pictures of the groups of which a part crossed its limit, in their order."""
    told = snapshot.trend_answer(folder, number, by=by, kind=kind)
    return [crossing_chart(one, units=units, look=look()) for one in told.crossing]


@st.cache_data(max_entries=64, show_spinner=False)
def consistency_spec(folder: str, number: int, source: str, name: str, look_name: str) -> Spec:  # noqa: ARG001
    """Return the control chart of a source of readings."""
    points = snapshot.consistency(folder, number).points
    return consistency_chart(points[(points["source"] == source) & (points["name"] == name)], look=look())
