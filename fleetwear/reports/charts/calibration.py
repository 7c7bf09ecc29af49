"""The calibration chart: how often what was forecast came, against the probability that was given to it.

Both axes are drawn by square roots, since most probabilities are small; the line of equality stays straight.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import altair as alt
import numpy as np
import pandas as pd

from fleetwear.reports.charts.drawing import Spec, Width, framed, haloed
from fleetwear.reports.looks import LIGHT, Look

if TYPE_CHECKING:
    from collections.abc import Sequence

_TICKS = (0.0, 0.01, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)
_HEIGHT_PX = 380
_ROOM = 0.045
_COUNTS_AT = 1.09
"""Place of the numbers of cases, on the axis of square roots."""


def calibration_chart(curve: pd.DataFrame, *, look: Look = LIGHT, width: Width = "container") -> Spec:
    """Return observed shares with their intervals over forecast probabilities, and the number of cases of each.

    Parameters
    ----------
    curve
        One row a bin: mean_forecast, observed, lower, upper, n, events.
    look, width
        Colours and width in pixels.
    """
    rows = curve.assign(
        x=np.sqrt(curve["mean_forecast"]),
        y=np.sqrt(curve["observed"]),
        low=np.sqrt(curve["lower"]),
        high=np.sqrt(curve["upper"]),
        counts=_COUNTS_AT,
        cases=[f"{n:,}" for n in curve["n"]],
        came=[f"{events:,} of {n:,}" for events, n in zip(curve["events"], curve["n"], strict=True)],
    )
    end = 1.0 + _ROOM
    x = alt.X("x:Q", axis=_axis("Forecast probability", _TICKS), scale=alt.Scale(domain=[-_ROOM, end], nice=False))
    beside = {"titleAngle": 0, "titleAlign": "left", "titleBaseline": "bottom", "titleX": -28, "titleY": -6}
    y = alt.Y(
        "y:Q", axis=_axis("Share over the limit", _TICKS, **beside), scale=alt.Scale(domain=[-0.02, 1.14], nice=False)
    )
    tips = [
        alt.Tooltip("mean_forecast:Q", title="forecast probability, mean", format=".3f"),
        alt.Tooltip("observed:Q", title="share over the limit", format=".3f"),
        alt.Tooltip("came:N", title="over the limit"),
        alt.Tooltip("lower:Q", title="95 % interval from", format=".3f"),
        alt.Tooltip("upper:Q", title="to", format=".3f"),
    ]
    base = alt.Chart(rows)
    equal = alt.Chart(pd.DataFrame({"x": [0.0, 1.0], "y": [0.0, 1.0]}))
    layers = [
        equal.mark_line(color=look.muted, strokeDash=[4, 3], strokeWidth=1.25).encode(x=x, y=y),
        base.mark_rule(color=look.accent, strokeWidth=2).encode(x=x, y=alt.Y("low:Q"), y2="high:Q", tooltip=tips),
        base.mark_point(filled=True, size=90, color=look.accent, stroke=look.paper, strokeWidth=1, opacity=1).encode(
            x=x, y=y, tooltip=tips
        ),
        *(
            words.encode(x=x, y=alt.Y("counts:Q"), text="cases:N")
            for words in haloed(base, look, fontSize=12, baseline="middle")
        ),
    ]
    return framed(layers, look=look, width=width, height=_HEIGHT_PX)


def _axis(title: str, ticks: Sequence[float], **place: Any) -> alt.Axis:
    """Return an axis of square roots that is labelled with what they are the roots of."""
    return alt.Axis(
        title=title,
        values=[float(np.sqrt(tick)) for tick in ticks],
        labelExpr="format(datum.value * datum.value, '.2~f')",
        labelFlush=False,
        **place,
    )
