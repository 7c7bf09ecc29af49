"""What the charts share: their frame, and dates as axis ends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, cast

import altair as alt

from fleetwear.reports.looks import FONT

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.reports.looks import Look

Width = int | Literal["container"]


def framed(layers: list[alt.Chart], *, look: Look, width: Width, height: float) -> alt.LayerChart:
    """Return the layers as one chart of a height in pixels, in the look's colours and fonts."""
    chart = alt.layer(*layers).properties(
        width=cast("Any", width), height=height, autosize=alt.AutoSizeParams(type="fit-x", contains="padding")
    )
    return cast(
        "alt.LayerChart",
        chart.configure(background=look.paper, font=FONT, padding={"left": 2, "right": 4, "top": 6, "bottom": 2})
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=look.muted,
            titleColor=look.muted,
            gridColor=look.rule,
            domainColor=look.muted,
            tickColor=look.muted,
            labelFontSize=12,
            titleFontSize=12,
            titleFontWeight="normal",
        ),
    )


def haloed(base: alt.Chart, look: Look, **mark: Any) -> list[alt.Chart]:
    """Return words twice: once as a halo in the paper's colour, which keeps lines off them, once in ink."""
    halo = base.mark_text(color=look.paper, stroke=look.paper, strokeWidth=4, **mark)
    return [halo, base.mark_text(color=look.ink, **mark)]


def day(value: pd.Timestamp) -> alt.DateTime:
    """Return a day as the end of an axis."""
    return alt.DateTime(year=value.year, month=cast("Any", value.month), date=value.day)
