"""Two narrow tables from which a page of the flags is told of a fleet of any size: they are kept in a snapshot.

``listed_vehicles`` has a row a vehicle with its place among all, ``listed_joints`` a row a joint and load direction
with the rank of what is said of it as long as its forecast does not cross. What is said at another accepted risk
follows from these two by comparing probabilities.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.planning.coverage import tests_kind
from fleetwear.planning.flags import latest_forecast
from fleetwear.planning.outcomes import ranks_unless_crossing
from fleetwear.store import sql
from fleetwear.vocabulary import OUTCOME_RANKS, WheelVerdict

if TYPE_CHECKING:
    import duckdb

    from fleetwear.planning.flags import ForecastRun

_VEHICLES_AT_A_TIME = 5_000
_JOINT_COLUMNS = (
    "vehicle_id bigint, position_id bigint, direction varchar, kind varchar, tests_kind boolean, tested boolean, "
    "rank_unless_crossing bigint, p_over_next double, share_of_limit double"
)


def make_flag_tables(con: duckdb.DuckDBPyConnection, *, temporary: bool = False) -> None:
    """Make ``listed_vehicles`` and ``listed_joints`` of the latest forecast; without a forecast there are none.

    Parameters
    ----------
    con
        A connection to a snapshot that is being made; or to any store or snapshot if ``temporary``.
    temporary
        Whether the tables are this connection's own.
    """
    if not con.execute("select count(*) from forecasts").fetchall()[0][0]:
        return
    run = latest_forecast(con)
    create = "create temporary table" if temporary else "create table"
    _make_vehicles(con, run, create)
    _make_joints(con, run, create)


def has_flag_tables(con: duckdb.DuckDBPyConnection) -> bool:
    """Return whether the tables can be read on this connection."""
    found = con.execute(
        "select count(distinct table_name) from duckdb_tables() "
        "where table_name in ('listed_vehicles', 'listed_joints') "
        "and (temporary or database_name = current_database())"
    ).fetchall()[0][0]
    return int(found) == 2


def _make_vehicles(con: duckdb.DuckDBPyConnection, run: ForecastRun, create: str) -> None:
    key = {"forecast_id": run.forecast_id}
    con.execute(f"create temporary table said_vehicles as {sql('pages/vehicles')}", key | {"unit": None}).fetchall()
    con.execute(f"create temporary table said_actions as {sql('pages/actions')}", key).fetchall()
    outcomes = sorted(OUTCOME_RANKS, key=OUTCOME_RANKS.__getitem__)
    told = key | {"over": str(WheelVerdict.OVER), "outcomes": outcomes}
    con.execute(f"{create} listed_vehicles as {sql('listed/vehicles')}", told).fetchall()
    con.execute("drop table said_vehicles").fetchall()
    con.execute("drop table said_actions").fetchall()


def _make_joints(con: duckdb.DuckDBPyConnection, run: ForecastRun, create: str) -> None:
    con.execute(f"{create} listed_joints ({_JOINT_COLUMNS})").fetchall()
    first, last = con.execute("select min(vehicle_id), max(vehicle_id) from listed_vehicles").fetchall()[0]
    if first is None:
        return
    for start in range(int(first), int(last) + 1, _VEHICLES_AT_A_TIME):
        some = {"forecast_id": run.forecast_id, "first": start, "last": start + _VEHICLES_AT_A_TIME - 1}
        facts = con.execute(sql("listed/facts"), some).df()
        if facts.empty:
            continue
        rows = pd.DataFrame(
            {
                **{name: facts[name] for name in ("vehicle_id", "position_id", "direction", "kind")},
                "tests_kind": tests_kind(facts),
                "tested": facts["tested"],
                "rank_unless_crossing": ranks_unless_crossing(facts, run.settings),
                "p_over_next": facts["p_over_next"],
                "share_of_limit": facts["share_of_limit"],
            }
        )
        con.register("rows_to_list", rows)
        con.execute("insert into listed_joints from rows_to_list").fetchall()
        con.unregister("rows_to_list")
