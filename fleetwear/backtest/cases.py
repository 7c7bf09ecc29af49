"""The cases of a backtest: what was forecast of each series' next reading at a date, and what that reading was.

A case is a current series with a limit whose last measured reading was within it by the as-of date, and that was
measured again later in the same life, before any work. Its event is that the later reading was over the limit. The
forecast is that of a reading at the distance, and in the way, in which the later one was really taken: wear alone is
scored, not how far the vehicle runs. A reading is the mean of a visit's strokes, as the model takes it.

Dates look at events, not at loading: a row that was loaded late counts from the day on which it happened.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.backtest.ahead import QUANTILES, as_read, forecast_readings
from fleetwear.backtest.rivals import straight_lines
from fleetwear.forecast import fit_fleet, prepare_series
from fleetwear.store import sql
from fleetwear.store.known import prepare

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

    import duckdb

    from fleetwear.forecast import Settings
    from fleetwear.forecast.growth import FleetFit

KEYS = ["vehicle_id", "position_id", "life_no", "direction"]
"""What a series is at every moment; its number is not."""

QUANTILE_COLUMNS = ["q025_mm", "q10_mm", "q50_mm", "q90_mm", "q975_mm"]

_EQUAL = 1e-9
"""Relative room in comparing a reading with a limit: a reading equal to its limit passes."""

TABLES_OF_FIT = ("vehicles", "positions", "parts")
"""The store's own tables that a fit looks into."""

READ, REPLACED, WAITING = "read", "replaced", "waiting"


@dataclass(frozen=True)
class Record:
    """What the whole record says, whichever date is looked from."""

    readings: pd.DataFrame
    """Every measured reading before work: the keys, visit_id, visit_date, life_distance_km, play_mm, way."""
    lives: pd.DataFrame
    """Every life: vehicle_id, position_id, life_no, end_date, end_distance_km."""
    first_day: date | None
    last_day: date | None
    """Days of the first and the last of the readings; None without any."""


@dataclass(frozen=True)
class DateCases:
    """One as-of date."""

    as_of: date
    series: pd.DataFrame
    """Every series that could be a case: the keys, kind, last reading, limit, fate (read, replaced, waiting), next
    reading, p_over (at the next reading, or where it was replaced at that distance), quantiles, rivals."""
    skipped: str
    """Why the date is not scored; empty where it is."""


def read_record(con: duckdb.DuckDBPyConnection, *, through: date, known_by: datetime | None = None) -> Record:
    """Return the whole record up to a day, from a connection to a store."""
    prepare(con, as_of=through, known_by=known_by)
    first, last = con.execute(sql("backtest/span")).fetchall()[0]
    return Record(con.execute(sql("backtest/readings")).df(), con.execute(sql("backtest/lives")).df(), first, last)


def cases_as_of(
    con: duckdb.DuckDBPyConnection,
    record: Record,
    *,
    as_of: date,
    settings: Settings,
    known_by: datetime | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
    on_read: Callable[[], None] | None = None,
) -> DateCases:
    """Return the cases of a date, from a fit of that date.

    Parameters
    ----------
    con
        A connection to a store; its tables of what was known are made anew, as of the date.
    record
        What happened later is looked up in it, and used for nothing but to choose, to place and to judge the cases.
    as_of, settings, known_by, on_progress
        As for ``pipelines.fit.run``.
    on_read
        Called before the fit, when of the connection only temporary tables and ``TABLES_OF_FIT`` are needed any more.
    """
    prepare(con, as_of=as_of, known_by=known_by)
    every = prepare_series(con)
    rows = _followed(con, record)
    if not (rows["fate"] == READ).any():
        return DateCases(as_of, rows, "no joint within its limit by then was measured again in the same life")
    own = con.execute(sql("backtest/own_readings")).df()
    if on_read is not None:
        on_read()
    fit = fit_fleet(con, every, settings, on_progress=on_progress)
    if not fit.groups:
        return DateCases(as_of, rows, "no kind of joint had enough readings by then for a model")
    return DateCases(as_of, _with_rivals(_with_forecasts(rows, fit, settings), every, own), "")


def _followed(con: duckdb.DuckDBPyConnection, record: Record) -> pd.DataFrame:
    """Return every series that could be a case, with what became of it."""
    con.execute(sql("forecast/facts")).fetchall()
    frames = {"record_readings": record.readings, "record_lives": record.lives}
    for name, frame in frames.items():
        con.register(name, frame)
    rows = con.execute(sql("backtest/followed"), {"equal": _EQUAL}).df()
    for name in frames:
        con.unregister(name)
    return rows


def _with_forecasts(rows: pd.DataFrame, fit: FleetFit, settings: Settings) -> pd.DataFrame:
    """Return the rows with the forecast of the next reading; of a part replaced unread, as it came out."""
    fate = rows["fate"].to_numpy()
    at = np.where(fate == REPLACED, rows["end_distance_km"].to_numpy(float), rows["next_distance_km"].to_numpy(float))
    at = np.where(np.isnan(at), rows["last_distance_km"].to_numpy(float), at)
    limit, observed = rows["limit_mm"].to_numpy(float), rows["observed_mm"].to_numpy(float)
    series = rows["series"].to_numpy(np.int64)
    ways = [way if isinstance(way, str) else None for way in rows["way"]]
    ahead = forecast_readings(as_read(fit, series, ways), series, at, limit, observed)
    risks = {kind: settings.accepted_risk(kind) for kind in rows["kind"].unique()}
    frame = rows.assign(
        ahead_km=at - rows["last_distance_km"].to_numpy(float),
        at_km=at,
        p_over=ahead.p_over,
        mean_mm=ahead.mean,
        sd_mm=ahead.sd,
        crps_mm=ahead.crps,
        event=(observed > limit * (1.0 + _EQUAL)),
        accepted_risk=rows["kind"].map(risks).astype(float),
    )
    frame[QUANTILE_COLUMNS] = ahead.quantiles
    assert len(QUANTILES) == len(QUANTILE_COLUMNS)
    return frame


def _with_rivals(rows: pd.DataFrame, every: pd.DataFrame, own: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with share_of_limit and line_mm, what the rivals go by."""
    intercept, slope = straight_lines(
        own["series"].to_numpy(np.int64),
        own["distance_km"].to_numpy(float),
        own["play_mm"].to_numpy(float),
        pd.factorize(every["kind"])[0].astype(np.int64),
    )
    series = rows["series"].to_numpy(np.int64)
    return rows.assign(
        share_of_limit=rows["last_mm"] / rows["limit_mm"],
        line_mm=intercept[series] + slope[series] * rows["at_km"].to_numpy(float),
    )
