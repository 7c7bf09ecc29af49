"""The vehicles of the fleet, and which of them are the special cases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet import catalogue
from demo_fleet.catalogue import HARBOUR, HILL, LONG_TRUCK, MINIBUS, MODELS, NORTH_YARD, TRUCK, VAN
from demo_fleet.period import day_number
from fleetwear.units import factor

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

SMALLEST = 30
"""The fewest vehicles among which every special case finds one of its model and depot."""

_OLD = day_number("2021-04-01")

_ROLES: tuple[tuple[str, int, int], ...] = (
    ("over limit, not replaced 1", VAN, HARBOUR),
    ("over limit, not replaced 2", MINIBUS, NORTH_YARD),
    ("over limit, not replaced 3", TRUCK, HILL),
    ("noise confirmed, joint under its limit", VAN, NORTH_YARD),
    ("one direction only", LONG_TRUCK, HARBOUR),
    ("implausible reading", VAN, NORTH_YARD),
    ("next service late", TRUCK, NORTH_YARD),
    ("single visit", MINIBUS, HARBOUR),
    ("moved depot", LONG_TRUCK, HILL),
    ("bought used", VAN, HARBOUR),
    ("odometer swapped", TRUCK, HARBOUR),
    ("odometer typo", LONG_TRUCK, NORTH_YARD),
    ("kingpin shimmed", LONG_TRUCK, HILL),
    ("wheel bearing set", TRUCK, HILL),
)


@dataclass(frozen=True)
class Roster:
    """The fleet, one entry a vehicle.

    Attributes
    ----------
    unit
        Unit numbers, shape (vehicles,).
    model, depot
        Places in ``catalogue.MODELS`` and ``catalogue.DEPOTS`` (the first depot of a vehicle that moved).
    in_service_day
        The day on which the vehicle was new; always the first of a month.
    recorded_from
        The day from which this fleet has had it: later than ``in_service_day`` if it was bought used.
    rough_route
        The factor on the growth of every joint of the vehicle.
    roles
        Which vehicle is which special case.
    first
        How far the numbers of its units lie above those of a fleet by itself.
    """

    unit: NDArray[np.str_]
    model: NDArray[np.int64]
    depot: NDArray[np.int64]
    in_service_day: NDArray[np.int64]
    recorded_from: NDArray[np.int64]
    rough_route: NDArray[np.float64]
    roles: Mapping[str, int]
    moved_day: int = day_number("2024-05-01")
    moved_to: int = NORTH_YARD
    swap_day: int = day_number("2023-06-14")
    first: int = 0

    @property
    def size(self) -> int:
        """The number of vehicles and trailers."""
        return self.unit.size

    def depot_on(self, vehicle: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the depot of vehicles on days, shape of ``vehicle``."""
        moved = (vehicle == self.roles["moved depot"]) & (day >= self.moved_day)
        return np.where(moved, self.moved_to, self.depot[vehicle])

    def interval_km(self) -> NDArray[np.float64]:
        """Return each vehicle's service interval by distance, as its depot writes it, in km; 0 for none."""
        in_miles = np.array([depot.distance_unit == "mi" for depot in catalogue.DEPOTS])[self.depot]
        km = np.array([model.interval_km for model in MODELS])[self.model]
        miles = np.array([model.interval_miles for model in MODELS])[self.model]
        return np.where(in_miles, miles * factor("mi", "km"), km)


def draw_roster(vehicles: int, rng: np.random.Generator, *, first: int = 0) -> Roster:
    """Return a fleet of so many powered vehicles, with a trailer for every forty of them besides.

    ``first`` is added to the numbers of its units, so that fleets beside each other share none.

    Raises
    ------
    ValueError
        If there are fewer vehicles than the special cases need.
    """
    if vehicles < SMALLEST:
        raise ValueError(f"vehicles is {vehicles}; the special cases need at least {SMALLEST}")
    ends = np.round(np.cumsum([model.share for model in MODELS[:-1]]) * vehicles).astype(np.int64)
    counts = np.append(np.diff(ends, prepend=0), max(1, vehicles // 40))
    model = np.repeat(np.arange(len(MODELS)), counts)
    number = np.concatenate([np.arange(count) for count in counts])
    depot = number % len(catalogue.DEPOTS)
    unit = np.array([f"{MODELS[m].letter}{first + 101 + i}" for m, i in zip(model, number, strict=True)])
    roles = _assign_roles(model, depot)

    months = np.floor(np.minimum(rng.exponential(22, unit.size), 64)).astype(np.int64)
    in_service = (np.datetime64("2020-08", "M") + months).astype("datetime64[D]").astype(np.int64)
    in_service[model == catalogue.TRAILER] = _OLD
    in_service[list(roles.values())] = np.minimum(in_service[list(roles.values())], _OLD)
    in_service[roles["single visit"]] = day_number("2026-04-01")
    in_service[roles["bought used"]] = day_number("2018-09-01")
    recorded_from = in_service.copy()
    recorded_from[roles["bought used"]] = day_number("2023-02-20")
    rough_route = np.exp(rng.normal(0, 0.25, unit.size))
    return Roster(unit, model, depot, in_service, recorded_from, rough_route, roles, first=first)


def _assign_roles(model: NDArray[np.int64], depot: NDArray[np.int64]) -> dict[str, int]:
    """Return for each special case the first vehicle of its model and depot that is not taken."""
    roles: dict[str, int] = {}
    for name, of_model, at_depot in _ROLES:
        fitting = np.flatnonzero((model == of_model) & (depot == at_depot))
        roles[name] = next(int(vehicle) for vehicle in fitting if int(vehicle) not in roles.values())
    return roles
