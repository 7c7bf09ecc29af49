"""Trends in sentences: what stands out, how it was made, what it cannot say, and what was left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.planning.wording import say_count, say_date
from fleetwear.reports.trend_tables import HEADS, TrendUnits, say_tenth

if TYPE_CHECKING:
    from fleetwear.trends import TrendAnswer

METHOD = (
    "Growth is the mean over the first distance that the table names, from what the wear model knows of each part "
    "after its readings; a group\u2019s interval goes by vehicles and counts what is not known of each part. "
    "By when parts cross is known only to lie between two visits: shares come from Turnbull\u2019s estimator, and from "
    "Weibull and lognormal distributions fitted to such intervals by maximum likelihood."
)
"""The method in two sentences."""
HOW_TO_READ_GROWTH = (
    "Circle and thick bar: mean growth of the group with its 95\u00a0% interval. Thin line: the middle 90\u00a0% of "
    "parts. Shade: how growth is spread among the parts, what is not known of each included. Ticks: each part\u2019s "
    "own best figure; they lie closer together than the parts, because few readings draw a part toward its cohort."
)
HOW_TO_READ_CURVES = (
    "Line: mean play of the cohort\u2019s parts. Dark band: its 95\u00a0% interval. Light band: the middle 90\u00a0% "
    "of parts. A curve ends where a quarter of its parts had been read that far."
)
HOW_TO_READ_CROSSINGS = (
    "Steps: the share of parts over their limit without any assumption, shaded where visits leave it open. "
    "Line and band: the likelier distribution with its 95\u00a0% interval; dashed: the other. "
    "Where no line is drawn, too few crossed to say how uncertain the steps are. A picture ends where fewer than five "
    "parts had been looked at."
)
GROWTH_CAUTION = (
    "These means are not adjusted: groups differ in models, duties and more at once. The comparisons below are "
    "adjusted, and are associations in the record still."
)
CROSSINGS_CAUTION = (
    "This is an association in the record, not what a part would do if it were left alone: parts are replaced where "
    "they wear fast, so that those taken out under their limit would have crossed sooner than those left in, and the "
    "shares are too low where many were. A single reading over the limit counts as a crossing, and readings err. "
    "Limits are those that apply on the as-of date, also to readings from before them."
)


def what_counts(answer: TrendAnswer) -> str:
    """Return what counts as a part, a crossing and being under, in words."""
    seen = answer.trends.surely_seen_mm
    return (
        "A part counts from when it was fitted or last adjusted. A visit is over where any load direction tested at it "
        f"reads over its limit. Play not seen counts as under where the limit is {seen:.2f} mm or more; play seen but "
        "not measured, and readings that have probably slipped, count as nothing."
    )


def title(answer: TrendAnswer) -> str:
    """Return what the report is of: "Growth and life of ball joints, by depot"."""
    what = "all kinds of joint" if answer.kind is None else f"{answer.kind}s"
    return f"Trends of {what}, by {HEADS[answer.by].lower()}"


def facts(answer: TrendAnswer) -> list[tuple[str, str]]:
    """Return which forecast and fit stand behind the trends."""
    run = answer.trends.run
    return [
        ("As of", say_date(run.as_of)),
        ("Forecast", f"number {run.forecast_id}"),
        ("Fit", f"number {run.fit_id}"),
        ("Made", f"{run.made_at:%Y-%m-%d %H:%M}"),
        ("Program", f"fleetwear {answer.trends.version}"),
    ]


def headlines(answer: TrendAnswer, units: TrendUnits) -> list[str]:
    """Return what stands out, a few sentences."""
    growth, said = answer.growth, []
    if growth.empty:
        return ["No group has parts enough to tell its growth."]
    if answer.by == "kind" and len(growth) > 1:
        ends = [f"{row['kind']}s ({units.say_rate(row['growth'])} {units.rate})" for row in
                (growth.iloc[0], growth.iloc[-1])]  # fmt: skip
        said.append(f"Play grows fastest in {ends[0]} and slowest in {ends[1]}.")
    elif answer.by == "kind":
        row = growth.iloc[0]
        said.append(f"Play of {row['kind']}s grows by {units.say_rate(row['growth'])} {units.rate} on the mean.")
    elif len(answer.comparisons):
        shown = answer.comparisons
        apart = (shown["simultaneous_lower"] > 1.0) | (shown["simultaneous_upper"] < 1.0)
        count = say_count(len(shown), "adjusted comparison", "adjusted comparisons")
        if apart.any():
            said.append(f"Of {count}, {int(apart.sum())} stand when all are counted together: "
                        + " ".join(str(one) for one in shown.loc[apart, "says"].head(3)))  # fmt: skip
        else:
            said.append(f"Of {count}, none shows a difference when all are counted together.")
    else:
        said.append("No adjusted comparison could be made.")
    crossed = sum(one.lifetimes.n_crossed for one in answer.lifetimes)
    parts = sum(len(one.lifetimes) for one in answer.lifetimes)
    said.append(f"{crossed:,} of {say_count(parts, 'part', 'parts')} with a limit have been read over it.")
    fitted = [one for one in answer.lifetimes if one.best is not None]
    said += [
        f"One {_called(one.kind, one.level, answer.by)} in ten has crossed by {say_tenth(one, units)}."
        for one in fitted[:3]
    ]
    return said


def _called(kind: str, level: str, by: str) -> str:
    return kind if by == "kind" else f"{kind} of {by} {level}"


def without_crossings(answer: TrendAnswer) -> str:
    """Return which groups have no crossing on record, or empty."""
    names = [
        f"{one.kind} ({len(one.lifetimes):,})"
        if answer.by == "kind"
        else f"{one.kind}, {one.level} ({len(one.lifetimes):,})"
        for one in answer.lifetimes
        if not one.lifetimes.n_crossed
    ]
    if not names:
        return ""
    return f"No crossing on record, parts in brackets: {'; '.join(names)}. That clears none of them."


def left_out(answer: TrendAnswer) -> list[str]:
    """Return what no trend could take, in sentences."""
    frame = answer.trends.left_out
    if answer.kind is not None:
        frame = frame[frame["kind"] == answer.kind]
    reasons = [
        ("of_unknown_origin", "of unknown origin, so that the distance since they were fitted is not known"),
        ("without_odometer", "on vehicles without an odometer"),
        ("never_read", "never read since they were fitted"),
    ]
    counted = [(int(frame[name].sum()), words) for name, words in reasons]
    said = []
    if any(number for number, _ in counted):
        words = "; ".join(f"{number:,} {words}" for number, words in counted if number)
        said.append(f"Of {say_count(int(frame['n_parts'].sum()), 'part', 'parts')} on record, left out: {words}.")
    once = sum(one.n_uninformative for one in answer.lifetimes)
    if once:
        said.append(f"{say_count(once, 'part', 'parts')} looked at only when fitted say nothing of when they cross.")
    replaced = sum(one.n_replaced_under for one in answer.lifetimes)
    said.append(
        f"{say_count(replaced, 'part was', 'parts were')} replaced or adjusted before any reading over the limit, and "
        "count as not crossed at their last look."
    )
    return said


def say_p_values(answer: TrendAnswer) -> str:
    """Return what the p values of the comparisons answer for."""
    return (
        f"p holm is adjusted for all {int(answer.trends.effects['ratio'].notna().sum())} comparisons of this forecast."
    )
