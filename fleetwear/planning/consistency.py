"""Whether an instrument, a method or a shop reads as the others do: charts of residuals, and what stands out.

A residual is how far a reading lies from what the other readings of its joint say. Those of one day and source make a
point; its spread is that of all points (median absolute deviation), where that is more than the fit claims. A source is
named where its moving average has signalled and a step in its points is beyond doubt: p below 0.01, adjusted for every
place of the step and for every source that was looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import StoreError
from fleetwear.measurement.charts import most_likely_step, moving_average
from fleetwear.planning.flags import latest_forecast
from fleetwear.planning.wording import say_count, say_date, say_small_play
from fleetwear.store import sql

if TYPE_CHECKING:
    import duckdb

    from fleetwear.measurement.charts import Floats, Step

LEAST_DAYS = 6
"""Days with readings that a source needs before anything is said of it."""

P_NAMED = 0.01
"""Adjusted p value below which a step is beyond doubt."""

CANNOT_TELL = (
    "Residuals compare readings of the same joints with each other. A source that has always been off by the same "
    "amount, and that alone has read its joints, cannot be told from true play; where half of a joint's readings are "
    "off, about half of the shift is seen. A step of a shop may also come from its vehicles: look at the instrument "
    "first."
)


@dataclass(frozen=True)
class Consistency:
    """What the residuals of a fit say of the sources of readings."""

    fit_id: int
    points: pd.DataFrame
    """One row a source and day: source, name, visit_date, n_readings, residual_mm, variance_mm2, average and limit (of
    the moving average, in standard deviations), signal."""
    sources: pd.DataFrame
    """One row a source: source, name, n_days, n_readings, first_day, last_day, named, since, shift_mm, shift_lower,
    shift_upper (95 %), p_value, says."""
    spread: float
    """Standard deviation of standardised points, at least 1."""
    agreements: pd.DataFrame
    """agreement_id, source, name, since, until, shift_mm, variance_ratio, why, agreed_by, agreed_at, stands."""

    @property
    def named(self) -> pd.DataFrame:
        """The sources that stand out."""
        return self.sources[self.sources["named"]]


def read_consistency(con: duckdb.DuckDBPyConnection, *, forecast_id: int | None = None) -> Consistency:
    """Return what the fit behind a forecast (the latest if not given) says of the sources of its readings.

    Raises
    ------
    StoreError
        If there is no forecast, or its fit was made before residuals were kept.
    """
    run = latest_forecast(con, forecast_id)
    points = con.execute(sql("consistency/points"), {"fit_id": run.fit_id}).df()
    if points.empty:
        raise StoreError(
            f"forecast {run.forecast_id} has no residuals of readings with it",
            mend="Run `fleetwear forecast` again; a joint needs two measured readings before one can be compared.",
        )
    agreements = con.execute(sql("consistency/agreements")).df()
    return look_at(points, agreements, fit_id=run.fit_id)


def look_at(points: pd.DataFrame, agreements: pd.DataFrame, *, fit_id: int) -> Consistency:
    """Return what points of sources by day say; columns are those of ``consistency/points.sql``."""
    spread = _spread((points["residual_mm"] / np.sqrt(points["variance_mm2"])).to_numpy(float))
    whole, rows = [], []
    grouped = points.groupby(["source", "name"], sort=True)
    looked_at = int((grouped.size() >= LEAST_DAYS).sum())
    for (source, name), own in grouped:
        values, variances = own["residual_mm"].to_numpy(float), own["variance_mm2"].to_numpy(float) * spread**2
        average = moving_average(values / np.sqrt(variances))
        whole.append(own.assign(average=average.values, limit=average.limits, signal=average.signals))
        step = most_likely_step(values, variances) if len(own) >= LEAST_DAYS else None
        p = 1.0 if step is None else min(1.0, step.p_value * looked_at)
        rows.append(_row(str(source), str(name), own, step, p, signalled=bool(average.signals.any())))
    return Consistency(fit_id, pd.concat(whole, ignore_index=True), pd.DataFrame(rows), spread, agreements)


def _spread(z: Floats) -> float:
    """Return the standard deviation of standardised points by their median absolute deviation, at least 1."""
    return max(1.0, 1.4826 * float(np.median(np.abs(z - np.median(z)))))


def _row(
    source: str, name: str, own: pd.DataFrame, step: Step | None, p: float, *, signalled: bool
) -> dict[str, object]:
    named = step is not None and signalled and p < P_NAMED
    row: dict[str, object] = {
        "source": source,
        "name": name,
        "n_days": len(own),
        "n_readings": int(own["n_readings"].sum()),
        "first_day": own["visit_date"].iloc[0],
        "last_day": own["visit_date"].iloc[-1],
        "named": named,
        "since": own["visit_date"].iloc[step.first] if step is not None and named else pd.NaT,
        "shift_mm": step.shift if step is not None and named else np.nan,
        "shift_lower": step.shift - 1.96 * step.standard_error if step is not None and named else np.nan,
        "shift_upper": step.shift + 1.96 * step.standard_error if step is not None and named else np.nan,
        "p_value": p if step is not None else np.nan,
    }
    return row | {"says": _says(row, own, step if named else None)}


def _says(row: dict[str, object], own: pd.DataFrame, step: Step | None) -> str:
    head = f"{str(row['source']).capitalize()} {row['name']}"
    if len(own) < LEAST_DAYS:
        return f"{head}: {say_count(len(own), 'day', 'days')} with readings that can be compared, too few to tell."
    if step is None:
        return f"{head}: nothing stands out."
    after = own.iloc[step.first :]
    which = "high" if step.shift > 0 else "low"
    return (
        f"{head} has read {say_small_play(abs(step.shift))} {which} since {say_date(row['since'])}: "
        f"{say_count(int(after['n_readings'].sum()), 'reading', 'readings')} on "
        f"{say_count(len(after), 'day', 'days')}. Check it before its readings are relied on."
    )
