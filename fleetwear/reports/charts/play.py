"""The play chart: one joint's readings, fitted growth, limit and next service in one load direction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.planning.wording import is_known
from fleetwear.reports.charts.drawing import Spec, Width, day, framed_layers, haloed_marks, layer
from fleetwear.reports.looks import LIGHT, Look
from fleetwear.units import say
from fleetwear.vocabulary import Result

if TYPE_CHECKING:
    from fleetwear.reports.joint_history import JointHistory

_STROKE_STEP = 0.006
"""Strokes of one session stand side by side, this share of the axis apart."""


def play_chart(history: JointHistory, *, look: Look = LIGHT, width: Width = "container", height: int = 230) -> Spec:
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
    drawing = _Drawing(look, _axes(history, top, low, high), [], {})
    if history.window is not None:
        _draw_window(drawing, history.window)
    if len(history.curve):
        _draw_growth(drawing, history.curve)
    if history.limit is not None:
        _draw_limit(drawing, history.limit, history.limit_label)
    if len(history.events):
        _draw_events(drawing, history.events, low, high)
    beyond = readings["play"] > top
    _draw_readings(drawing, readings.assign(play=readings["play"].clip(upper=0.9 * top)))
    if beyond.any():
        _draw_beyond(drawing, readings[beyond], history.play_unit, 0.9 * top)
    return framed_layers(drawing.layers, drawing.datasets, look=look, width=width, height=height)


@dataclass(frozen=True)
class _Axes:
    """The axes of one chart, which its layers share."""

    x_channel: Spec
    y_channel: Spec

    def x(self, column: str = "x") -> Spec:
        return {"field": column, **self.x_channel}

    def y(self, column: str = "play") -> Spec:
        return {"field": column, **self.y_channel}


@dataclass(frozen=True)
class _Drawing:
    """A chart while it is drawn: its layers from the back to the front, and their data by name."""

    look: Look
    axes: _Axes
    layers: list[Spec]
    datasets: dict[str, list[Spec]]

    def add(self, rows: pd.DataFrame, mark: Spec, *, only: str | None = None, **channels: Spec | list[Spec]) -> str:
        """Draw a layer of these rows and return the name of its data."""
        name = f"rows{len(self.datasets)}"
        self.datasets[name] = _values(rows)
        self.again(name, mark, only=only, **channels)
        return name

    def again(self, name: str, mark: Spec, *, only: str | None = None, **channels: Spec | list[Spec]) -> None:
        """Draw a layer of rows that have a name."""
        self.layers.append(layer(name, mark, only=only, **channels))

    def words(self, name: str, channels: Spec, **mark: Any) -> None:
        """Write words with a halo."""
        for one in haloed_marks(self.look, **mark):
            self.again(name, {"type": "text", **one}, **channels)


def _values(rows: pd.DataFrame) -> list[Spec]:
    """Return rows as JSON has them: days in ISO 8601, nothing where there is no number."""
    columns = {
        str(name): column.dt.strftime("%Y-%m-%dT%H:%M:%S") if column.dtype.kind == "M" else column
        for name, column in rows.items()
    }
    return [
        {name: None if value != value else value for name, value in zip(columns, row, strict=True)}
        for row in zip(*(column.tolist() for column in columns.values()), strict=True)
    ]


def _axes(history: JointHistory, top: float, low: Any, high: Any) -> _Axes:
    dated = history.axis == "date"
    return _Axes(
        x_channel={
            "type": "temporal" if dated else "quantitative",
            "scale": {"domain": [_place(low), _place(high)], "nice": False, "zero": False},
            "axis": {
                "title": history.x_title,
                "tickCount": 4,
                "grid": False,
                "labelFlush": True,
                "labelOverlap": True,
                "format": "%b %Y" if dated else ",.0f",
            },
        },
        y_channel={
            "type": "quantitative",
            "scale": {"domain": [-0.11 * top, top], "nice": False, "zero": False},
            "axis": {
                "title": f"play, {history.play_unit}",
                "titleAngle": 0,
                "titleAlign": "left",
                "titleAnchor": "start",
                "titleX": 0,
                "titleY": -10,
                "values": _ticks(top),
                "format": _PLAY_FORMAT[history.play_unit],
            },
        },
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


def _draw_window(drawing: _Drawing, window: tuple[object, object, object]) -> None:
    """Draw the shaded window of the next service with its words."""
    look, axes = drawing.look, drawing.axes
    low, middle, high = window
    ends = pd.DataFrame({"low": [low], "middle": [middle], "high": [high]})
    band: Spec = {"type": "rect", "color": look.window, "opacity": 0.8, "clip": True}
    name = drawing.add(ends, band, x=axes.x("low"), x2={"field": "high"})
    line: Spec = {"type": "rule", "color": look.muted, "strokeWidth": 1, "clip": True}
    drawing.again(name, line, x=axes.x("middle"))
    place: Spec = {"x": axes.x("low"), "y": {"value": 0}}
    drawing.words(name, place, text="next service", align="right", baseline="top", fontSize=12, dx=-4, dy=3)


def _draw_growth(drawing: _Drawing, curve: pd.DataFrame) -> None:
    """Draw the prediction band and the fitted line, dashed beyond today."""
    look, axes = drawing.look, drawing.axes
    band: Spec = {"type": "area", "color": look.accent, "opacity": 0.17, "clip": True}
    name = drawing.add(curve, band, x=axes.x(), y=axes.y("lower"), y2={"field": "upper"})
    for column, dash in (("until_now", [1, 0]), ("ahead", [5, 4])):
        line: Spec = {"type": "line", "color": look.accent, "strokeWidth": 2, "strokeDash": dash, "clip": True}
        drawing.again(name, line, only=f"datum.{column}", x=axes.x(), y=axes.y())


_TEXT: Spec = {"field": "text", "type": "nominal"}


def _draw_limit(drawing: _Drawing, limit: float, label: str) -> None:
    """Draw the limit as a line with its value."""
    axes = drawing.axes
    line: Spec = {"type": "rule", "color": drawing.look.ink, "strokeWidth": 1.5, "strokeDash": [9, 3]}
    name = drawing.add(pd.DataFrame({"play": [limit], "text": [label]}), line, y=axes.y())
    place: Spec = {"x": {"value": 0}, "y": axes.y(), "text": _TEXT}
    drawing.words(name, place, align="left", baseline="bottom", dx=4, dy=-3, fontSize=12)


def _draw_events(drawing: _Drawing, events: pd.DataFrame, low: Any, high: Any) -> None:
    """Draw upright rules for work on the joint, each with its words beside its head."""
    axes = drawing.axes
    rule: Spec = {"type": "rule", "color": drawing.look.ink, "strokeWidth": 1.25, "strokeDash": [2, 2]}
    drawing.add(events[["x"]], rule, x=axes.x())
    for number, (place, label) in enumerate(zip(events["x"], events["label"], strict=True)):
        left = (place - low) / (high - low) > 0.5
        name = f"event{number}"
        drawing.datasets[name] = _values(pd.DataFrame({"x": [place], "text": [label]}))
        drawing.words(
            name,
            {"x": axes.x(), "y": {"value": 0}, "text": _TEXT},
            align="right" if left else "left",
            dx=-4 if left else 4,
            dy=18 + 15 * number,
            baseline="top",
            fontSize=12,
        )


_SHAPES = {
    str(Result.MEASURED): "circle",
    str(Result.NONE_SEEN): "triangle-down",
    str(Result.SEEN): "diamond",
}


def _draw_readings(drawing: _Drawing, readings: pd.DataFrame) -> None:
    """Draw the marks of the readings; what has no number stands in a strip below zero."""
    look, axes = drawing.look, drawing.axes
    tip: Spec = {"field": "note", "type": "nominal", "title": "reading"}
    strip: Spec = {"value": {"expr": "height - 8"}}
    for result, shape in _SHAPES.items():
        for life in ("earlier", "current"):
            own = readings[(readings["result"] == result) & (readings["life"] == life)]
            if own.empty:
                continue
            current = life == "current"
            measured = result == Result.MEASURED
            mark: Spec = {
                "type": "point", "shape": shape, "size": 46 if measured else 62, "filled": measured and current,
                "strokeWidth": 1.5, "color": look.ink if current else look.muted, "opacity": 0.9 if current else 0.75,
            }  # fmt: skip
            drawing.add(own[_OF_MARK], mark, x=axes.x(), y=axes.y() if measured else strip, tooltip=tip)
    ring: Spec = {
        "type": "point", "shape": "circle", "size": 210, "filled": False, "strokeWidth": 1.5, "color": look.ink,
    }  # fmt: skip
    asked = readings[readings["in_question"]]
    for measured in (True, False):
        own = asked[(asked["result"] == Result.MEASURED) == measured]
        if len(own):
            drawing.add(own[_OF_MARK], ring, x=axes.x(), y=axes.y() if measured else strip, tooltip=tip)


_OF_MARK = ["x", "play", "note"]


def _draw_beyond(drawing: _Drawing, readings: pd.DataFrame, unit: str, play: float) -> None:
    """Write the values of readings that lie above the axis, beside their marks at its top."""
    texts = [f"{say(value, unit, stored_in=unit)}, above this axis" for value in readings["play"]]
    drawing.datasets["beyond"] = _values(readings[["x"]].assign(play=play, text=texts))
    place: Spec = {"x": drawing.axes.x(), "y": drawing.axes.y(), "text": _TEXT}
    drawing.words("beyond", place, align="right", baseline="middle", dx=-14, fontSize=12)
