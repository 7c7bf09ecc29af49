"""The table of joints on a vehicle's page, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.planning.wording import (
    begin_sentence,
    is_known,
    say_date,
    say_distance,
    say_growth,
    say_play,
    say_probability,
)
from fleetwear.reports.page_text import plain
from fleetwear.reports.sheet_words import POINTS, joint_title, short

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory
    from fleetwear.reports.sheet_words import Sheet


def heads(record: VehicleRecord) -> list[str]:
    """Return the headings of the table."""
    return [
        "Joint, load direction",
        "Last reading",
        "Limit and its source",
        "Share of limit",
        f"Growth, {record.vehicle['play_unit']} per 10,000 {record.vehicle['distance_unit']} (95 %)",
        "Over at next service",
        "Crosses its limit (5 to 95 %)",
    ]


def joint_row(history: JointHistory, unit: str) -> Sheet:
    """Return the cells of one joint in one load direction."""
    fact, play = history.fact, history.play_unit
    growth = [fact[column] for column in ("growth_mm_per_km", "growth_lower", "growth_upper")]
    limited = history.limit is not None
    marks = [
        word
        for column, word in (("question", "in question"), ("doubt", "read with care"))
        if fact[column] and fact["n_visits"] > 0
    ]
    source = plain(fact["limit_source"], 44) if is_known(fact["limit_source"]) else ""
    return {
        "name": plain(begin_sentence(str(fact["joint"])), 64),
        "direction": str(fact["direction"]),
        "outcome": "; ".join((short(str(fact["outcome"])), *marks)),
        "last": _last(fact, play),
        "indicative": "indicative" if fact["indicative"] else "",
        "limit": say_play(fact["limit_mm"], play) if limited else "none on record",
        "source": source if limited else "",
        "share": f"{float(fact['share_of_limit']):.0%}" if is_known(fact["share_of_limit"]) else "",
        "growth": say_growth(growth, play, unit).removesuffix(f" {play}") if is_known(growth[0]) else "",
        "chance": say_probability(fact["p_over_next"]) if is_known(fact["p_over_next"]) else "",
        "crossing": _crossing(fact, unit) if limited else "",
    }


def _last(fact: pd.Series, play: str) -> str:
    if not is_known(fact["last_date"]):
        return "not tested"
    what = say_play(fact["last_play_mm"], play) if is_known(fact["last_play_mm"]) else str(fact["last_result"])
    how = f", {plain(fact['last_method'], 24)}" if is_known(fact["last_method"]) else ""
    return f"{what}, {say_date(fact['last_date'])}{how}"


def _crossing(fact: pd.Series, unit: str) -> str:
    dates = [fact[f"crossing_date_{point}"] for point in POINTS]
    if not is_known(fact["p_over_next"]):
        return ""
    if not is_known(dates[0]):
        return "beyond the horizon"
    if not is_known(dates[1]):
        return f"beyond the horizon (from {say_date(dates[0])})"
    low, middle, high = (say_date(value) if is_known(value) else "beyond" for value in dates)
    near = fact["crossing_odometer_50"]
    at = f"; {say_distance(near, unit)}" if is_known(near) and fact["distance_source"] != "none" else ""
    return f"{middle} ({low} to {high}){at}"


def more_rows(rest: Sequence[JointHistory]) -> str:
    """Return what is said of the joints that the table has no room for."""
    if not rest:
        return ""
    outcome = str(rest[0].fact["outcome"])
    same = sum(str(history.fact["outcome"]) == outcome for history in rest)
    return (
        f"And {len(rest)} more joints and load directions, none more pressing; the worst outcome among them: {outcome} "
        f"({same}). The vehicle's page and the command line list them all."
        if len(rest) > 1
        else f"And 1 more, not more pressing: {joint_title(rest[0])}, {outcome}."
    )
