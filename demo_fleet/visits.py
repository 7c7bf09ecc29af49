"""When vehicles come in: services with their lateness, and complaints in between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.catalogue import HILL, MODELS, TRAILER
from demo_fleet.period import DAYS_PER_MONTH, FIRST_DAY, LAST_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_fleet.roster import Roster
    from demo_fleet.usage import Usage

_COMPLAINTS_PER_YEAR = 0.22
_CLEAR_OF_SERVICES_DAYS = 12


@dataclass(frozen=True)
class Visits:
    """Every visit, by vehicle and then by day; arrays of shape (visits,) unless said otherwise.

    Attributes
    ----------
    vehicle, day, running_km
        Which vehicle, when, and its distance since new.
    is_service
        Whether it is a service rather than a complaint.
    depot
        Where it took place.
    number
        The place among its vehicle's visits, from 0.
    is_last
        Whether the vehicle has no later one.
    next_service_day
        The day of each vehicle's true next service, after the records end; shape (vehicles,).
    """

    vehicle: NDArray[np.int64]
    day: NDArray[np.int64]
    running_km: NDArray[np.float64]
    is_service: NDArray[np.bool_]
    depot: NDArray[np.int64]
    number: NDArray[np.int64]
    is_last: NDArray[np.bool_]
    next_service_day: NDArray[np.int64]

    def of_number(self, number: int, n_vehicles: int) -> NDArray[np.int64]:
        """Return each vehicle's visit of that number, -1 where it has none; shape (vehicles,)."""
        found = np.full(n_vehicles, -1)
        rows = np.flatnonzero(self.number == number)
        found[self.vehicle[rows]] = rows
        return found


def schedule_visits(roster: Roster, usage: Usage, rng: np.random.Generator) -> Visits:
    """Return all visits up to the last day of the records, and the service after it."""
    vehicle, day, next_day = _services(roster, usage, rng)
    extra_vehicle, extra_day = _complaints(roster, vehicle, day, rng)
    is_service = np.repeat([True, False], [vehicle.size, extra_vehicle.size])
    vehicle, day = np.append(vehicle, extra_vehicle), np.append(day, extra_day)
    order = np.lexsort((day, vehicle))
    vehicle, day, is_service = vehicle[order], day[order], is_service[order]
    first = np.searchsorted(vehicle, vehicle)
    last = np.append(vehicle[1:] != vehicle[:-1], True)
    return Visits(
        vehicle, day, usage.running_on(vehicle, day), is_service, roster.depot_on(vehicle, day),
        np.arange(vehicle.size) - first, last, next_day,
    )  # fmt: skip


def _services(
    roster: Roster, usage: Usage, rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return vehicle and day of every service, and each vehicle's first service after the records end."""
    everyone = np.arange(roster.size)
    interval_km = roster.interval_km()
    interval_days = np.array([model.interval_months for model in MODELS])[roster.model] * DAYS_PER_MONTH
    before_records = (FIRST_DAY - rng.uniform(0, 1, roster.size) * interval_days).astype(np.int64)
    last = np.maximum(roster.recorded_from, before_records)
    next_day = np.zeros(roster.size, dtype=np.int64)
    vehicles, days = [], []
    while not next_day.all():
        target = usage.running_on(everyone, last) + interval_km
        by_distance = np.where(interval_km > 0, usage.day_reaching(everyone, target), np.inf)
        due = np.minimum(by_distance, last + interval_days)
        done = np.ceil(last + (due - last) * (1 + _lateness(roster, rng))).astype(np.int64)
        done = _off_weekends(done)
        _hold_to_roles(roster, last, done)
        over = done > LAST_DAY
        next_day = np.where((next_day == 0) & over, done, next_day)
        recorded = (next_day == 0) & (done >= FIRST_DAY)
        vehicles.append(everyone[recorded])
        days.append(done[recorded])
        last = np.where(over, last, done)
    return np.concatenate(vehicles), np.concatenate(days), next_day


def _lateness(roster: Roster, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return lateness as a share of the interval: mostly 0 to 15 %, now and then far more."""
    late = rng.uniform(0, 0.15, roster.size)
    very = rng.random(roster.size) < 0.05
    late[very] += rng.uniform(0.2, 0.6, int(very.sum()))
    late[roster.roles["single visit"]] = 0.05
    return late


def _off_weekends(day: NDArray[np.int64]) -> NDArray[np.int64]:
    weekday = (day + 3) % 7
    return day + np.where(weekday >= 5, 7 - weekday, 0)


def _hold_to_roles(roster: Roster, last: NDArray[np.int64], done: NDArray[np.int64]) -> None:
    """Keep the late vehicle away from its last due service, and the new one from a second one."""
    late, new = roster.roles["next service late"], roster.roles["single visit"]
    if done[late] > LAST_DAY - 190:
        done[late] = LAST_DAY + 20
    if last[new] > roster.in_service_day[new]:
        done[new] = max(done[new], LAST_DAY + 60)


def _complaints(
    roster: Roster, vehicle: NDArray[np.int64], service_day: NDArray[np.int64], rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return vehicle and day of visits for a complaint; none by special cases, trailers or at Hill."""
    start = np.maximum(roster.recorded_from + 60, FIRST_DAY)
    rate = _COMPLAINTS_PER_YEAR * np.maximum(LAST_DAY - start, 0) / 365.25
    plain = roster.model != TRAILER
    plain[list(roster.roles.values())] = False
    who = np.repeat(np.arange(roster.size), np.where(plain, rng.poisson(rate), 0))
    when = (start[who] + rng.random(who.size) * (LAST_DAY - start[who])).astype(np.int64)
    when = np.minimum(_off_weekends(when), LAST_DAY - 1)
    busy = np.append(vehicle * 100_000 + service_day, [-(10**9), 10**15])
    busy.sort()
    asked = who * 100_000 + when
    after = np.searchsorted(busy, asked)
    gap = np.minimum(asked - busy[after - 1], busy[after] - asked)
    keep = (gap > _CLEAR_OF_SERVICES_DAYS) & (roster.depot_on(who, when) != HILL)
    one_in_30_days = np.unique(asked[keep] // 30, return_index=True)[1]
    chosen = np.flatnonzero(keep)[one_in_30_days]
    return who[chosen], when[chosen]
