"""A store's readings, and what a forecast of each series needs, as partitions by a hash of the vehicle."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

import fleetwear
from fleetwear.errors import DoubtfulFitWarning, InputError, StoreError
from fleetwear.forecast import Settings, prepare_series
from fleetwear.forecast.forecasting import draws_ahead
from fleetwear.forecast.horizon import look_ahead
from fleetwear.forecast.limits import with_limits
from fleetwear.forecast.procedures import indicative_words
from fleetwear.partitions.place import LAYOUT, Place
from fleetwear.store import sql
from fleetwear.store.apart import apart
from fleetwear.store.known import prepare

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

    import duckdb

    from fleetwear.store import Store

NODES = 31
"""Equally likely distances at the next service that stand for its whole distribution."""

MOST_PARTITIONS = 9_999


@dataclass(frozen=True)
class Written:
    """What was written."""

    partitions: int
    readings: int
    series: int


def write_partitions(
    store: Store,
    place: Place,
    *,
    partitions: int,
    as_of: date,
    made_at: datetime,
    known_by: datetime | None = None,
    settings: Settings | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> Written:
    """Write what was known at a moment, and return how much that was.

    The store is open to others as soon as what is known has been read out of it.

    Parameters
    ----------
    store, place
        From where to where; the place must hold no partitions yet.
    partitions
        How many, 1 to 9,999.
    as_of, known_by, made_at
        As in ``pipelines.fit.run``.
    settings
        Draws and seed of the distances ahead; defaults where None.
    on_progress
        Called with words, partitions done and partitions in all.

    Raises
    ------
    InputError
        If that many partitions cannot be made.
    StoreError
        If partitions lie there already, or it cannot be written.
    """
    if not 1 <= partitions <= MOST_PARTITIONS:
        raise InputError(f"{partitions} partitions", mend=f"Give 1 to {MOST_PARTITIONS}.")
    _require_new(place)
    with apart(store) as own:
        prepare(own.con, as_of=as_of, known_by=known_by)
        prepare_series(own.con)
        for name in ("forecast/facts", "forecast/limits"):
            own.con.execute(sql(name)).fetchall()
        ahead = _series_ahead(own.con, as_of=as_of, settings=settings or Settings())
        own.let_go(keep=["vehicles", "positions", "parts"])
        if place.remote:
            place.reach(own.con)
        own.con.execute(sql("partitions/vehicles"), {"partitions": partitions}).fetchall()
        own.con.register("partition_series", ahead)
        n_readings = n_series = 0
        for number in range(partitions):
            for table in ("readings", "series"):
                rows = own.con.sql(sql(f"partitions/write_{table}"), params={"partition": number})
                place.write(rows, place.part(table, number))
            if on_progress is not None:
                on_progress("partitions written", number + 1, partitions)
        n_readings, n_series = (
            int(own.con.execute(f"select count(*) from {table}").fetchall()[0][0])
            for table in ("fit_input_readings", "forecast_facts")
        )
        about = pd.DataFrame(
            {
                "layout": [LAYOUT],
                "partitions": [partitions],
                "as_of": [pd.Timestamp(as_of)],
                "known_by": pd.to_datetime(pd.Series([known_by])),
                "made_at": [pd.Timestamp(made_at)],
                "program_version": [fleetwear.__version__],
            }
        )
        place.write(own.con.from_df(about), place.file("about.parquet"))
    return Written(partitions, n_readings, n_series)


def _require_new(place: Place) -> None:
    try:
        place.about()
    except StoreError:
        return
    raise StoreError("partitions lie there already", where=place.root, mend="Name another place, or remove these.")


def _series_ahead(con: duckdb.DuckDBPyConnection, *, as_of: date, settings: Settings) -> pd.DataFrame:
    """Return, of every current series, its limit at the next service, and at what running distance that may be.

    Columns series, limit_mm, limit_source, indicative, next_service_date, service_km (``NODES`` distances, km).
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DoubtfulFitWarning)
        outlook = look_ahead(con, as_of=as_of, settings=settings)
    facts = con.execute("select * from forecast_facts order by series").df()
    limits = con.execute("select * exclude (vehicle_id) from forecast_limits order by series, rank").df()
    middles = (np.arange(NODES) + 0.5) / NODES
    days = np.empty(len(outlook.vehicles))
    nodes = np.empty((len(outlook.vehicles), NODES))
    for rows, ahead, _ in draws_ahead(outlook, settings):
        days[rows] = np.ceil(np.median(ahead.service_days, axis=1))
        nodes[rows] = np.quantile(ahead.service_km, middles, axis=1).T
    at = pd.Index(outlook.vehicles["vehicle_id"]).get_indexer(pd.Index(facts["vehicle_id"]))
    when = (pd.Timestamp(as_of) + pd.to_timedelta(pd.Series(days), unit="D")).dt.date.to_numpy()
    own = with_limits(facts, limits, when[at])
    return pd.DataFrame(
        {
            "series": own["series"],
            "limit_mm": own["limit_mm"].astype(float),
            "limit_source": own["limit_source"].astype(object).where(own["limit_source"].notna(), None),
            "indicative": indicative_words(own),
            "next_service_date": pd.to_datetime(pd.Series(when[at])),
            "service_km": list(nodes[at]),
        }
    )
