"""Bay hours of one depot by week: what is expected, and what covers most outcomes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import altair as alt
import pandas as pd

from fleetwear.reports.charts.drawing import Spec, Width, framed, haloed
from fleetwear.reports.looks import LIGHT, Look

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

_HEIGHT = 150


def bay_chart(
    hours: pd.DataFrame, *, starts: Sequence[date], most_hours: float, look: Look = LIGHT, width: Width = "container"
) -> Spec:
    """Return a bar a week for the expected hours and a mark for those that cover most outcomes, with its number.

    Parameters
    ----------
    hours
        The rows of ``planning.ahead.bays.bay_hours`` of one depot.
    starts
        Mondays of all weeks; a week without work is drawn empty.
    most_hours
        The end of the axis, the same for every depot.
    look, width
        Colours and width in pixels.
    """
    weeks = pd.DataFrame({"week": range(len(starts)), "label": [f"{start:%d %b}" for start in starts]})
    own = ["week", "expected_hours", "covers_hours", "expected_jobs", "expected_alignments"]
    rows = weeks.merge(hours[own], on="week", how="left").fillna(0.0)
    rows["words"] = [f"{value:.1f}" if value >= 0.05 else "" for value in rows["covers_hours"]]
    order = rows["label"].tolist()
    x = alt.X("label:N", sort=order, title="week of", axis=alt.Axis(labelAngle=0, labelOverlap=True, grid=False))
    scale = alt.Scale(domain=[0, max(most_hours * 1.2, 1.0)], nice=False)
    axis = alt.Axis(tickCount=3)
    tips = [
        alt.Tooltip("label:N", title="week of"),
        alt.Tooltip("expected_hours:Q", title="expected hours", format=".2f"),
        alt.Tooltip("covers_hours:Q", title="hours that cover", format=".2f"),
        alt.Tooltip("expected_jobs:Q", title="expected jobs", format=".2f"),
        alt.Tooltip("expected_alignments:Q", title="expected alignments", format=".2f"),
    ]
    base = alt.Chart(rows)
    bars = base.mark_bar(color=look.middle, stroke=look.ink, strokeWidth=0.75)
    covering = base.transform_filter("datum.covers_hours > 0.04").mark_tick(
        color=look.ink, thickness=2.5, orient="horizontal"
    )
    words = haloed(base.transform_filter("datum.words != ''"), look, baseline="bottom", dy=-4, fontSize=12)
    return framed(
        [
            bars.encode(x=x, y=alt.Y("expected_hours:Q", scale=scale, title="bay hours", axis=axis), tooltip=tips),
            covering.encode(x=x, y=alt.Y("covers_hours:Q", scale=scale), tooltip=tips),
            *(layer.encode(x=x, y=alt.Y("covers_hours:Q", scale=scale), text="words:N") for layer in words),
        ],
        look=look,
        width=width,
        height=_HEIGHT,
    )
