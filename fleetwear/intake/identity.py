"""Who is who: vehicles that changed number, visits that may be one, sides that may be the wrong way round."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.intake import vin
from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    from collections.abc import Sequence

    import duckdb
    from numpy.typing import NDArray

_LEAST_VEHICLES = 3
_CHANCE = 0.001
_MOST_REMARKS = 20


def ask_same_visits(con: duckdb.DuckDBPyConnection, *, load_id: int) -> int:
    """Ask about the visits of a load that lie beside another one; return how many there are."""
    rows = con.execute(statement("near_visits"), {"load_id": load_id}).fetchall()
    asked = [
        (
            "same visit",
            visit_id,
            other_id,
            f"Is the visit of unit {unit} on {day} at {km:,.0f} km the one on {other_day} at {other_km:,.0f} km?",
            load_id,
        )
        for visit_id, other_id, unit, day, km, other_day, other_km in rows
    ]
    return _ask(con, asked)


@dataclass(frozen=True)
class SidesCompared:
    """How the plays of a load fit those before it.

    Attributes
    ----------
    pairs, vehicles
        How many pairs of opposite joints could be compared, and of how many vehicles.
    fit_opposite
        How many of the pairs fit better the other way round.
    look_swapped
        Whether that is far more than chance and measuring explain.
    """

    pairs: int
    vehicles: int
    fit_opposite: int
    look_swapped: bool


def compare_sides(
    vehicle: NDArray[np.int64], own_mm: NDArray[np.float64], opposite_mm: NDArray[np.float64]
) -> SidesCompared:
    """Return whether left and right look as if they were the wrong way round.

    They do when over at least three vehicles, each of which fits better the other way round, the sum of the
    distances is at most half as large that way, and so many pairs would fit better that way by the toss of a coin with
    probability below 0.001 (sign test).

    Parameters
    ----------
    vehicle, own_mm, opposite_mm
        Of each pair: its vehicle, and how far its plays lie from the last ones of its own and of the other side, mm.
    """
    better = int(np.sum(opposite_mm < own_mm))
    pairs = len(vehicle)
    each, place = np.unique(vehicle, return_inverse=True)
    gain = np.bincount(place, weights=own_mm - opposite_mm, minlength=len(each)) if pairs else np.zeros(0)
    swapped = (
        len(each) >= _LEAST_VEHICLES
        and bool(np.all(gain > 0))
        and float(opposite_mm.sum()) <= 0.5 * float(own_mm.sum())
        and sum(comb(pairs, heads) for heads in range(better, pairs + 1)) < _CHANCE * 2**pairs
    )
    return SidesCompared(pairs, len(each), better, swapped)


def ask_sides(con: duckdb.DuckDBPyConnection, *, load_id: int, file_name: str) -> int:
    """Ask whether a load has left and right swapped, if it looks so; return how many questions that is."""
    found = con.execute(statement("sides_compared"), {"load_id": load_id}).fetchnumpy()
    told = compare_sides(*(np.asarray(found[name]) for name in ("vehicle_id", "own_mm", "opposite_mm")))
    if not told.look_swapped:
        return 0
    question = (
        f"Does {file_name} have left and right the wrong way round? {told.fit_opposite} of {told.pairs} pairs of "
        f"joints of {told.vehicles} vehicles fit what the other side had before."
    )
    return _ask(con, [("swapped sides", None, None, question, load_id)])


def _ask(con: duckdb.DuckDBPyConnection, asked: Sequence[tuple[object, ...]]) -> int:
    if asked:
        con.executemany(
            "insert into identity_questions (asks, visit_id, other_visit_id, question, load_id) values (?, ?, ?, ?, ?)",
            asked,
        )
    return len(asked)


def vehicle_remarks(con: duckdb.DuckDBPyConnection, *, load_id: int) -> tuple[str, ...]:
    """Return what a person should know of the vehicles of a load, in sentences."""
    found: list[str] = []
    rows = con.execute(statement("changed_vehicles"), {"load_id": load_id}).fetchall()
    for unit, number, depot, day, unit_before, depot_before, vin_before, is_other, renumbered, moved, slip in rows:
        doubt = vin.doubt(number) if number else None
        found += [f"unit {unit}: {doubt}"] if doubt else []
        if slip:
            found.append(
                f"unit {unit}: vin {number!r} is taken for a slip of the pen for {vin_before!r}, whose check digit is "
                "right; the vehicle stays the same"
            )
        if is_other:
            found.append(
                f"unit {unit} is another vehicle from {day} on (vin {number}, before {vin_before}): "
                "its history begins there"
            )
        if renumbered:
            found.append(f"unit {unit} was unit {unit_before} before {day} (vin {number}): its history goes on")
        if moved:
            found.append(f"unit {unit} moved from {depot_before} to {depot} on {day}")
    more = len(found) - _MOST_REMARKS
    return (*found[:_MOST_REMARKS], *([f"and {more} more such remarks"] if more > 0 else []))
