"""What a snapshot holds: the records as they stand, and of fits and forecasts the latest, whole, as tables.

Readers never change a snapshot, so its tables have no keys and no indexes, which would take longer to make than the
rows. What the latest forecast took over from earlier ones stands in it as if it had been made at once, vehicle by
vehicle, so that a page of one vehicle reads a few rows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.errors import StoreError

if TYPE_CHECKING:
    import duckdb

_LEFT_OUT = ("fit_learnt", "fit_setups", "fit_vehicles", "forecast_sources")
"""What only a later fit or forecast needs."""
_OWN = "own_"
_OF_FORECAST = ("forecast_joints", "forecast_vehicles", "forecast_wheels")
_OF_FIT = ("fit_series", "posteriors", "fit_slips", "fit_residuals")


def copy_tables(con: duckdb.DuckDBPyConnection, target: str) -> None:
    """Copy what a snapshot holds from the connection's database into the attached one named ``target``."""
    source = con.execute("select current_database()").fetchall()[0][0]
    latest = con.execute("select forecast_id, fit_id from forecasts order by forecast_id desc limit 1").fetchall()
    forecast_id, fit_id = latest[0] if latest else (None, None)
    for table in _plain_tables(con):
        con.execute(f'create table "{target}".main."{table}" as from "{source}".main."{table}"').fetchall()
    for tables, key, number in ((_OF_FORECAST, "forecast_id", forecast_id), (_OF_FIT, "fit_id", fit_id)):
        for table in tables:
            con.execute(
                f'create table "{target}".main."{table}" as from "{source}".main."{table}" '
                f"where {key} is not distinct from {'null' if number is None else int(number)} order by vehicle_id"
            ).fetchall()
    _copy_views(con, source, target)


def _copy_views(con: duckdb.DuckDBPyConnection, source: str, target: str) -> None:
    """Make the store's other views in the snapshot, each after those that it reads."""
    import duckdb

    waiting = {
        name: statement
        for name, statement in con.execute(
            "select view_name, sql from duckdb_views() where database_name = current_database() "
            "and schema_name = 'main' and not internal and not temporary order by view_oid"
        ).fetchall()
        if name not in (*_OF_FORECAST, *_OF_FIT)
    }
    con.execute(f'use "{target}"')
    try:
        while waiting:
            before = len(waiting)
            for name, statement in list(waiting.items()):
                try:
                    con.execute(statement).fetchall()
                except duckdb.CatalogException:
                    continue
                del waiting[name]
            if len(waiting) == before:
                raise StoreError(f"the view {next(iter(waiting))} cannot be made", mend="Report this message.")
    finally:
        con.execute(f'use "{source}"')


def _plain_tables(con: duckdb.DuckDBPyConnection) -> list[str]:
    tables = con.execute(
        "select table_name from duckdb_tables() "
        "where database_name = current_database() and schema_name = 'main' and not temporary order by table_oid"
    ).fetchall()
    return [
        str(table)
        for (table,) in tables
        if not table.startswith(_OWN) and table not in (*_LEFT_OUT, *_OF_FORECAST, *_OF_FIT)
    ]
