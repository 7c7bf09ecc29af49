"""The key of the marks in the play charts."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from fleetwear.reports.charts.drawing import Spec, Width, framed
from fleetwear.reports.looks import LIGHT, Look


def key_chart(*, look: Look = LIGHT, width: Width = "container") -> Spec:
    """Return the key of the marks of `play_chart`, one under the other."""
    step = 25
    marks: list[tuple[str, dict[str, Any]]] = [
        ("measured; strokes of one session side by side", {"shape": "circle", "filled": True, "size": 46}),
        ("measured, on a part or setting before this one", {"shape": "circle", "filled": False, "size": 46}),
        (
            "no play seen (below zero: it has no number)",
            {"shape": "triangle-down", "filled": False, "size": 62},
        ),
        ("play seen, not measured (likewise)", {"shape": "diamond", "filled": False, "size": 62}),
        ("ringed: in question", {"shape": "circle", "filled": False, "size": 210}),
        (
            "growth fitted, dashed beyond today",
            {"shape": "stroke", "size": 700, "stroke": look.accent, "strokeWidth": 2},
        ),
        (
            "where 95 % of single readings fall",
            {"shape": "square", "filled": True, "size": 300, "fill": look.accent, "opacity": 0.17},
        ),
        ("limit", {"shape": "stroke", "size": 700, "strokeDash": [9, 3]}),
        (
            "next service, 5 to 95 %, its middle a line",
            {"shape": "square", "filled": True, "size": 300, "fill": look.window},
        ),
        ("work on the joint", {"shape": "stroke", "size": 500, "angle": 90, "strokeDash": [2, 2]}),
    ]
    layers: list[alt.Chart] = []
    for number, (text, mark) in enumerate(marks):
        base = alt.Chart(pd.DataFrame({"text": [text]}))
        y = alt.value(step * (number + 0.5))
        settings: dict[str, Any] = {"strokeWidth": 1.5, "color": look.ink, "opacity": 1.0} | mark
        layers.append(base.mark_point(**settings).encode(x=alt.value(16), y=y))
        words = base.mark_text(align="left", baseline="middle", fontSize=13, color=look.ink)
        layers.append(words.encode(x=alt.value(40), y=y, text="text:N"))
    return framed(layers, look=look, width=width, height=step * len(marks))
