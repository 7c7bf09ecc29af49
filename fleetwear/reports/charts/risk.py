"""The risk chart: when each pressing joint crosses its limit, against when its vehicle is next in.

Places down the chart are pixels, so that names and windows keep their size however many rows there are.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, cast

import altair as alt
import pandas as pd

from fleetwear.planning.wording import is_known, say_probability
from fleetwear.reports.charts.drawing import Spec, Width, day, framed, haloed
from fleetwear.reports.inert import on_screen
from fleetwear.reports.looks import LIGHT, Look

if TYPE_CHECKING:
    from datetime import date

_HEADER_PX, _LINE_PX, _LANE_PX, _GAP_PX = 34, 17, 20, 8
_WRAP = 42
"""Characters of a joint's name on one line of a narrow screen."""
_AHEAD = pd.Timedelta(days=180)
_LONGEST = pd.Timedelta(days=730)
_ROOM = pd.Timedelta(days=6)


def risk_chart(pressing: pd.DataFrame, *, as_of: date, look: Look = LIGHT, width: Width = "container") -> Spec:
    """Return both windows of every joint on one date axis, a row a joint, a heading for each outcome.

    Parameters
    ----------
    pressing
        The rows of ``planning.pressing.pressing_joints``; at least one.
    as_of
        The day that the forecast looks from.
    look, width
        Colours and width in pixels.
    """
    rows, headings, height = _risk_rows(pressing, look)
    first = pd.Timestamp(as_of)
    last = _axis_end(rows, first)
    names = _name_lines(rows)
    rows = _clipped(rows, first, last)
    x = alt.Scale(domain=cast("Any", [day(first - _ROOM), day(last + _ROOM)]), nice=False)
    y = alt.Scale(domain=[0, height], reverse=True, nice=False, zero=False)
    layers = [
        *_windows(rows, first, look, x, y),
        *_labels(rows, names, look, y),
        *_headings(headings, look, y),
    ]
    return framed(layers, look=look, width=width, height=height)


def _windows(rows: pd.DataFrame, first: pd.Timestamp, look: Look, x: alt.Scale, y: alt.Scale) -> list[alt.Chart]:
    """Return the windows of service and crossing of every row."""
    step = cast("Any", {"interval": "month", "step": 3})
    axis = alt.Axis(orient="top", title=None, format="%b %Y", tickCount=step, labelFlush=True)
    base = alt.Chart(rows.assign(as_of=first))
    tips = [alt.Tooltip(f"{name}:N", title=title) for name, title in _RISK_TIPS.items()]
    shade = alt.Color("shade:N", scale=None)
    lane: dict[str, Any] = {"y": _at("lane_top", y), "y2": "lane_bottom:Q"}
    bar: dict[str, Any] = {"y": _at("bar_top", y), "y2": "bar_bottom:Q"}
    today = base.mark_rule(color=look.muted, strokeDash=[2, 2])
    service = base.mark_rect(color=look.window, stroke=look.rule, strokeWidth=1)
    service_mid = base.mark_rule(color=look.ink, strokeWidth=1.5)
    crossing = base.transform_filter("datum.cross_low != null").mark_rect(stroke=look.ink, strokeWidth=0.75)
    middle = base.transform_filter("datum.cross_mid != null").mark_point(
        shape="diamond", size=110, filled=True, color=look.paper, stroke=look.ink, strokeWidth=1.25, opacity=1
    )
    beyond = base.transform_filter("datum.goes_on").mark_point(
        shape="triangle-right", size=150, filled=True, color=look.ink, opacity=1
    )
    low = alt.X("service_low:T", scale=x, axis=axis)
    return [
        today.encode(x=alt.X("as_of:T", scale=x), **lane),
        service.encode(x=low, x2="service_high:T", tooltip=tips, **lane),
        service_mid.encode(x=alt.X("service:T", scale=x), tooltip=tips, **lane),
        crossing.encode(x=alt.X("cross_low:T", scale=x), x2="cross_high:T", color=shade, tooltip=tips, **bar),
        beyond.encode(x=alt.X("cross_high:T", scale=x), y=_at("lane", y), tooltip=tips),
        middle.encode(x=alt.X("cross_mid:T", scale=x), y=_at("lane", y), tooltip=tips),
    ]


def _labels(rows: pd.DataFrame, names: pd.DataFrame, look: Look, y: alt.Scale) -> list[alt.Chart]:
    """Return unit, probability with its shade, and joint of every row; grid lines stop short of the words."""
    right = alt.value(alt.expr("width"))
    swatch = alt.Chart(rows).mark_square(size=150, stroke=look.ink, strokeWidth=0.75, opacity=1)
    bold: dict[str, Any] = {"baseline": "middle", "fontWeight": 600, "fontSize": 14}
    units = haloed(alt.Chart(rows), look, align="left", **bold)
    numbers = haloed(alt.Chart(rows), look, align="right", **bold)
    joints = haloed(alt.Chart(names), look, align="left", baseline="middle", fontSize=13)
    layers = [
        *(layer.encode(x=alt.value(0), y=_at("unit_y", y), text="unit:N") for layer in units),
        *(layer.encode(x=right, y=_at("unit_y", y), text="probability:N") for layer in numbers),
        *(layer.encode(x=alt.value(0), y=_at("y", y), text="text:N") for layer in joints),
    ]
    beside = alt.value(alt.expr("width - 88"))
    layers.append(swatch.encode(x=beside, y=_at("unit_y", y), color=alt.Color("shade:N", scale=None)))
    return layers


def _headings(headings: pd.DataFrame, look: Look, y: alt.Scale) -> list[alt.Chart]:
    """Return the outcomes, each over a rule across the chart."""
    base = alt.Chart(headings)
    words = base.mark_text(align="left", baseline="middle", fontSize=14, color=look.muted)
    rule = base.mark_rule(color=look.muted, strokeWidth=0.75)
    return [
        words.encode(x=alt.value(0), y=_at("y", y), text="text:N"),
        rule.encode(x=alt.value(0), x2=alt.value(alt.expr("width")), y=_at("line", y)),
    ]


def _at(column: str, scale: alt.Scale) -> alt.Y:
    return alt.Y(f"{column}:Q", scale=scale, axis=None)


_RISK_TIPS = {
    "unit": "unit",
    "joint_words": "joint",
    "outcome": "outcome",
    "probability": "probability of being over at the next service",
    "accepted": "accepted risk",
    "service_words": "next service (5, 50, 95 %)",
    "cross_words": "crosses its limit (5, 50, 95 %)",
}


def _risk_rows(pressing: pd.DataFrame, look: Look) -> tuple[pd.DataFrame, pd.DataFrame, float]:
    """Return the rows with their places, the headings with theirs, and the height in pixels."""
    rows: list[dict[str, object]] = []
    headings: list[dict[str, object]] = []
    top, outcome = 0.0, ""
    for fact in pressing.to_dict("records"):
        if fact["outcome"] != outcome:
            outcome = str(fact["outcome"])
            words = outcome[:1].upper() + outcome[1:]
            headings.append({"y": top + _HEADER_PX * 0.5, "line": top + _HEADER_PX * 0.85, "text": words})
            top += _HEADER_PX
        mark = ", indicative" if fact["indicative"] else ""
        words = f"{on_screen(fact['joint'], 120)}, {fact['direction']}{mark}"
        lines = textwrap.wrap(words, _WRAP)
        lane = top + _GAP_PX + _LINE_PX * (1 + len(lines)) + _LANE_PX * 0.5
        chance = fact["p_over_next"]
        rows.append(
            {
                "unit": on_screen(fact["unit"], 40),
                "joint_words": words,
                "lines": lines,
                "outcome": outcome,
                "probability": say_probability(chance) if is_known(chance) else "no limit",
                "accepted": say_probability(fact["accepted_risk"]),
                "shade": look.shade(float(str(chance))) if is_known(chance) else look.paper,
                "unit_y": top + _GAP_PX + _LINE_PX * 0.5,
                "lane": lane,
                "lane_top": lane - _LANE_PX * 0.5,
                "lane_bottom": lane + _LANE_PX * 0.5,
                "bar_top": lane - 3.5,
                "bar_bottom": lane + 3.5,
                "service_low": pd.Timestamp(str(fact["next_service_date_05"])),
                "service": pd.Timestamp(str(fact["next_service_date_50"])),
                "service_high": pd.Timestamp(str(fact["next_service_date_95"])),
                **{
                    name: pd.Timestamp(str(fact[column])) if is_known(fact[column]) else pd.NaT
                    for name, column in (
                        ("cross_low", "crossing_date_05"),
                        ("cross_mid", "crossing_date_50"),
                        ("cross_high", "crossing_date_95"),
                    )
                },
            }
        )
        top = lane + _LANE_PX * 0.5 + _GAP_PX
    return pd.DataFrame(rows), pd.DataFrame(headings), top


def _axis_end(rows: pd.DataFrame, first: pd.Timestamp) -> pd.Timestamp:
    last: pd.Timestamp = rows["service_high"].max()
    return min(max(last, first) + _AHEAD, first + _LONGEST)


def _clipped(rows: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp) -> pd.DataFrame:
    """Return the rows with windows cut at the end of the axis; goes_on: a crossing's goes further."""
    frame = rows.drop(columns="lines")
    spans = {
        "service_words": ("service_low", "service", "service_high"),
        "cross_words": ("cross_low", "cross_mid", "cross_high"),
    }
    for words, names in spans.items():
        frame[words] = [
            ", ".join(value.strftime("%Y-%m-%d") if is_known(value) else "beyond the horizon" for value in values)
            for values in zip(*(rows[name] for name in names), strict=True)
        ]
    starts = rows["cross_low"].notna() & (rows["cross_low"] <= last)
    ends_late = rows["cross_high"].isna() | (rows["cross_high"] > last)
    frame["goes_on"] = starts & ends_late
    frame["cross_high"] = rows["cross_high"].where(~ends_late, last).where(starts)
    frame["cross_low"] = rows["cross_low"].where(starts)
    frame["cross_mid"] = rows["cross_mid"].where(rows["cross_mid"] <= last)
    for name in ("service_low", "service", "service_high"):
        frame[name] = rows[name].where(rows[name] >= first, first).where(rows[name] <= last, last)
    return frame


def _name_lines(rows: pd.DataFrame) -> pd.DataFrame:
    """Return one row a line of text of the joints' names."""
    lines = [
        {"y": row["unit_y"] + _LINE_PX * (number + 1), "text": line}
        for row in rows.to_dict("records")
        for number, line in enumerate(row["lines"])
    ]
    return pd.DataFrame(lines)
