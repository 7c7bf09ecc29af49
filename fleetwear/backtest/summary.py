"""The summary of a backtest: cases of all dates put together, each reading scored once, and their figures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.backtest import scoring
from fleetwear.backtest.cases import KEYS, READ, REPLACED, WAITING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from fleetwear.backtest.cases import DateCases

    Floats = NDArray[np.float64]

ALL = "all"
"""The scope of every case; the others are kinds of joint."""

FORECAST, SHARE_OF_LIMIT, STRAIGHT_LINE = "forecast", "share of limit", "straight line"

_DATE_COUNTS = [
    "n_cases", "n_events", "n_repeats", "n_replaced", "n_replaced_flagged", "n_waiting", "n_without_model",
]  # fmt: skip


@dataclass(frozen=True)
class Backtest:
    """A backtest's results, in the columns of the tables of the store."""

    dates: pd.DataFrame
    cases: pd.DataFrame
    scores: pd.DataFrame
    calibration: pd.DataFrame


def summarise(of_dates: Sequence[DateCases]) -> Backtest:
    """Return the results of all dates, given the earliest first.

    A reading that is the next one from several dates is scored from the earliest of them only, and a part replaced
    unread is counted once, so that no reading weighs twice.
    """
    seen: set[tuple[object, ...]] = set()
    counts, parts = [], []
    for one in of_dates:
        if one.skipped:
            counts.append({"as_of": one.as_of, **dict.fromkeys(_DATE_COUNTS, 0), "skipped": one.skipped})
            continue
        rows = one.series.assign(as_of=one.as_of)
        modelled = rows["p_over"].notna()
        fresh = _fresh(rows, seen)
        read = modelled & (rows["fate"] == READ)
        unread = modelled & fresh & (rows["fate"] == REPLACED)
        cases = rows[read & fresh]
        parts.append(cases)
        counts.append(
            {
                "as_of": one.as_of,
                "n_cases": len(cases),
                "n_events": int(cases["event"].sum()),
                "n_repeats": int((read & ~fresh).sum()),
                "n_replaced": int(unread.sum()),
                "n_replaced_flagged": int((unread & (rows["p_over"] > rows["accepted_risk"])).sum()),
                "n_waiting": int((modelled & fresh & (rows["fate"] == WAITING)).sum()),
                "n_without_model": int((~modelled & fresh).sum()),
                "skipped": "",
            }
        )
    cases = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    scores, calibration = (_scores(cases), _calibration(cases)) if len(cases) else (pd.DataFrame(), pd.DataFrame())
    return Backtest(pd.DataFrame(counts), cases, scores, calibration)


def _fresh(rows: pd.DataFrame, seen: set[tuple[object, ...]]) -> NDArray[np.bool_]:
    """Return which rows lead to a next reading, or to an end without one, that no earlier date led to."""
    keys = list(rows[[*KEYS, "next_date"]].astype({"next_date": str}).itertuples(index=False, name=None))
    fresh = np.array([key not in seen for key in keys], dtype=bool)
    seen.update(keys)
    return fresh


def _scopes(cases: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    yield ALL, cases
    for kind, part in cases.groupby("kind", sort=True):
        yield str(kind), part


def _scores(cases: pd.DataFrame) -> pd.DataFrame:
    """Return one row a forecaster, scope and measure: value and n, the cases that it rests on."""
    rows = []
    for scope, part in _scopes(cases):
        for forecaster, figures in _figures(part).items():
            for measure, value in figures.items():
                rows.append(
                    {"forecaster": forecaster, "scope": scope, "measure": measure, "value": value, "n": len(part)}
                )
    frame = pd.DataFrame(rows)
    return frame.assign(value=frame["value"].astype(float))


def _figures(cases: pd.DataFrame) -> dict[str, dict[str, float]]:
    """Return the figures of each forecaster over some cases."""
    event = cases["event"].to_numpy(bool)
    p, observed = cases["p_over"].to_numpy(float), cases["observed_mm"].to_numpy(float)
    forecast = {
        "events": float(event.sum()),
        "expected_events": float(p.sum()),
        "brier": scoring.brier(p, event),
        "brier_skill": scoring.brier_skill(p, event),
        "log_score": scoring.log_score(p, event),
        "crps_mm": float(cases["crps_mm"].mean()),
        "coverage_80": scoring.coverage(cases["q10_mm"].to_numpy(float), cases["q90_mm"].to_numpy(float), observed),
        "coverage_95": scoring.coverage(cases["q025_mm"].to_numpy(float), cases["q975_mm"].to_numpy(float), observed),
    }
    line = cases["line_mm"].to_numpy(float)
    return {
        FORECAST: forecast | _flagging(cases, _above_risk),
        SHARE_OF_LIMIT: _flagging(cases, lambda part: _as_many(part, part["share_of_limit"])),
        STRAIGHT_LINE: {"crps_mm": float(np.abs(line - observed).mean())}
        | _flagging(cases, lambda part: _as_many(part, part["line_mm"] / part["limit_mm"])),
    }


def _above_risk(cases: pd.DataFrame) -> Floats:
    return np.asarray(cases["p_over"] > cases["accepted_risk"], dtype=np.float64)


def _as_many(cases: pd.DataFrame, score: pd.Series) -> Floats:
    """Return the flags of a rival: as many as the forecast gives, on the cases of highest score."""
    return scoring.flag_highest(score.to_numpy(dtype=np.float64), int(_above_risk(cases).sum()))


def _flagging(cases: pd.DataFrame, flag: Callable[[pd.DataFrame], Floats]) -> dict[str, float]:
    """Return flags, missed events and false flags, each date's flags being chosen among its own cases."""
    total = {"flags": 0.0, "missed": 0.0, "false_flags": 0.0}
    for _, part in cases.groupby("as_of", sort=True):
        flagged, event = flag(part), part["event"].to_numpy(bool)
        total["flags"] += float(flagged.sum())
        total["missed"] += scoring.missed(flagged, event)
        total["false_flags"] += scoring.false_flags(flagged, event)
    return total


def _calibration(cases: pd.DataFrame) -> pd.DataFrame:
    parts = []
    for scope, part in _scopes(cases):
        curve = scoring.calibration_curve(part["p_over"].to_numpy(float), part["event"].to_numpy(bool))
        parts.append(curve.assign(scope=scope, bin=np.arange(1, len(curve) + 1)))
    return pd.concat(parts, ignore_index=True)
