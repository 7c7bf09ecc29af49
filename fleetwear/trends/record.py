"""What the trends of a published forecast are made from, read once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError, StoreError
from fleetwear.planning.effects import read_effects
from fleetwear.planning.flags import ForecastRun, latest_forecast
from fleetwear.store import sql
from fleetwear.store.known import prepare

if TYPE_CHECKING:
    import duckdb

FACTORS = ("kind", "model", "depot", "duty", "supplier")
"""What trends are told by."""

MOST_LIVES = 400
"""Lives of a cohort above which its mean curve is that of an even sample of so many."""
_SURELY_SEEN = 3.0
"""Softnesses above the detection threshold at which play would be seen 19 times in 20, logistic curve."""


@dataclass(frozen=True)
class Trends:
    """What is known of all lives of a fleet; frames that nobody may change."""

    run: ForecastRun
    version: str
    kinds: tuple[str, ...]
    """The kinds of joint of the lives, in order; none if no part of known origin has a reading."""
    lives: pd.DataFrame
    """One row a life in one load direction: vehicle_id, kind, direction, model, depot, duty, supplier, cohort, read_km,
    n_visits, far_km, growth_mm_per_km with its variance (posterior of the mean growth over the first far_km)."""
    curves: pd.DataFrame
    """One row a cohort and distance: kind, direction, model, duty and the sums of ``wear.spread``."""
    lifetimes: pd.DataFrame
    """One row a part: lower_km, upper_km (nan if it was never read over), limits, n_looks, has_ended."""
    effects: pd.DataFrame
    """The comparisons of growth of ``planning.effects``; empty where the forecast has none."""
    left_out: pd.DataFrame
    """One row a kind: n_parts, without_odometer, of_unknown_origin, never_read."""
    surely_seen_mm: float
    """Seeing no play counts as under a limit from here on."""
    units: tuple[tuple[str, str], ...]
    """The units of play and distance that the fleet's vehicles are read in, the most frequent first."""

    def without_rows(self) -> Trends:
        """Return what is told of them all, without lives, curves and lifetimes."""
        empty = {name: getattr(self, name).iloc[:0].copy() for name in ("lives", "curves", "lifetimes")}
        return replace(self, **empty)


def check_trend_question(trends: Trends, *, by: str, kind: str | None) -> None:
    """Refuse a factor or a kind that there is not.

    Raises
    ------
    InputError
        If the factor or the kind is not one of those that there are.
    """
    if by not in FACTORS:
        raise InputError(f"trends by {by!r}", mend=f"Choose one of: {', '.join(FACTORS)}.")
    if kind is not None and kind not in trends.kinds:
        known = ", ".join(trends.kinds) or "none has a reading yet"
        raise InputError(f"there are no trends of the kind {kind!r}", mend=f"Choose one of: {known}.")


def read_trends(con: duckdb.DuckDBPyConnection, *, forecast_id: int | None = None) -> Trends:
    """Return what the trends of the latest forecast, or of the one of that number, are made from.

    Raises
    ------
    StoreError
        If there is no forecast.
    """
    run = latest_forecast(con, forecast_id)
    version = str(con.execute(sql("pages/forecast"), {"forecast_id": run.forecast_id}).fetchall()[0][5])
    prepare(con, as_of=run.as_of, known_by=run.known_by)
    fit = {"fit_id": run.fit_id}
    con.execute(sql("effects/lives"), {"every_result": True}).fetchall()
    con.execute(sql("trends/series"), fit).fetchall()
    surely_seen = run.settings.none_seen_mm + _SURELY_SEEN * run.settings.none_seen_softness_mm
    lives = con.execute(sql("trends/growth"), fit).df()
    return Trends(
        run=run,
        version=version,
        kinds=tuple(sorted(lives["kind"].unique())),
        lives=lives,
        curves=con.execute(sql("trends/curves"), fit | {"most": MOST_LIVES}).df(),
        lifetimes=con.execute(sql("trends/lifetimes"), fit | {"surely_seen_mm": surely_seen}).df(),
        effects=_effects(con, run.forecast_id),
        left_out=con.execute(sql("trends/left_out")).df(),
        surely_seen_mm=surely_seen,
        units=_units(con),
    )


def _effects(con: duckdb.DuckDBPyConnection, forecast_id: int) -> pd.DataFrame:
    try:
        return read_effects(con, forecast_id=forecast_id)
    except StoreError:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in ("kind", "factor", "level", "ratio", "says")})


def _units(con: duckdb.DuckDBPyConnection) -> tuple[tuple[str, str], ...]:
    rows = con.execute(sql("trends/units")).fetchall()
    return tuple((str(play), str(distance)) for play, distance in rows) or (("mm", "km"),)
