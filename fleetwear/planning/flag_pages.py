"""The flags a page at a time: what is shown is read, what is counted is counted in SQL, however large the fleet.

What these functions say is what `fleetwear.planning.flags` says of the whole fleet at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.planning.coverage import RANKS_TO_TEST_AGAIN, say_to_test
from fleetwear.planning.flag_tables import has_flag_tables, make_flag_tables
from fleetwear.planning.flags import ForecastRun, checked_horizon, checked_risk, latest_forecast
from fleetwear.planning.outcomes import classify, judge_vehicles
from fleetwear.planning.pressing import PRESSING
from fleetwear.store import sql
from fleetwear.vocabulary import OUTCOME_RANKS, Kind, Outcome

if TYPE_CHECKING:
    import duckdb

_LEAD = ["joint", "accepted_risk", "p_over_next", "indicative"]
_OF_RANK = {rank: outcome for outcome, rank in OUTCOME_RANKS.items()}
_KEY = ["vehicle_id", "position_id", "direction"]


@dataclass(frozen=True)
class Asked:
    """Which vehicles are asked for, and at which accepted risk; what is not given does not narrow."""

    depot: str | None = None
    horizon_days: float | None = None
    """Only vehicles whose next service falls, at its median, within that many days of the as-of date."""
    unit: str | None = None
    outcomes: tuple[str, ...] = ()
    accepted_risk: float | None = None
    """In place of the forecast's own; the cap of load-carrying joints stays."""


@dataclass(frozen=True)
class FlagPage:
    """A page of the flags."""

    run: ForecastRun
    counts: dict[str, int]
    """Vehicles by outcome, the most pressing first, of those asked for whatever is said of them."""
    shown: int
    """Vehicles of the outcomes asked for."""
    vehicles: pd.DataFrame
    """The page's rows of these, the most pressing first: the columns of ``Flags.vehicles`` but for vin, plate, owner,
    action_by and action_note, with p_over_next and indicative of the joint that leads."""
    pressing: pd.DataFrame
    """The first of the joints that press; see `planning.pressing.pressing_joints`."""
    pressing_in_all: int


@dataclass(frozen=True)
class FleetAtAGlance:
    """What a page asks of a fleet before anything is chosen."""

    run: ForecastRun
    depots: list[str]
    vehicles: int
    first_units: list[str]
    """The most pressing vehicles, a handful."""


@dataclass(frozen=True)
class ToTest:
    """What to test at the next visit."""

    rows: pd.DataFrame
    """As `planning.coverage.to_test` has them, of the first vehicles."""
    in_all: int
    vehicles_in_all: int


def read_fleet(con: duckdb.DuckDBPyConnection, *, units: int = 5) -> FleetAtAGlance:
    """Return what there is to choose from.

    Raises
    ------
    StoreError
        If there is no forecast.
    """
    run = _at_hand(con)
    depots = con.execute("select distinct depot from listed_vehicles where depot is not null order by depot").fetchall()
    first = con.execute("select unit from listed_vehicles order by place limit ?", [units]).fetchall()
    count = con.execute("select count(*) from listed_vehicles").fetchall()[0][0]
    return FleetAtAGlance(run, [str(row[0]) for row in depots], int(count), [str(row[0]) for row in first])


def read_page(con: duckdb.DuckDBPyConnection, asked: Asked, *, first: int, rows: int, drawn: int) -> FlagPage:
    """Return a page of the flags.

    Parameters
    ----------
    con
        A connection of this call's own to a snapshot or a store, on which temporary tables are made.
    asked
        Which vehicles.
    first, rows
        How many vehicles come before the page, and how many it has at most.
    drawn
        How many of the pressing joints are wanted at most.

    Raises
    ------
    StoreError
        If there is no forecast.
    InputError
        If the depot is unknown, or the risk or the horizon makes no sense.
    """
    run = _judge(con, asked)
    ranks = _ranks(asked)
    found = con.execute("select outcome_rank, count(*) from asked_vehicles group by 1 order by 1").fetchall()
    counts = {_OF_RANK[int(rank)]: int(count) for rank, count in found}
    shown = sum(count for outcome, count in counts.items() if not asked.outcomes or outcome in asked.outcomes)
    page = con.execute(sql("listed/page"), {"ranks": ranks, "rows": rows, "first": first}).df()
    pressing = con.execute(
        sql("listed/pressing"),
        {"pressing": [outcome.rank for outcome in PRESSING], "ranks": ranks, "drawn": max(drawn, 1)},
    ).df()
    return FlagPage(
        run=run,
        counts=counts,
        shown=shown,
        vehicles=_vehicles(con, run, asked, page["vehicle_id"]),
        pressing=_joints(con, run, asked, pressing.head(drawn)).drop(columns=["distance_note"]),
        pressing_in_all=int(pressing["total"].iloc[0]) if len(pressing) else 0,
    )


def read_vehicles(con: duckdb.DuckDBPyConnection, asked: Asked) -> tuple[ForecastRun, pd.DataFrame]:
    """Return every vehicle asked for, as ``FlagPage.vehicles`` has them; raises as `read_page`."""
    run = _judge(con, asked)
    everyone = con.execute(sql("listed/page"), {"ranks": _ranks(asked), "rows": None, "first": 0}).df()
    return run, _vehicles(con, run, asked, everyone["vehicle_id"])


def read_to_test(con: duckdb.DuckDBPyConnection, asked: Asked, *, vehicles: int | None = None) -> ToTest:
    """Return what to test at the next visit of the vehicles asked for, of so many of them; raises as `read_page`."""
    run = _judge(con, asked)
    con.execute(
        f"create or replace temporary table rows_to_test as {sql('listed/to_test')}",
        {"forecast_id": run.forecast_id, "again": list(RANKS_TO_TEST_AGAIN), "ranks": _ranks(asked)},
    ).fetchall()
    ((in_all, of_vehicles),) = con.execute("select count(*), count(distinct vehicle_id) from rows_to_test").fetchall()
    rows = con.execute(
        "select * from rows_to_test where $most is null or vehicle_number <= $most", {"most": vehicles}
    ).df()
    rows["outcome"] = rows["outcome_rank"].map(_OF_RANK).astype(object)
    return ToTest(say_to_test(rows), int(in_all), int(of_vehicles))


def _at_hand(con: duckdb.DuckDBPyConnection) -> ForecastRun:
    run = latest_forecast(con)
    if not has_flag_tables(con):  # a store, or a snapshot that an earlier program published
        make_flag_tables(con, temporary=True)
    return run


def _ranks(asked: Asked) -> list[int] | None:
    return [OUTCOME_RANKS[outcome] for outcome in asked.outcomes] or None


def _judge(con: duckdb.DuckDBPyConnection, asked: Asked) -> ForecastRun:
    """Make the temporary tables of what is said at the risk, and of the vehicles asked for."""
    checked_risk(asked.accepted_risk)
    checked_horizon(asked.horizon_days)
    run = _at_hand(con)
    if asked.depot is not None:
        known = read_fleet(con).depots
        if asked.depot not in known:
            raise InputError(f"no vehicle stands at depot {asked.depot!r}", mend=f"Choose one of: {', '.join(known)}.")
    con.execute(
        "create or replace temporary table accepted_risks (kind varchar, accepted_risk double, crosses bigint)"
    ).fetchall()
    con.executemany(
        "insert into accepted_risks values (?, ?, ?)",
        [
            (str(kind), run.settings.accepted_risk(str(kind), general=asked.accepted_risk), Outcome.CROSSES.rank)
            for kind in Kind
        ],
    )
    con.execute(f"create or replace temporary view judged_joints as {sql('listed/judged_joints')}").fetchall()
    if asked.accepted_risk is None:
        con.execute("create or replace temporary view judged_vehicles as from listed_vehicles").fetchall()
    else:
        outcomes = {"over": Outcome.OVER_LIMIT, "symptom": Outcome.SYMPTOM_CONFIRMED, "not_tested": Outcome.NOT_TESTED}
        con.execute(
            f"create or replace temporary table judged_vehicles as {sql('listed/judged_vehicles')}",
            {name: outcome.rank for name, outcome in outcomes.items()},
        ).fetchall()
    last_day = None if asked.horizon_days is None else run.as_of + timedelta(days=asked.horizon_days)
    con.execute(
        f"create or replace temporary table asked_vehicles as {sql('listed/asked_vehicles')}",
        {"depot": asked.depot, "last_day": last_day, "unit": asked.unit},
    ).fetchall()
    return run


def _vehicles(con: duckdb.DuckDBPyConnection, run: ForecastRun, asked: Asked, wanted: pd.Series) -> pd.DataFrame:
    """Return the rows of these vehicles in order."""
    con.register("wanted", pd.DataFrame({"vehicle_id": wanted.astype("int64"), "at": range(len(wanted))}))
    frame = con.execute(
        "select v.* exclude (outcome_rank, place, wheel_over) from listed_vehicles as v join wanted as w "
        "on w.vehicle_id = v.vehicle_id order by w.at"
    ).df()
    if asked.accepted_risk is None or frame.empty:
        con.unregister("wanted")
        return frame
    wheels = con.execute(sql("listed/wheels"), {"forecast_id": run.forecast_id}).df()
    con.unregister("wanted")
    joints = _joints_of(con, run, asked, frame["vehicle_id"])
    judged = judge_vehicles(frame.drop(columns=_LEAD), joints, wheels)
    return judged.merge(joints[[*_KEY, *_LEAD]], on=_KEY, how="left")


def _joints(con: duckdb.DuckDBPyConnection, run: ForecastRun, asked: Asked, wanted: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of these joints in order."""
    if asked.accepted_risk is None:
        return _read_joints(con, run, wanted[[*_KEY, "place"]])
    every = _joints_of(con, run, asked, wanted["vehicle_id"].drop_duplicates())
    return wanted[_KEY].merge(every, on=_KEY)[every.columns]


def _joints_of(con: duckdb.DuckDBPyConnection, run: ForecastRun, asked: Asked, vehicles: pd.Series) -> pd.DataFrame:
    """Return all rows of these vehicles as judged at the risk: what is said of one joint may hang on the others."""
    wanted = pd.DataFrame(
        {"vehicle_id": vehicles, "position_id": None, "direction": None, "place": range(len(vehicles))}
    )
    types = {"vehicle_id": "int64", "position_id": "Int64", "direction": "string"}
    frame = _read_joints(con, run, wanted.astype(types))
    return classify(frame, settings=run.settings, general_risk=asked.accepted_risk)


def _read_joints(con: duckdb.DuckDBPyConnection, run: ForecastRun, wanted: pd.DataFrame) -> pd.DataFrame:
    con.register("wanted", wanted)
    frame = con.execute(sql("listed/joints"), {"forecast_id": run.forecast_id}).df()
    con.unregister("wanted")
    return frame
