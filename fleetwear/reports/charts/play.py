"""The play chart: one joint's readings, fitted growth, limit and next service in one load direction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import altair as alt
import numpy as np
import pandas as pd

from fleetwear.planning.wording import is_known
from fleetwear.reports.charts.drawing import Width, day, framed, haloed
from fleetwear.reports.looks import LIGHT, Look
from fleetwear.units import say
from fleetwear.vocabulary import Result

if TYPE_CHECKING:
    from fleetwear.reports.joint_history import JointHistory

_STROKE_STEP = 0.006
"""Strokes of one session stand side by side, this share of the axis apart."""


def play_chart(
    history: JointHistory, *, look: Look = LIGHT, width: Width = "container", height: int = 230
) -> alt.LayerChart:
    """Return one joint's readings, growth and limit in one load direction.

    Parameters
    ----------
    history
        What to draw, in the vehicle's own units.
    look, width, height
        Colours and size in pixels.
    """
    readings, low, high = _apart(history)
    top = _play_top(history)
    axes = _axes(history, top, low, high)
    layers: list[alt.Chart] = []
    if history.window is not None:
        layers += _window_layers(history.window, look, axes)
    if len(history.curve):
        layers += _growth_layers(history, look, axes)
    if history.limit is not None:
        layers += _limit_layers(history.limit, history.limit_label, look, axes)
    if len(history.events):
        layers += _event_layers(history, look, axes, low, high)
    beyond = readings["play"] > top
    layers += _reading_layers(readings.assign(play=readings["play"].clip(upper=0.9 * top)), look, axes)
    if beyond.any():
        layers += _beyond_layers(readings[beyond], history.play_unit, 0.9 * top, look, axes)
    return framed(layers, look=look, width=width, height=height)


@dataclass(frozen=True)
class _Axes:
    """The axes of one chart, which its layers share."""

    kind: str
    x_scale: alt.Scale
    x_axis: alt.Axis
    y_scale: alt.Scale
    y_axis: alt.Axis

    def x(self, column: str = "x") -> alt.X:
        return alt.X(f"{column}:{self.kind}", scale=self.x_scale, axis=self.x_axis)

    def y(self, column: str = "play") -> alt.Y:
        return alt.Y(f"{column}:Q", scale=self.y_scale, axis=self.y_axis)


def _axes(history: JointHistory, top: float, low: Any, high: Any) -> _Axes:
    dated = history.axis == "date"
    return _Axes(
        kind="T" if dated else "Q",
        x_scale=alt.Scale(domain=[_place(low), _place(high)], nice=False, zero=False),
        x_axis=alt.Axis(
            title=history.x_title,
            tickCount=4,
            grid=False,
            labelFlush=True,
            labelOverlap=True,
            format="%b %Y" if dated else ",.0f",
        ),
        y_scale=alt.Scale(domain=[-0.11 * top, top], nice=False, zero=False),
        y_axis=alt.Axis(
            title=f"play, {history.play_unit}",
            titleAngle=0,
            titleAlign="left",
            titleAnchor="start",
            titleX=0,
            titleY=-10,
            values=_ticks(top),
            format=_PLAY_FORMAT[history.play_unit],
        ),
    )


_PLAY_FORMAT = {"thou": ",.0f", "um": ",.0f", "mm": ".2f", "in": ".3f"}


def _apart(history: JointHistory) -> tuple[pd.DataFrame, Any, Any]:
    """Return the readings with strokes of one session side by side, and the ends of the axis."""
    known: list[Any] = [*history.readings["x"], *history.curve["x"], *history.events["x"], history.now]
    if history.window is not None:
        known += [history.window[0], history.window[2]]
    low, high = min(known), max(known)
    span = (high - low) if high > low else (pd.Timedelta(days=365) if history.axis == "date" else 1000.0)
    low, high = low - 0.03 * span, high + 0.03 * span
    number = history.readings.groupby(["x", "life"]).cumcount()
    step = number * (_STROKE_STEP * span)
    return history.readings.assign(x=history.readings["x"] + step), low, high


def _play_top(history: JointHistory) -> float:
    """Return the top of the play axis.

    The limit and every reading are on it, but a reading in question that would squash the others is not; a
    wild band is cut.
    """
    must = [
        history.readings.loc[~history.readings["in_question"], "play"].max(),
        history.limit,
        history.curve["play"].max() if len(history.curve) else np.nan,
    ]
    needed = max([float(value) for value in must if is_known(value)], default=0.0)
    asked = float(np.nan_to_num(history.readings["play"].max()))
    needed = max(needed, asked if asked <= 2.0 * needed or not needed else 0.0) or 1.0
    band = float(history.curve["upper"].max()) if len(history.curve) else needed
    return 1.18 * min(max(band, needed), 1.6 * needed)


def _ticks(top: float) -> list[float]:
    """Return four or five round values from 0 up to the top of the axis."""
    raw = top / 4.0
    size = 10.0 ** np.floor(np.log10(raw))
    step = float(next(size * m for m in (1.0, 2.0, 2.5, 5.0, 10.0) if size * m >= raw))
    return [round(step * k, 6) for k in range(int(top / step) + 1)]


def _place(value: Any) -> Any:
    return day(value) if isinstance(value, pd.Timestamp) else float(value)


def _window_layers(window: tuple[object, object, object], look: Look, axes: _Axes) -> list[alt.Chart]:
    """Return the shaded window of the next service with its words."""
    base = alt.Chart(pd.DataFrame({"low": [window[0]], "middle": [window[1]], "high": [window[2]]}))
    band = base.mark_rect(color=look.window, opacity=0.8, clip=True)
    line = base.mark_rule(color=look.muted, strokeWidth=1, clip=True)
    words = haloed(base, look, text="next service", align="right", baseline="top", fontSize=12, dx=-4, dy=3)
    return [
        band.encode(x=axes.x("low"), x2="high"),
        line.encode(x=axes.x("middle")),
        *(layer.encode(x=axes.x("low"), y=alt.value(0)) for layer in words),
    ]


def _growth_layers(history: JointHistory, look: Look, axes: _Axes) -> list[alt.Chart]:
    """Return the prediction band and the fitted line, dashed beyond today."""
    base = alt.Chart(history.curve)
    band = base.mark_area(color=look.accent, opacity=0.17, clip=True)
    layers = [band.encode(x=axes.x(), y=axes.y("lower"), y2="upper:Q")]
    for column, dash in (("until_now", [1, 0]), ("ahead", [5, 4])):
        line = base.transform_filter(f"datum.{column}")
        drawn = line.mark_line(color=look.accent, strokeWidth=2, strokeDash=dash, clip=True)
        layers.append(drawn.encode(x=axes.x(), y=axes.y()))
    return layers


def _limit_layers(limit: float, label: str, look: Look, axes: _Axes) -> list[alt.Chart]:
    """Return the limit as a line with its value."""
    base = alt.Chart(pd.DataFrame({"play": [limit], "text": [label]}))
    line = base.mark_rule(color=look.ink, strokeWidth=1.5, strokeDash=[9, 3])
    words = haloed(base, look, align="left", baseline="bottom", dx=4, dy=-3, fontSize=12)
    return [
        line.encode(y=axes.y()),
        *(layer.encode(x=alt.value(0), y=axes.y(), text="text:N") for layer in words),
    ]


def _event_layers(history: JointHistory, look: Look, axes: _Axes, low: Any, high: Any) -> list[alt.Chart]:
    """Return upright rules for work on the joint, each with its words beside its head."""
    rule = alt.Chart(history.events).mark_rule(color=look.ink, strokeWidth=1.25, strokeDash=[2, 2])
    layers = [rule.encode(x=axes.x())]
    for number, (place, label) in enumerate(zip(history.events["x"], history.events["label"], strict=True)):
        left = (place - low) / (high - low) > 0.5
        words = haloed(
            alt.Chart(pd.DataFrame({"x": [place], "text": [label]})),
            look,
            align="right" if left else "left",
            dx=-4 if left else 4,
            dy=18 + 15 * number,
            baseline="top",
            fontSize=12,
        )
        layers += [layer.encode(x=axes.x(), y=alt.value(0), text="text:N") for layer in words]
    return layers


_SHAPES = {
    str(Result.MEASURED): "circle",
    str(Result.NONE_SEEN): "triangle-down",
    str(Result.SEEN): "diamond",
}


def _reading_layers(readings: pd.DataFrame, look: Look, axes: _Axes) -> list[alt.Chart]:
    """Return the marks of the readings; what has no number stands in a strip below zero."""
    layers: list[alt.Chart] = []
    tip = alt.Tooltip("note:N", title="reading")
    strip = alt.value(alt.expr("height - 8"))
    for result, shape in _SHAPES.items():
        for life in ("earlier", "current"):
            own = readings[(readings["result"] == result) & (readings["life"] == life)]
            if own.empty:
                continue
            current = life == "current"
            measured = result == Result.MEASURED
            mark = alt.Chart(own).mark_point(
                shape=shape, size=46 if measured else 62, filled=measured and current, strokeWidth=1.5,
                color=look.ink if current else look.muted, opacity=0.9 if current else 0.75,
            )  # fmt: skip
            layers.append(mark.encode(x=axes.x(), y=axes.y() if measured else strip, tooltip=tip))
    asked = readings[readings["in_question"]]
    for measured in (True, False):
        own = asked[(asked["result"] == Result.MEASURED) == measured]
        if len(own):
            ring = alt.Chart(own).mark_point(shape="circle", size=210, filled=False, strokeWidth=1.5, color=look.ink)
            layers.append(ring.encode(x=axes.x(), y=axes.y() if measured else strip, tooltip=tip))
    return layers


def _beyond_layers(readings: pd.DataFrame, unit: str, play: float, look: Look, axes: _Axes) -> list[alt.Chart]:
    """Return the values of readings that lie above the axis, beside their marks at its top."""
    texts = [f"{say(value, unit, stored_in=unit)}, above this axis" for value in readings["play"]]
    base = alt.Chart(readings.assign(play=play, text=texts))
    words = haloed(base, look, align="right", baseline="middle", dx=-14, fontSize=12)
    return [layer.encode(x=axes.x(), y=axes.y(), text="text:N") for layer in words]
