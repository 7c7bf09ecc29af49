"""The model check: a backtest's figures in words and rows, for a page, a terminal and a file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.planning.wording import say_count, say_date, say_probability, say_small_play

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleetwear.backtest.records import StoredBacktest

FORECASTERS = {
    "forecast": "Forecast",
    "share of limit": "By share of limit",
    "straight line": "Straight line",
}
"""The forecasters of the store, and their names at the head of a column."""

NONE = "–"
"""Stands where a forecaster has no such figure."""

UNTOLD = "cannot be told"
"""Stands where these cases do not tell the figure."""


def _share(value: float) -> str:
    return f"{100.0 * value:.0f}\u00a0%"


def _plain(value: float) -> str:
    return f"{value:.3f}"


def _fine(value: float) -> str:
    return f"{value:.4f}"


def _count(value: float) -> str:
    return f"{value:,.0f}" if abs(value - round(value)) < 0.05 else f"{value:,.1f}"


@dataclass(frozen=True)
class _Figure:
    name: str
    say: Callable[[float], str]
    meaning: str


_FIGURES = {  # the order of the page
    "flags": _Figure("Flags", _count, "cases above the accepted risk; the others flag as many, date by date"),
    "missed": _Figure("Crossings missed", _count, "readings over the limit that were not flagged"),
    "false_flags": _Figure("Flags without a crossing", _count, "flagged, and read within the limit"),
    "crps_mm": _Figure(
        "Error of the reading (CRPS)", say_small_play, "how far forecasts lay from readings; lower is better"
    ),
    "coverage_80": _Figure("Read within the 80\u00a0% interval", _share, "80\u00a0% if intervals are right"),
    "coverage_95": _Figure("Read within the 95\u00a0% interval", _share, "95\u00a0% likewise"),
    "brier_skill": _Figure("Brier skill", _plain, "1 is perfect, 0 no better than the share that crossed"),
    "brier": _Figure("Brier score", _fine, "mean squared error of the probabilities; lower is better"),
    "log_score": _Figure("Log score", _plain, "punishes being sure and wrong; lower is better"),
}  # fmt: skip


def figure_table(check: StoredBacktest, *, scope: str = "all") -> pd.DataFrame:
    """Return the figures in words, one row a figure: figure, forecast, share_of_limit, straight_line, meaning."""
    rows = [
        {
            "figure": figure.name,
            **{name.replace(" ", "_"): _said(check, measure, name, scope) for name in FORECASTERS},
            "meaning": figure.meaning,
        }
        for measure, figure in _FIGURES.items()
    ]
    return pd.DataFrame(rows)


def _said(check: StoredBacktest, measure: str, forecaster: str, scope: str) -> str:
    s = check.scores
    own = s[(s["forecaster"] == forecaster) & (s["scope"] == scope) & (s["measure"] == measure)]
    if own.empty:
        return NONE
    value = float(own["value"].iloc[0])
    return UNTOLD if np.isnan(value) else _FIGURES[measure].say(value)


def score_table(check: StoredBacktest) -> pd.DataFrame:
    """Return the figures as numbers, one row a scope and measure: a column a forecaster, and n cases."""
    wide = check.scores.pivot(index=["scope", "measure", "n"], columns="forecaster", values="value")
    wide = wide.reindex(columns=list(FORECASTERS)).rename(columns=lambda name: name.replace(" ", "_"))
    wide.columns.name = None
    return wide.reset_index()[["scope", "measure", "forecast", "share_of_limit", "straight_line", "n"]]


def kind_table(check: StoredBacktest) -> pd.DataFrame:
    """Return one row a kind of joint in words: kind, readings, over_limit, missed, coverage_95, crps."""
    kinds = sorted(set(check.scores["scope"]) - {"all"})
    rows = []
    for kind in kinds:
        events, expected = check.figure("events", scope=kind), check.figure("expected_events", scope=kind)
        rows.append(
            {
                "kind": kind,
                "readings": f"{_cases(check, kind):,}",
                "over_limit": f"{_count(events)} ({expected:.1f} forecast)",
                "missed": " / ".join(_said(check, "missed", name, kind) for name in FORECASTERS) if events else NONE,
                "coverage_95": _said(check, "coverage_95", "forecast", kind),
                "crps": _said(check, "crps_mm", "forecast", kind),
            }
        )
    return pd.DataFrame(rows)


def date_table(check: StoredBacktest) -> pd.DataFrame:
    """Return one row an as-of date that was scored, in words: as_of, scored, over_limit, repeats, replaced, waiting."""
    scored = check.dates[check.dates["skipped"] == ""]
    counts = {"scored": "cases", "over_limit": "events", "repeats": "repeats", "replaced": "replaced",
              "waiting": "waiting"}  # fmt: skip
    return pd.DataFrame(
        {"as_of": [say_date(day) for day in scored["as_of"]]}
        | {name: [f"{n:,}" for n in scored[f"n_{column}"]] for name, column in counts.items()}
    )


def left_out(check: StoredBacktest) -> list[str]:
    """Return what was left out and why, a sentence each: dates, and series of kinds without a model."""
    skipped = check.dates[check.dates["skipped"] != ""]
    words = [f"{say_date(row.as_of)} is left out: {row.skipped}." for row in skipped.itertuples()]
    unfitted = int(check.dates["n_without_model"].sum())
    if unfitted:
        words.append(f"{say_count(unfitted, 'case', 'cases')} of kinds with too few readings for a model are left out.")
    return words


def bin_table(check: StoredBacktest, *, scope: str = "all") -> pd.DataFrame:
    """Return one row a bin of the calibration curve in words: forecast, observed, interval, cases."""
    curve = check.calibration[check.calibration["scope"] == scope]
    return pd.DataFrame(
        {
            "forecast": [say_probability(p) for p in curve["mean_forecast"]],
            "observed": [f"{p:.3f}" for p in curve["observed"]],
            "interval": [f"{a:.3f} to {b:.3f}" for a, b in zip(curve["lower"], curve["upper"], strict=True)],
            "cases": [f"{events:,} of {n:,}" for events, n in zip(curve["events"], curve["n"], strict=True)],
        }
    )


def _cases(check: StoredBacktest, scope: str = "all") -> int:
    return int(check.scores.loc[check.scores["scope"] == scope, "n"].iloc[0])


_FEW = 30
"""Crossings below which the figures that rest on them are said to be rough."""


def say_scope(check: StoredBacktest) -> str:
    """Return what was scored, in words."""
    scored = check.dates[check.dates["skipped"] == ""]
    days = [say_date(day) for day in scored["as_of"]]
    looked = days[0] if len(days) == 1 else f"{len(days)} dates from {days[0]} to {days[-1]}"
    events = int(check.figure("events"))
    rough = " So few crossings make the Brier skill and the counts of missed ones rough." if events < _FEW else ""
    return (
        f"Looking from {looked}, {say_count(_cases(check), 'next reading was', 'next readings were')} forecast and "
        f"then taken; {events:,} came out over the limit, where {check.figure('expected_events'):.1f} were forecast."
        f"{rough}"
    )


def say_coverage(check: StoredBacktest) -> str:
    """Return how far prediction intervals can be believed, in a sentence."""
    at_80, at_95 = check.figure("coverage_80"), check.figure("coverage_95")
    n = _cases(check)
    return (
        f"Of {n:,} prediction intervals of 80\u00a0%, {_share(at_80)} held the reading, and of those of 95\u00a0%, "
        f"{_share(at_95)}. {_judged(at_95, 0.95, n)}"
    )


def _judged(share: float, level: float, n: int) -> str:
    """Return a verdict on a coverage, with room of two standard errors for chance."""
    room = 2.0 * float(np.sqrt(level * (1.0 - level) / n))
    if share < level - room:
        return (
            "The 95\u00a0% intervals are too narrow: readings stray further than they say. Readings whose setup "
            "slipped are among them, and the intervals are those of one that did not."
        )
    if share > level + room:
        return "The 95\u00a0% intervals are too wide: readings stray less than they say."
    return "That is within what chance allows."


def say_lost(check: StoredBacktest) -> str:
    """Return what the figures cannot tell since parts were replaced first, in words."""
    replaced, flagged = int(check.dates["n_replaced"].sum()), int(check.dates["n_replaced_flagged"].sum())
    waiting = say_count(int(check.dates["n_waiting"].sum()), "other has", "others have")
    if replaced:
        told = say_count(replaced, "case was lost to a part", "cases were lost to parts")
        above = f"{flagged:,} of them" if replaced > 1 else "by then" if flagged else "not"
        head = f"{told} replaced or adjusted before being read again, {above} above the accepted risk"
    else:
        head = "No case was lost to a part replaced or adjusted before being read again"
    return (
        f"{head}. What such parts would have read nobody knows: a fleet that replaces parts on its flags loses just "
        "the cases in which the flags were right, so that flags look worse here than they are, and probabilities too "
        "high. "
        f"{waiting} not been read again by the end of the record."
    )
