"""What the fit behind a forecast has learnt: shapes of wear and their weights, slips, and how methods differ."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleetwear.errors import StoreError
from fleetwear.planning.flags import latest_forecast
from fleetwear.store import sql

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


@dataclass(frozen=True)
class Learnt:
    """What stands in the store of one fit."""

    fit_id: int
    shapes: pd.DataFrame
    """One row a group of joints and shape, the heaviest first: weight, exponent, pace, wander_mm2_per_km, n_lives,
    n_readings, residual_variance, slip_share, slip_shift_mm, spread, doubt."""
    methods: pd.DataFrame
    """One row a group and way of reading: is_reference, n_readings, offset_mm with offset_se, variance_ratio,
    threshold_mm, softness_mm."""
    weights: pd.DataFrame
    """One row a cohort and shape, of cohorts whose weights differ from their group's."""


def read_learnt(con: duckdb.DuckDBPyConnection, *, forecast_id: int | None = None) -> Learnt | None:
    """Return what the fit of a forecast, the latest if none is named, has learnt.

    None where there is no forecast.
    """
    try:
        run = latest_forecast(con, forecast_id)
    except StoreError:
        return None
    key = {"fit_id": run.fit_id}
    return Learnt(
        run.fit_id,
        *(con.execute(sql(f"fit/learnt_{part}"), key).df() for part in ("shapes", "methods", "weights")),
    )
