"""Backtests as rows of the store: each is written whole, with its settings, and read back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import fleetwear
from fleetwear.errors import StoreError
from fleetwear.forecast.records import insert_frame
from fleetwear.store import sql

if TYPE_CHECKING:
    from datetime import datetime

    import duckdb
    import pandas as pd

    from fleetwear.backtest.summary import Backtest


@dataclass(frozen=True)
class StoredBacktest:
    """A backtest as the store keeps it."""

    backtest_id: int
    made_at: datetime
    version: str
    settings: dict[str, Any]
    """The settings of its fits, with every_months, start, through and known_by."""
    elapsed_seconds: float
    dates: pd.DataFrame
    """One row a date: as_of, n_cases, n_events, n_repeats, n_replaced, n_replaced_flagged, n_waiting,
    n_without_model, skipped."""
    scores: pd.DataFrame
    """forecaster, scope, measure, value, n."""
    calibration: pd.DataFrame
    """scope, bin, p_from, p_to, n, mean_forecast, events, observed, lower, upper."""

    def figure(self, measure: str, *, forecaster: str = "forecast", scope: str = "all") -> float:
        """Return one figure; nan where it cannot be told or is none of that forecaster's."""
        s = self.scores
        found = s.loc[(s["forecaster"] == forecaster) & (s["scope"] == scope) & (s["measure"] == measure), "value"]
        return float(found.iloc[0]) if len(found) else float("nan")


def save_backtest(
    con: duckdb.DuckDBPyConnection,
    backtest: Backtest,
    *,
    made_at: datetime,
    settings: dict[str, Any],
    elapsed_seconds: float,
) -> int:
    """Write a backtest in one transaction and return its backtest_id."""
    con.begin()
    try:
        rows = con.execute(
            "insert into backtests (made_at, version, settings, elapsed_seconds) values (?, ?, ?, ?) "
            "returning backtest_id",
            [made_at, fleetwear.__version__, json.dumps(settings, sort_keys=True, default=str), elapsed_seconds],
        ).fetchall()
        backtest_id = int(rows[0][0])
        insert_frame(con, "backtest_dates", backtest.dates.assign(backtest_id=backtest_id))
        insert_frame(con, "backtest_cases", backtest.cases.assign(backtest_id=backtest_id))
        insert_frame(con, "backtest_scores", backtest.scores.assign(backtest_id=backtest_id))
        insert_frame(con, "backtest_calibration", backtest.calibration.assign(backtest_id=backtest_id))
        con.commit()
    except BaseException:
        con.rollback()
        raise
    return backtest_id


def read_backtest(con: duckdb.DuckDBPyConnection, backtest_id: int | None = None) -> StoredBacktest | None:
    """Return a backtest, the latest unless a number is given; None where the store has none.

    A store or snapshot from before there were backtests has none.
    """
    if not _has_backtests(con):
        return None
    rows = con.execute(sql("backtest/latest"), {"backtest_id": backtest_id}).fetchall()
    if not rows:
        return None
    number, made_at, version, settings, elapsed = rows[0]
    key = {"backtest_id": int(number)}
    return StoredBacktest(
        int(number),
        made_at,
        str(version),
        json.loads(str(settings)),
        float(elapsed),
        con.execute(sql("backtest/stored_dates"), key).df(),
        con.execute(sql("backtest/stored_scores"), key).df(),
        con.execute(sql("backtest/stored_calibration"), key).df(),
    )


def read_cases(con: duckdb.DuckDBPyConnection, backtest_id: int) -> pd.DataFrame:
    """Return the cases of a backtest, one row a case, with unit and joint.

    Raises
    ------
    StoreError
        If there is no such backtest.
    """
    if read_backtest(con, backtest_id) is None:
        raise StoreError(f"there is no backtest number {backtest_id} in the store", mend="Run `fleetwear backtest`.")
    return con.execute(sql("backtest/stored_cases"), {"backtest_id": backtest_id}).df()


def _has_backtests(con: duckdb.DuckDBPyConnection) -> bool:
    found = con.execute(
        "select count(*) from duckdb_tables() where table_name = 'backtests' and database_name = current_database()"
    ).fetchall()
    return bool(found[0][0])
