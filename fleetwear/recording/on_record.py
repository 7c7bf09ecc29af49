"""What the bay needs of a vehicle: its joints, last readings, limits and odometer values, without any forecast."""

from __future__ import annotations

import threading
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.errors import InputError, StoreError
from fleetwear.planning.named_vehicle import find_vehicle
from fleetwear.store import Store, open_snapshot, sql
from fleetwear.vocabulary import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb

ONE_AT_A_TIME = threading.Lock()
"""Held while this process has the store itself open: DuckDB opens it for reading or for writing, not for both."""


@dataclass(frozen=True)
class BayRecord:
    """A vehicle in the bay as it is on a day.

    Attributes
    ----------
    vehicle
        vehicle_id, unit, vin, plate, make, model, depot, distance_source, distance_unit, play_unit.
    joints
        position_id, joint, kind, place, last_work_date; one row a joint of the model.
    last
        position_id, direction, visit_date, play_mm (mean of strokes), result, method, support, read_at, indicator.
    limits
        kind, place, direction, method, read_at, limit_mm, source, ...: those that can apply.
    entries, swaps
        Dated odometer values, and swaps of the instrument.
    technicians, shops, instruments
        Those on record, the most frequent first.
    """

    vehicle: dict[str, Any]
    joints: pd.DataFrame
    last: pd.DataFrame
    limits: pd.DataFrame
    entries: pd.DataFrame
    swaps: pd.DataFrame
    technicians: tuple[str, ...]
    shops: tuple[str, ...]
    instruments: tuple[str, ...]
    told: str = ""
    """What is to be said of the name by which it was asked for: that it has another unit number since."""

    @property
    def kinds(self) -> dict[str, str]:
        """The kind of every joint by its name."""
        return dict(zip(self.joints["joint"], self.joints["kind"], strict=True))


@contextmanager
def opened(folder: Path, *, wait_seconds: float = 0.5) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open what is on record: the store where it is free, or else its published snapshot.

    Raises
    ------
    StoreError
        If there is no store, or it is being written and nothing has been published.
    """
    store = Store(Path(folder))
    if not store.exists:
        raise StoreError(
            "there is no store here yet",
            where=str(folder),
            mend="Load vehicles and joint positions first: `fleetwear load vehicles.csv positions.csv`.",
        )
    with ExitStack() as held:
        yield _store_itself(store, held, wait_seconds) or _published(folder, held)


def _store_itself(store: Store, held: ExitStack, wait_seconds: float) -> duckdb.DuckDBPyConnection | None:
    """Return a connection to the store, None where it cannot be opened now."""
    if not ONE_AT_A_TIME.acquire(timeout=wait_seconds):
        return None
    with ExitStack() as own:
        own.callback(ONE_AT_A_TIME.release)
        try:
            con = own.enter_context(store.reader(wait_seconds=wait_seconds))
        except StoreError as error:
            if error.__cause__ is None:  # it was opened, and is of a newer program
                raise
            return None
        held.push(own.pop_all())
        return con


def _published(folder: Path, held: ExitStack) -> duckdb.DuckDBPyConnection:
    try:
        con = open_snapshot(folder)
    except StoreError as error:
        raise StoreError(
            "the records are being written just now",
            where=str(folder),
            mend="Nothing is lost. Try again in a moment.",
        ) from error
    held.callback(con.close)
    return con


def read_bay(con: duckdb.DuckDBPyConnection, name: str, *, on_date: date) -> BayRecord:
    """Return the record of a vehicle named by unit number, VIN or plate.

    Raises
    ------
    InputError
        If no vehicle, or more than one, has that name, or another vehicle bears its number now.
    """
    named = find_vehicle(con, name, on_date=on_date)
    if not named.is_bearer:
        raise InputError(
            f"unit {named.unit} is another vehicle now, so that its readings would go to that one",
            mend="Load a row of a vehicles file that gives this vehicle, by its VIN, a number of its own.",
        )
    day = {"on_date": on_date}
    row = con.execute(sql("recording/vehicle"), day | {"vehicle_id": named.vehicle_id}).df().iloc[0]
    vehicle = {str(column): None if pd.isna(value) else value for column, value in row.items()}
    own = {"vehicle_id": int(row["vehicle_id"])}
    model = {"model": vehicle["model"]}
    people = con.execute(sql("recording/people"), day).df()
    return BayRecord(
        vehicle=vehicle,
        joints=con.execute(sql("recording/joints"), own | model | day).df(),
        last=con.execute(sql("recording/last_readings"), own | day).df(),
        limits=con.execute(sql("recording/limits"), model | day).df(),
        entries=con.execute(sql("recording/entries"), own).df(),
        swaps=con.execute(sql("recording/swaps"), own).df(),
        technicians=tuple(people.loc[people["what"] == "technician", "name"]),
        shops=tuple(people.loc[people["what"] == "shop", "name"]),
        instruments=tuple(people.loc[people["what"] == "instrument", "name"]),
        told=named.told,
    )


def limit_of(
    limits: pd.DataFrame,
    *,
    kind: str,
    place: str | None,
    direction: str,
    method: str | None = None,
    read_at: str | None = None,
) -> tuple[float | None, str]:
    """Return the limit of a reading in mm and its source, (None, "") without one.

    The most specific limit in force goes first (model, then place, then load direction), then one stated for the way
    in which the joint was read, then one for any way, then the newest; the flags choose in the same order
    (``queries/forecast/facts.sql``).
    """
    own = limits[
        (limits["kind"] == kind)
        & (limits["place"].isna() | (limits["place"] == place))
        & (limits["direction"].isna() | (limits["direction"] == direction))
    ]
    if own.empty:
        return None, ""
    specific = own["model"].notna() * 4 + own["place"].notna() * 2 + own["direction"].notna() * 1
    ranked = own.assign(
        specific=specific,
        by_method=_closeness(own["method"], method),
        by_place=_closeness(own["read_at"], read_at),
    ).sort_values(["specific", "by_method", "by_place", "valid_from", "limit_id"], ascending=False)
    first = ranked.iloc[0]
    return float(first["limit_mm"]), str(first["source"])


def _closeness(stated: pd.Series, used: str | None) -> pd.Series:
    """Return 2 where a limit names the way used, 1 where it names none, 0 where it names another."""
    return stated.isna() * 1 + (stated.notna() & (stated == used)) * 2


def test_directions(kind: str) -> tuple[str, ...]:
    """Return the load directions that together test a kind of joint."""
    return tuple(str(direction) for direction in Kind(kind).test_directions)
