"""The charts of trends: growth by group with its spread, a cohort's mean curve, the share that has crossed a limit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import altair as alt
import numpy as np
import pandas as pd

from fleetwear.planning.wording import begin_sentence, say_probability
from fleetwear.reports.charts.drawing import Spec, Width, framed, haloed
from fleetwear.reports.looks import LIGHT, Look

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleetwear.reports.trend_tables import TrendUnits
    from fleetwear.trends import Density, LifetimeTrend

_HEAD_PX, _LABEL_PX, _RIDGE_PX, _GAP_PX = 30.0, 18.0, 30.0, 14.0
_ROW_PX = _LABEL_PX + _RIDGE_PX + _GAP_PX
_POINTS = 160


def growth_chart(
    growth: pd.DataFrame,
    densities: Mapping[tuple[str, str], Density],
    *,
    by: str,
    units: TrendUnits,
    look: Look = LIGHT,
    width: Width = "container",
) -> Spec:
    """Return one row a group: how growth is spread among its parts, and the mean with its interval.

    Parameters
    ----------
    growth, densities
        From ``trends.growth_by``, at least one row, and ``trends.growth_densities``.
    by
        What the groups are told by.
    units, look, width
        Units to tell in; colours; width in pixels.
    """
    rows, heads, height = _places(growth, by, units)
    ridges, marks = _ridges(rows, densities, units)
    ends = [float(rows["high"].max()), float(rows["mean_high"].max()), 1e-12]
    low = min(0.0, float(rows["low"].min()))
    x = alt.Scale(domain=[low, max(ends) * 1.12], nice=False)
    y = alt.Scale(domain=[height, 0.0], nice=False)
    at_x = alt.X("x:Q", scale=x, axis=alt.Axis(title=f"Growth of play, {units.rate}", tickCount=5, grid=True))
    tips = [
        alt.Tooltip("name:N", title="group"),
        alt.Tooltip("words:N", title=f"mean growth (95 %), {units.rate}"),
        alt.Tooltip("middle:N", title="middle 90 % of parts"),
        alt.Tooltip("parts:N", title="series, vehicles"),
    ]
    area = alt.Chart(ridges).mark_area(color=look.middle, opacity=0.45, clip=True)
    ticks = alt.Chart(marks).mark_tick(color=look.muted, thickness=1, size=5, opacity=0.8, orient="vertical", clip=True)
    base = alt.Chart(rows)
    layers: list[Any] = [
        area.encode(x=at_x, y=alt.Y("top:Q", scale=y, axis=None), y2="base:Q", detail="row:N"),
        ticks.encode(x=at_x, y=alt.Y("below:Q", scale=y, axis=None)),
        base.mark_rule(color=look.ink, strokeWidth=1, clip=True).encode(
            x=alt.X("low:Q", scale=x), x2="high:Q", y=alt.Y("base:Q", scale=y, axis=None), tooltip=tips
        ),
        base.mark_rule(color=look.accent, strokeWidth=5, clip=True).encode(
            x=alt.X("mean_low:Q", scale=x), x2="mean_high:Q", y=alt.Y("base:Q", scale=y, axis=None), tooltip=tips
        ),
        base.mark_point(shape="circle", filled=True, size=70, color=look.paper, stroke=look.accent, opacity=1).encode(
            x=alt.X("mean:Q", scale=x), y=alt.Y("base:Q", scale=y, axis=None), tooltip=tips
        ),
    ]
    left, right = alt.value(0), alt.value(alt.expr("width"))
    for align, at, text in (("left", left, "name:N"), ("right", right, "words:N")):
        layers += [
            one.encode(x=at, y=alt.Y("label:Q", scale=y, axis=None), text=text)
            for one in haloed(base, look, align=align, baseline="middle", fontSize=13, fontWeight=600)
        ]
    if len(heads):
        head = alt.Chart(heads).mark_text(align="left", baseline="middle", fontSize=14, color=look.muted)
        layers.append(head.encode(x=left, y=alt.Y("y:Q", scale=y, axis=None), text="text:N"))
        rule = alt.Chart(heads).mark_rule(color=look.muted, strokeWidth=0.75)
        layers.append(rule.encode(x=left, x2=right, y=alt.Y("line:Q", scale=y, axis=None)))
    return framed(layers, look=look, width=width, height=height)


def _places(growth: pd.DataFrame, by: str, units: TrendUnits) -> tuple[pd.DataFrame, pd.DataFrame, float]:
    """Return the rows with their places, the kinds' headings with theirs, and the height in pixels."""
    rows: list[dict[str, object]] = []
    heads: list[dict[str, object]] = []
    top, kind = 0.0, ""
    several = by != "kind" and growth["kind"].nunique() > 1
    for number, row in enumerate(growth.to_dict("records")):
        if several and row["kind"] != kind:
            kind = str(row["kind"])
            heads.append({"y": top + 0.5 * _HEAD_PX, "line": top + 0.85 * _HEAD_PX, "text": begin_sentence(kind)})
            top += _HEAD_PX
        scaled = {
            name: float(row[column]) * units.rate_factor
            for name, column in (
                ("mean", "growth"),
                ("mean_low", "growth_lower"),
                ("mean_high", "growth_upper"),
                ("low", "growth_05"),
                ("high", "growth_95"),
            )
        }
        rows.append(
            {
                "row": number,
                "kind": row["kind"],
                "level": row["level"],
                "name": begin_sentence(str(row["level"])),
                "words": units.say_rates(row["growth"], row["growth_lower"], row["growth_upper"]),
                "middle": f"{units.say_rate(row['growth_05'])} to {units.say_rate(row['growth_95'])}",
                "parts": f"{row['n_lives']:,}, {row['n_vehicles']:,}",
                "label": top + 0.5 * _LABEL_PX,
                "base": top + _LABEL_PX + _RIDGE_PX,
                "below": top + _LABEL_PX + _RIDGE_PX + 6.0,
                **scaled,
            }
        )
        top += _ROW_PX
    return pd.DataFrame(rows), pd.DataFrame(heads), top + 4.0


def _ridges(
    rows: pd.DataFrame, densities: Mapping[tuple[str, str], Density], units: TrendUnits
) -> tuple[pd.DataFrame, pd.DataFrame]:
    ridges, marks = [], []
    for row, kind, level, base, below in rows[["row", "kind", "level", "base", "below"]].itertuples(index=False):
        one = densities[kind, level]
        ridges.append(
            pd.DataFrame(
                {
                    "row": row,
                    "x": one.at * units.rate_factor,
                    "top": base - (_RIDGE_PX - 3.0) * one.density,
                    "base": base,
                }
            )
        )
        marks.append(pd.DataFrame({"x": one.means * units.rate_factor, "below": below}))
    return pd.concat(ridges, ignore_index=True), pd.concat(marks, ignore_index=True)


def cohort_chart(
    curve: pd.DataFrame,
    *,
    ends: tuple[float, float],
    units: TrendUnits,
    look: Look = LIGHT,
    width: Width = "container",
    height: int = 170,
) -> Spec:
    """Return the mean play of one cohort's parts over distance, its interval, and the middle 90 % of parts.

    Parameters
    ----------
    curve
        The rows of one cohort of ``trends.cohort_curves``.
    ends
        How far and how high both axes go, in ``units``, so that cohorts side by side compare.
    """
    names = ("play_mm", "mean_lower", "mean_upper", "parts_lower", "parts_upper")
    frame = pd.DataFrame({name: curve[name].to_numpy() * units.play_factor for name in names})
    frame["parts_lower"] = frame["parts_lower"].clip(lower=0.0)
    frame["distance"] = curve["distance_km"].to_numpy() * units.distance_factor
    x = alt.X("distance:Q", scale=alt.Scale(domain=[0.0, ends[0]], nice=False), axis=_distance_axis(units))
    scale = alt.Scale(domain=[0.0, ends[1]], nice=False)
    y = alt.Y("play_mm:Q", scale=scale, axis=_beside(f"Play, {units.play}"))
    base = alt.Chart(frame)
    band = base.mark_area(color=look.accent, opacity=0.14)
    inner = base.mark_area(color=look.accent, opacity=0.3)
    line = base.mark_line(color=look.accent, strokeWidth=2)
    return framed(
        [
            band.encode(x=x, y=alt.Y("parts_lower:Q", scale=scale), y2="parts_upper:Q"),
            inner.encode(x=x, y=alt.Y("mean_lower:Q", scale=scale), y2="mean_upper:Q"),
            line.encode(x=x, y=y),
        ],
        look=look, width=width, height=height,
    )  # fmt: skip


def crossing_chart(
    trend: LifetimeTrend,
    *,
    units: TrendUnits,
    look: Look = LIGHT,
    width: Width = "container",
    height: int = 220,
) -> Spec:
    """Return the share of a group's parts that has crossed the limit, over the distance since they were fitted.

    Steps and shade: without any assumption, the shade where the visits leave it open. Line and band: the likelier
    distribution with its 95 % interval; dashed: the other one. Nothing is drawn beyond the reach of the lifetimes.
    """
    assert trend.estimate is not None, "a group without parts has no picture"
    far = trend.lifetimes.reach
    ends = np.unique(np.concatenate([trend.estimate.left, trend.estimate.right, np.linspace(0.0, far, _POINTS)]))
    at = ends[(ends <= far) & np.isfinite(ends)]
    least, most = trend.estimate.bounds(at)
    frame = pd.DataFrame({"distance": at * units.distance_factor, "low": 1.0 - most, "high": 1.0 - least})
    top = float(frame["high"].max())
    smooth = []
    for number, one in enumerate(trend.distributions):
        middle, low, high = one.survival(at[1:])
        top = max(top, float((1.0 - low).max()) if number == 0 else 0.0)
        smooth.append(
            pd.DataFrame(
                {"distance": at[1:] * units.distance_factor, "share": 1.0 - middle, "low": 1.0 - high,
                 "high": 1.0 - low, "name": one.name}
            )
        )  # fmt: skip
    x = alt.X("distance:Q", scale=alt.Scale(domain=[0.0, far * units.distance_factor], nice=False),
              axis=_distance_axis(units))  # fmt: skip
    scale = alt.Scale(domain=[0.0, min(max(1.08 * top, 0.05), 1.0)], nice=False)
    y = alt.Y("low:Q", scale=scale, axis=_beside("Share over the limit", format=".0%"))
    tips = [alt.Tooltip("said:N", title="share over the limit")]
    base = alt.Chart(frame.assign(said=[say_probability(value) for value in frame["low"]]))
    layers: list[Any] = []
    if smooth:
        best = alt.Chart(smooth[0])
        layers.append(best.mark_area(color=look.accent, opacity=0.16, clip=True).encode(x=x, y=y, y2="high:Q"))
    layers.append(
        base.mark_area(color=look.ink, opacity=0.22, interpolate="step-after", clip=True).encode(x=x, y=y, y2="high:Q")
    )
    layers.append(
        base.mark_line(color=look.ink, strokeWidth=1.5, interpolate="step-after", clip=True).encode(
            x=x, y=y, tooltip=tips
        )
    )
    for number, curve in enumerate(smooth):
        dash: Any = [] if number == 0 else [5, 4]
        line = alt.Chart(curve).mark_line(color=look.accent, strokeWidth=2 if number == 0 else 1.5, strokeDash=dash,
                                          clip=True)  # fmt: skip
        layers.append(line.encode(x=x, y=alt.Y("share:Q", scale=scale)))
    return framed(layers, look=look, width=width, height=height)


def _distance_axis(units: TrendUnits) -> alt.Axis:
    return alt.Axis(
        title=f"Distance since fitted, 1,000 {units.distance}",
        tickCount=4,
        labelExpr="format(datum.value / 1000, ',')",
        labelFlush=True,
    )


def _beside(title: str, **more: Any) -> alt.Axis:
    """Return an axis whose title stands over it."""
    return alt.Axis(
        title=title, tickCount=4, titleAngle=0, titleAlign="left", titleBaseline="bottom", titleX=-28, titleY=-6, **more
    )
