"""The control chart of a source of readings: its moving average by day, between the limits of chance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import altair as alt
import pandas as pd

from fleetwear.reports.charts.drawing import Spec, Width, framed
from fleetwear.reports.looks import LIGHT, Look

if TYPE_CHECKING:
    from typing import Any

_HEIGHT_PX = 260


def consistency_chart(points: pd.DataFrame, *, look: Look = LIGHT, width: Width = "container") -> Spec:
    """Return the moving average of one source over time, its limits, and the days on which it lies beyond them.

    Parameters
    ----------
    points
        One row a day: visit_date, n_readings, residual_mm, average, limit, signal.
    look, width
        Colours and width in pixels.
    """
    rows = points.assign(
        day=pd.to_datetime(points["visit_date"]),
        lower=-points["limit"],
        beyond=["beyond its limits" if signal else "within its limits" for signal in points["signal"]],
    )
    reach = float(max(points["average"].abs().max(), points["limit"].max())) * 1.12
    x = alt.X("day:T", axis=alt.Axis(title=None, format="%Y-%m", labelOverlap=True, tickCount=6))
    above: dict[str, Any] = {"titleAngle": 0, "titleAlign": "left", "titleBaseline": "bottom"}
    y = alt.Y(
        "average:Q",
        axis=alt.Axis(
            title="Moving average, in standard deviations (above 0 reads high)", **above, titleX=-28, titleY=-6
        ),
        scale=alt.Scale(domain=[-reach, reach], nice=False),
    )
    tips = [
        alt.Tooltip("day:T", title="day", format="%Y-%m-%d"),
        alt.Tooltip("n_readings:Q", title="readings"),
        alt.Tooltip("residual_mm:Q", title="mean residual, mm", format="+.3f"),
        alt.Tooltip("average:Q", title="moving average", format="+.2f"),
        alt.Tooltip("beyond:N", title="which is"),
    ]
    base = alt.Chart(rows)
    zero = alt.Chart(pd.DataFrame({"average": [0.0]}))
    layers = [
        base.mark_area(color=look.tint, opacity=1.0).encode(x=x, y=alt.Y("lower:Q"), y2="limit:Q"),
        zero.mark_rule(color=look.muted, strokeDash=[4, 3]).encode(y=y),
        base.mark_line(color=look.accent, strokeWidth=1.75).encode(x=x, y=y),
        base.mark_point(filled=True, size=42, color=look.accent, opacity=1).encode(x=x, y=y, tooltip=tips),
    ]
    if rows["signal"].any():
        beyond = alt.Chart(rows[rows["signal"]])
        layers.append(
            beyond.mark_point(filled=False, size=150, color=look.ink, strokeWidth=1.5, opacity=1).encode(
                x=x, y=y, tooltip=tips
            )
        )
    return framed(layers, look=look, width=width, height=_HEIGHT_PX)
