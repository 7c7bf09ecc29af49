"""The fleet's own tables, in the headers and units in which each depot's people write them.

Columns whose names begin with an underscore are about a row and are not written into its file:
``_case`` says which special case the row is ("" for none), ``_says`` what that is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from demo_fleet.catalogue import DEPOTS, LIMITS, LONG_TRUCK, MODELS, TRAILER, TRUCK, VAN
from demo_fleet.period import FIRST_DAY, LAST_DAY, iso_dates
from fleetwear.units import factor
from fleetwear.vocabulary import DistanceSource, Kind, WeightClass

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from demo_fleet.roster import Roster
    from demo_fleet.usage import Usage
    from demo_fleet.visits import Visits

_FUEL_CARD_SHARE = 0.55
MILE_KM = factor("mi", "km")


def table(columns: dict[str, object], *, case: ArrayLike = "", says: ArrayLike = "") -> pd.DataFrame:
    """Return columns as text cells, with what is about each row beside them."""
    frame = pd.DataFrame(columns).astype(str)
    frame["_case"] = np.asarray(case)
    frame["_says"] = np.asarray(says)
    return frame


def text(values: ArrayLike) -> NDArray[np.object_]:
    """Return an array of text that can be indexed and joined cell by cell."""
    return np.asarray(values).astype(object)


def whole_or_empty(values: NDArray[np.float64]) -> NDArray[np.object_]:
    """Return whole numbers as text, "" for nan."""
    cells = np.full(values.shape, "", dtype=object)
    known = np.isfinite(values)
    cells[known] = values[known].astype(np.int64).astype(str)
    return cells


def distance_units(roster: Roster, vehicle: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[np.object_]:
    """Return the unit in which vehicles' distances are written on days: "km" or "mi"."""
    return text(np.array([depot.distance_unit for depot in DEPOTS]))[roster.depot_on(vehicle, day)]


def written_odometer(
    roster: Roster, usage: Usage, vehicle: NDArray[np.int64], day: NDArray[np.int64]
) -> NDArray[np.object_]:
    """Return what people write of the odometer, whole miles or km; "" for a trailer."""
    in_miles = distance_units(roster, vehicle, day) == "mi"
    value = np.floor(usage.odometer_on(vehicle, day) / np.where(in_miles, MILE_KM, 1.0))
    return whole_or_empty(np.where(roster.model[vehicle] == TRAILER, np.nan, value))


def weight_class(model: int) -> str:
    """Return the weight class of a model as it is on record; "" where it is not."""
    return {VAN: str(WeightClass.LIGHT), TRUCK: str(WeightClass.HEAVY), LONG_TRUCK: str(WeightClass.HEAVY)}.get(
        model, ""
    )


def vehicles(roster: Roster, usage: Usage) -> pd.DataFrame:
    """Return the vehicles, the one that moved depot twice."""
    moved, used = roster.roles["moved depot"], roster.roles["bought used"]
    order = np.sort(np.append(np.arange(roster.size), moved))
    second = np.append(False, order[1:] == order[:-1])
    model = [MODELS[place] for place in roster.model[order]]
    depot = [DEPOTS[roster.moved_to if again else roster.depot[v]] for v, again in zip(order, second, strict=True)]
    number = roster.first + np.arange(order.size) - np.cumsum(second)
    in_miles = np.array([place.distance_unit == "mi" for place in depot])
    delivery = np.floor(usage.delivery_km[order] / np.where(in_miles, MILE_KM, 1.0))
    no_odometer = np.array([kind.distance_source is DistanceSource.NONE for kind in model])
    valid_from = np.where(second, iso_dates(np.array([roster.moved_day]))[0], "")
    valid_from = np.where(order == used, iso_dates(roster.recorded_from[order]), valid_from)
    case = np.where(second, "moved depot", "")
    case = np.where(order == used, "bought used", case)
    case = np.where(no_odometer, "trailer without odometer", case)
    return table(
        {
            "unit": roster.unit[order],
            "make": [kind.make for kind in model],
            "model": [kind.name for kind in model],
            "year": roster.in_service_day[order].astype("datetime64[D]").astype("datetime64[Y]").astype(str),
            "serial number": [f"{kind.letter}S-{n + 4101:06d}" for kind, n in zip(model, number, strict=True)],
            "plate": [f"DEMO {n + 101}" for n in number],
            "tyre size": [kind.tyre_size for kind in model],
            "weight class": [weight_class(place) for place in roster.model[order]],
            "owner": "own fleet",
            "duty": [kind.duties[n % len(kind.duties)] for kind, n in zip(model, number, strict=True)],
            "depot": [place.name for place in depot],
            "in service date": np.where(order == used, "", iso_dates(roster.in_service_day[order])),
            "in service odometer": whole_or_empty(np.where(no_odometer | (order == used), np.nan, delivery)),
            "distance source": [str(kind.distance_source) for kind in model],
            "distance unit": [place.distance_unit for place in depot],
            "play unit": [place.play_unit for place in depot],
            "valid from": valid_from,
        },
        case=case,
        says=case,
    )


def positions() -> pd.DataFrame:
    """Return every joint position of every model."""
    rows = [
        (model.name, place.axle, place.side or "", place.place or "", str(place.kind))
        for model in MODELS
        for place in model.positions
    ]
    free = ["no limit" if (row[0], row[-1]) == ("M16 minibus", Kind.STABILIZER_LINK) else "" for row in rows]
    names = ("model", "axle", "side", "place", "kind")
    return table(dict(zip(names, zip(*rows, strict=True), strict=True)), case=free, says=free)


def limits() -> pd.DataFrame:
    """Return the limits; the number carries its unit in one of them."""
    changed = [
        sum((o.model, o.kind, o.direction) == (x.model, x.kind, x.direction) for o in LIMITS) > 1 for x in LIMITS
    ]
    stated = [limit.method is not None for limit in LIMITS]
    case = np.where(changed, "limit that changed", np.where(stated, "limit with a method", ""))
    frame = table(
        {
            "model": [limit.model for limit in LIMITS],
            "kind": [str(limit.kind) for limit in LIMITS],
            "direction": [limit.direction or "" for limit in LIMITS],
            "method": [limit.method or "" for limit in LIMITS],
            "read at": [limit.read_at or "" for limit in LIMITS],
            "limit": [f"{limit.value:g}" for limit in LIMITS],
            "limit unit": [limit.unit for limit in LIMITS],
            "basis": [limit.basis for limit in LIMITS],
            "source": [limit.source for limit in LIMITS],
            "valid from": [limit.valid_from for limit in LIMITS],
        },
        case=case,
        says=case,
    )
    in_cell = frame["kind"] == Kind.WHEEL_BEARING
    frame.loc[in_cell, "limit"] += " " + frame.loc[in_cell, "limit unit"]
    frame.loc[in_cell, "limit unit"] = ""
    return frame


def services(roster: Roster, usage: Usage, visits: Visits) -> pd.DataFrame:
    """Return the services done, by day, with the interval to the next."""
    order = np.flatnonzero(visits.is_service)
    order = order[np.lexsort((visits.vehicle[order], visits.day[order]))]
    vehicle, day = visits.vehicle[order], visits.day[order]
    unit = distance_units(roster, vehicle, day)
    interval = roster.interval_km()[vehicle] / np.where(unit == "mi", MILE_KM, 1.0)
    months = np.array([model.interval_months for model in MODELS])[roster.model[vehicle]]
    late = (vehicle == roster.roles["next service late"]) & visits.is_last[order]
    case = np.where(late, "next service late", "")
    return table(
        {
            "unit": roster.unit[vehicle],
            "done date": iso_dates(day),
            "odometer": written_odometer(roster, usage, vehicle, day),
            "odometer unit": unit,
            "interval": whole_or_empty(np.where(interval > 0, np.round(interval), np.nan)),
            "interval unit": unit,
            "interval months": months.astype(np.int64),
        },
        case=case,
        says=np.where(late, "the last service; the next was due before the as-of date and had not been done", ""),
    )


def odometer(roster: Roster, usage: Usage, rng: np.random.Generator) -> pd.DataFrame:
    """Return monthly entries as from a fuel card for some vehicles, and the swap of an odometer."""
    has_card = (rng.random(roster.size) < _FUEL_CARD_SHARE) & (roster.model != TRAILER)
    swapped = roster.roles["odometer swapped"]
    for role in ("odometer swapped", "odometer typo", "next service late"):
        has_card[roster.roles[role]] = True
    months = np.arange(FIRST_DAY + 3, LAST_DAY - 3, 30)
    vehicle = np.repeat(np.flatnonzero(has_card), months.size)
    day = np.tile(months, int(has_card.sum())) + rng.integers(-3, 4, vehicle.size)
    keep = (day > roster.recorded_from[vehicle] + 10) & (rng.random(vehicle.size) < 0.9) & (day <= LAST_DAY)
    keep &= (vehicle != swapped) | (day != roster.swap_day)
    vehicle, day = np.append(vehicle[keep], swapped), np.append(day[keep], roster.swap_day)
    is_swap = np.arange(vehicle.size) == vehicle.size - 1
    order = np.lexsort((vehicle, day))
    vehicle, day, is_swap = vehicle[order], day[order], is_swap[order]
    new = written_odometer(roster, usage, vehicle, day)
    old = np.where(distance_units(roster, vehicle, day) == "mi", MILE_KM, 1.0)
    old_value = np.floor((usage.running_on(vehicle, day) + usage.delivery_km[vehicle]) / old)
    return table(
        {
            "unit": roster.unit[vehicle],
            "entry date": iso_dates(day),
            "odometer": np.where(is_swap, whole_or_empty(old_value), new),
            "odometer unit": distance_units(roster, vehicle, day),
            "event": np.where(is_swap, "swap", "reading"),
            "new odometer": np.where(is_swap, new, ""),
        },
        case=np.where(is_swap, "odometer swapped", ""),
        says=np.where(is_swap, "the odometer was swapped; from here on it counts from the new value", ""),
    )
