"""What the charts share: their frame, words with a halo, and dates as axis ends.

A chart is a Vega-Lite specification with its data inside. Most are put together by Altair; the play charts, of which a
page draws many at once, are written in the grammar itself (`layer`), which takes a hundredth of the time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import altair as alt

from fleetwear.reports.looks import FONT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from fleetwear.reports.looks import Look

Spec = dict[str, Any]
Width = int | Literal["container"]


def framed(layers: Sequence[alt.Chart], *, look: Look, width: Width, height: float) -> Spec:
    """Return Altair's layers as one chart of a height in pixels, in the look's colours and fonts."""
    spec: Spec = alt.layer(*layers).to_dict(validate=False)
    return spec | _frame(look, width, height)


def framed_layers(
    layers: Sequence[Spec], datasets: Mapping[str, list[Spec]], *, look: Look, width: Width, height: float
) -> Spec:
    """Return what `framed` does, of layers that are specifications already; their data are named in ``datasets``."""
    whole: Spec = {"$schema": alt.SCHEMA_URL, "layer": list(layers), "datasets": dict(datasets)}
    return whole | _frame(look, width, height)


def _frame(look: Look, width: Width, height: float) -> Spec:
    return {
        "width": width,
        "height": height,
        "autosize": {"type": "fit-x", "contains": "padding"},
        "config": {
            "background": look.paper,
            "font": FONT,
            "padding": {"left": 2, "right": 4, "top": 6, "bottom": 2},
            "view": {"stroke": None},
            "axis": {
                "labelColor": look.muted,
                "titleColor": look.muted,
                "gridColor": look.rule,
                "domainColor": look.muted,
                "tickColor": look.muted,
                "labelFontSize": 12,
                "titleFontSize": 12,
                "titleFontWeight": "normal",
            },
        },
    }


def layer(data: str, mark: Spec, *, only: str | None = None, **channels: Spec | list[Spec]) -> Spec:
    """Return one layer: the name of its data, its mark, a condition on its rows, and its encoding channels."""
    drawn: Spec = {"data": {"name": data}, "mark": mark, "encoding": channels}
    return drawn if only is None else drawn | {"transform": [{"filter": only}]}


def haloed(base: alt.Chart, look: Look, **mark: Any) -> list[alt.Chart]:
    """Return words twice: once as a halo in the paper's colour, which keeps lines off them, once in ink."""
    return [base.mark_text(**words) for words in haloed_marks(look, **mark)]


def haloed_marks(look: Look, **mark: Any) -> list[Spec]:
    """Return the two marks of `haloed`, without their type."""
    return [{"color": look.paper, "stroke": look.paper, "strokeWidth": 4, **mark}, {"color": look.ink, **mark}]


def day(value: pd.Timestamp) -> Spec:
    """Return a day as the end of an axis."""
    return {"year": value.year, "month": value.month, "date": value.day}
