"""What earlier fits and forecasts knew of every series is let go, so that a store does not grow by it every night.

The records stay, and so do the rows that say when each fit and forecast was made, with which settings and version: with
them it can be made again as of the same moment. Only what is worked out from the records goes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.store import sql

if TYPE_CHECKING:
    import duckdb

KEPT_FORECASTS = 7
"""The latest forecasts that stay whole: a week of nights."""

_ROWS = {
    "kept_found_in": ("own_fit_series", "own_posteriors", "own_fit_slips", "own_fit_residuals"),
    "kept_fits": ("fit_vehicles",),
    "kept_learnt_in": ("fit_learnt", "fit_setups"),
    "kept_made_in": ("own_forecast_joints", "own_forecast_vehicles"),
    "kept_forecasts": ("forecast_sources", "forecast_wheels"),
}


def let_go(con: duckdb.DuckDBPyConnection, *, keep: int = KEPT_FORECASTS) -> dict[str, int]:
    """Delete what none of the latest ``keep`` forecasts and fits needs, in one transaction.

    Returns
    -------
    dict
        Rows that went, by table, where any did.

    Raises
    ------
    InputError
        If ``keep`` is below 1.
    """
    if keep < 1:
        raise InputError(f"{keep} forecasts cannot be kept", mend="Keep at least 1.")
    gone = {}
    con.begin()
    try:
        for name in ("01_kept_forecasts", "02_kept_fits"):
            con.execute(sql(f"letting_go/{name}"), {"keep": keep}).fetchall()
        for name in ("03_found_in", "04_made_in", "05_learnt_in"):
            con.execute(sql(f"letting_go/{name}")).fetchall()
        for kept, tables in _ROWS.items():
            key = "forecast_id" if kept in ("kept_made_in", "kept_forecasts") else "fit_id"
            for table in tables:
                rows = con.execute(f"delete from {table} where {key} not in (select {key} from {kept})").fetchall()[0][
                    0
                ]
                if rows:
                    gone[table] = int(rows)
        con.commit()
    except BaseException:
        con.rollback()
        raise
    return gone
