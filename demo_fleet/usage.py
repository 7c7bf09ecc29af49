"""How far each vehicle has run by each day, and what its odometer says.

``running_km`` is the distance since the vehicle was new. It is known at the first day of every month
and runs straight in between, so that a day's distance and the day of a distance are both exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.catalogue import MODELS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_fleet.roster import Roster

_MONTHS = np.arange("2016-01", "2028-07", dtype="datetime64[M]")


@dataclass(frozen=True)
class Usage:
    """True running distances.

    Attributes
    ----------
    days
        Day numbers of the months' first days, shape (months,).
    running_km
        Distance since new by those days, shape (vehicles, months).
    delivery_km
        What the odometer said when the vehicle went into service, shape (vehicles,).
    swap_day, swap_drop_km
        The day on which the odometer was swapped (far in the future for most), and by how much it says less
        from then on; shape (vehicles,).
    """

    days: NDArray[np.int64]
    running_km: NDArray[np.float64]
    delivery_km: NDArray[np.float64]
    swap_day: NDArray[np.int64]
    swap_drop_km: NDArray[np.float64]

    def running_on(self, vehicle: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the distance since new of vehicles on days, in km; all of one shape."""
        month = np.clip(np.searchsorted(self.days, day, side="right") - 1, 0, self.days.size - 2)
        before, after = self.running_km[vehicle, month], self.running_km[vehicle, month + 1]
        share = (day - self.days[month]) / (self.days[month + 1] - self.days[month])
        return before + share * (after - before)

    def day_reaching(self, vehicle: NDArray[np.int64], running_km: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the day, with its fraction, on which vehicles reach a distance since new."""
        curves = self.running_km[vehicle]
        rows = np.arange(vehicle.size)
        month = np.clip((curves <= running_km[:, None]).sum(axis=1) - 1, 0, self.days.size - 2)
        before, after = curves[rows, month], curves[rows, month + 1]
        share = (running_km - before) / np.maximum(after - before, 1e-9)
        day: NDArray[np.float64] = self.days[month] + share * (self.days[month + 1] - self.days[month])
        return day

    def odometer_on(self, vehicle: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return what the odometer says on days, in km; on the day of a swap it is the new one."""
        swapped = np.where(day >= self.swap_day[vehicle], self.swap_drop_km[vehicle], 0.0)
        return self.running_on(vehicle, day) + self.delivery_km[vehicle] - swapped


def draw_usage(roster: Roster, rng: np.random.Generator) -> Usage:
    """Return every vehicle's distances: its own rate, seasons, and months that differ.

    A month's rate is the vehicle's rate times a season and times exp(u), where u follows its last
    month's value with a correlation of 0.7 and has a standard deviation of 0.15.
    """
    n = roster.size
    days = _MONTHS.astype("datetime64[D]").astype(np.int64)
    yearly = np.array([model.km_per_year for model in MODELS])[roster.model] * np.exp(rng.normal(0, 0.22, n))
    season = 1 + 0.08 * np.sin(2 * np.pi * np.arange(days.size - 1) / 12 + rng.uniform(0, 2 * np.pi, (n, 1)))
    shocks = rng.normal(0, 0.15, (n, days.size - 1))
    wander = shocks.copy()
    for month in range(1, wander.shape[1]):
        wander[:, month] = 0.7 * wander[:, month - 1] + np.sqrt(1 - 0.7**2) * shocks[:, month]
    daily = yearly[:, None] / 365.25 * season * np.exp(wander)
    daily[days[None, :-1] < roster.in_service_day[:, None]] = 0.0
    running = np.zeros((n, days.size))
    running[:, 1:] = np.cumsum(daily * np.diff(days), axis=1)
    delivery = np.floor(rng.uniform(5, 60, n))
    swap_day = np.full(n, np.iinfo(np.int64).max)
    usage = Usage(days, running, delivery, swap_day, np.zeros(n))
    swapped = np.array([roster.roles["odometer swapped"]])
    swap_day[swapped] = roster.swap_day
    usage.swap_drop_km[swapped] = usage.running_on(swapped, swap_day[swapped]) + delivery[swapped] - 12.0
    return usage
