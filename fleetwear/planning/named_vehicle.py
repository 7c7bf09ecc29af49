"""Which vehicle a unit number, a VIN or a plate means: the one that bears it now, or else the last that bore it."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from fleetwear.errors import InputError
from fleetwear.planning.wording import say_date
from fleetwear.store import sql

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    import duckdb

_NOW, _LAST, _ONCE = range(3)
"""How a vehicle answers to a name: by what it is called now, as the last that bore the number, or as an earlier one."""


@dataclass(frozen=True)
class NamedVehicle:
    """A vehicle that was found by a name.

    Attributes
    ----------
    vehicle_id, unit
        The vehicle, and the unit number that it bears on the day.
    told
        What is to be said of the name: that the vehicle has another number now, that the number was another vehicle's;
        empty where there is nothing to say.
    is_bearer
        Whether its unit number means it; False where another vehicle has taken the number over.
    """

    vehicle_id: int
    unit: str
    told: str = ""
    is_bearer: bool = True


class _Version(NamedTuple):
    vehicle_id: int
    unit: str
    valid_from: date
    is_unit: bool
    is_other: bool


@dataclass(frozen=True)
class _Candidate:
    vehicle_id: int
    unit: str
    since: date
    """From when on it has borne its number."""
    answers: int
    by_number: bool
    """Whether it bears, or has borne, the name as its unit number by that day."""


def find_vehicle(
    con: duckdb.DuckDBPyConnection, name: str, *, on_date: date | None = None, known_by: datetime | None = None
) -> NamedVehicle:
    """Return the vehicle that a unit number, VIN or plate means, in any case.

    Who bears the name on the day goes first. A number that nobody bears any more means the last vehicle that bore it.

    Parameters
    ----------
    con
        A connection to a store or a snapshot.
    name
        The name.
    on_date
        The day; the latest on record if none is given.
    known_by
        Only what had been loaded by then.

    Raises
    ------
    InputError
        If none has it, naming the nearest unit numbers, or several have it alike.
    """
    rows = con.execute(sql("pages/named"), {"name": name, "known_by": known_by}).fetchall()
    versions = [_Version(*row) for row in rows]
    bearer = _bearer(versions, on_date)
    found = [_candidate(list(own), bearer, on_date) for _, own in groupby(versions, key=lambda row: row.vehicle_id)]
    if not found:
        raise InputError(f"no vehicle has the unit number, VIN or plate {name!r}", mend=_nearest(con, name))
    best = min(one.answers for one in found)
    alike = [one for one in found if one.answers == best]
    if len(alike) > 1:
        units = ", ".join(sorted({one.unit for one in alike}))
        raise InputError(f"{name!r} names several vehicles: {units}", mend="Give the unit number.")
    chosen = alike[0]
    others = [one for one in found if one is not chosen and one.by_number]
    return NamedVehicle(
        chosen.vehicle_id,
        chosen.unit,
        " ".join(_told(name.strip(), chosen, others)),
        is_bearer=find_bearer(con, chosen.unit, on_date=on_date, known_by=known_by) == chosen.vehicle_id,
    )


def find_bearer(
    con: duckdb.DuckDBPyConnection, unit: str, *, on_date: date | None = None, known_by: datetime | None = None
) -> int | None:
    """Return the vehicle_id that a unit number means on a day, None where none bears it.

    As in loading, the last that was given a number bears it until another one is.
    """
    rows = con.execute(sql("pages/named"), {"name": unit, "known_by": known_by}).fetchall()
    return _bearer([_Version(*row) for row in rows], on_date)


def _bearer(versions: Sequence[_Version], on_date: date | None) -> int | None:
    own = sorted((row for row in versions if row.is_unit), key=lambda row: row.valid_from)
    begun = [row for row in own if on_date is None or row.valid_from <= on_date]
    return (begun[-1] if begun else own[0]).vehicle_id if own else None


def _candidate(own: Sequence[_Version], bearer: int | None, on_date: date | None) -> _Candidate:
    """Return how a vehicle answers to a name, from its versions in the order in which they hold."""
    begun = [row for row in own if on_date is None or row.valid_from <= on_date]
    now = begun[-1] if begun else own[0]
    since = now.valid_from
    for row in reversed(begun):
        if row.unit != now.unit:
            break
        since = row.valid_from
    by_number = any(row.is_unit for row in begun)
    if now.is_other or (now.is_unit and now.vehicle_id == bearer):
        answers = _NOW
    else:
        answers = _LAST if now.vehicle_id == bearer else _ONCE
    return _Candidate(now.vehicle_id, now.unit, since, answers, by_number)


def _told(name: str, chosen: _Candidate, others: Sequence[_Candidate]) -> list[str]:
    said = []
    if chosen.by_number and chosen.unit.lower() != name.lower():
        said.append(f"{name} is called {chosen.unit} since {say_date(chosen.since)}.")
    for other in others:
        is_same = other.unit.lower() == name.lower()
        now = "give its VIN for it" if is_same else f"it is called {other.unit} since {say_date(other.since)}"
        said.append(f"Another vehicle bore the number {name} before: {now}.")
    return said


def _nearest(con: duckdb.DuckDBPyConnection, name: str) -> str:
    units = [str(row[0]) for row in con.execute("select distinct unit from vehicles order by unit").fetchall()]
    near = difflib.get_close_matches(name.strip().upper(), units, n=3, cutoff=0.4)
    return f"The nearest unit numbers are {', '.join(near)}." if near else "Load its row of a vehicles file first."
