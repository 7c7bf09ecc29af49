"""Odometer entries -> increments and the sums per vehicle that the usage model needs.

An increment is what a vehicle ran between two of its dated entries that follow each other:
d km in t days, t > 0. Entries of one vehicle on one day count as one, at the largest distance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleetwear.errors import InputError

FALL_TOLERANCE_KM = 5.0
"""A running distance may fall by this much (rounding, unit conversion) without a word."""

REGULAR_KM2_PER_DAY = 1.0
"""The process variance that is assumed at least: odometers are read to whole units."""

Labels = NDArray[Any]
Floats = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class History:
    """The sums of V vehicles in G groups, with n increments in all.

    Sums from two sets of vehicles add up: no term crosses vehicles.
    """

    vehicles: Labels
    """(V,) labels in ascending order."""
    groups: Labels
    """(G,) labels in ascending order."""
    group_codes: Codes
    """(V,) the group of each vehicle, as an index into ``groups``."""
    last_day: Floats
    """(V,) elapsed days at the last entry; nan without an entry that has a distance."""
    last_km: Floats
    """(V,) running distance at the last entry, km."""
    n_increments: NDArray[np.int64]
    """(V,) increments over more than zero days."""
    days: Floats
    """(V,) T_v, the sum of t, days."""
    km: Floats
    """(V,) D_v, the sum of d, km."""
    within: float
    """W, the sum over vehicles of (sum of d^2 / t) - D_v^2 / T_v, km^2 per day."""
    within_df: int
    """The sum over vehicles with increments of (n_increments - 1)."""
    log_days: float
    """The sum of log t over all increments."""
    regular: bool
    """Whether W was so small that its floor was taken instead."""
    falls: str
    """Where the running distance falls from one entry to the next, in words; empty if nowhere."""

    @property
    def raw_rate(self) -> Floats:
        """(V,) D_v / T_v in km/day; 0 for a vehicle without increments."""
        return np.divide(self.km, self.days, out=np.zeros_like(self.km), where=self.days > 0)

    @property
    def n(self) -> int:
        """How many increments there are in all."""
        return int(self.n_increments.sum())


def codes_of(labels: Labels, what: str) -> tuple[Labels, Codes]:
    """Return the distinct labels in ascending order and the index of each label among them.

    Raises
    ------
    InputError
        If the labels cannot be put in order (None or numbers among texts).
    """
    try:
        distinct, codes = np.unique(labels, return_inverse=True)
    except TypeError as error:
        raise InputError(
            f"the {what} labels are of mixed types", mend="Give all of them as text, or all as whole numbers."
        ) from error
    return distinct, codes.astype(np.intp).reshape(-1)


def gather_history(
    vehicle: ArrayLike, elapsed_days: ArrayLike, running_km: ArrayLike, group: ArrayLike | None = None
) -> History:
    """Return the sums per vehicle of a set of odometer entries in any order.

    Parameters
    ----------
    vehicle
        (n,) labels of one type, numbers or text.
    elapsed_days
        (n,) days since any one origin.
    running_km
        (n,) distance run, freed of odometer swaps. An entry with nan holds the vehicle's place only.
    group
        (n,) labels of one type; a vehicle belongs to the group of its latest entry.

    Raises
    ------
    InputError
        If lengths differ, there is no entry, a day is not finite, or a distance is infinite.

    Notes
    -----
    A distance that falls stays in, as the Gaussian model has it, and is told in ``falls``: to find and set
    aside a mistyped odometer value is the work of whoever takes entries in.
    """
    labels = np.asarray(vehicle)
    day = np.asarray(elapsed_days, dtype=np.float64)
    km = np.asarray(running_km, dtype=np.float64)
    group_labels = np.zeros(labels.shape, dtype=np.int64) if group is None else np.asarray(group)
    if labels.ndim != 1 or not labels.shape == day.shape == km.shape == group_labels.shape:
        raise InputError(
            f"got shapes {labels.shape}, {day.shape}, {km.shape}, {group_labels.shape} for vehicle, days, "
            "distance and group",
            where="odometer entries",
            mend="Give flat arrays with one value an entry.",
        )
    if labels.size == 0:
        raise InputError("no entries", where="odometer entries", mend="Load visits or odometer values first.")
    bad = ~np.isfinite(day) | np.isinf(km)
    if bad.any():
        raise InputError(
            f"{int(bad.sum())} entries without a finite day or with an infinite distance, at rows "
            f"{np.flatnonzero(bad)[:5].tolist()}",
            where="odometer entries",
            mend="Leave out undated entries; write an unknown distance as nan.",
        )
    vehicles, codes = codes_of(labels, "vehicle")
    groups, entry_groups = codes_of(group_labels, "group")
    n_vehicles = vehicles.size
    order = np.lexsort((km, day, codes))
    group_codes = np.zeros(n_vehicles, dtype=np.intp)
    group_codes[codes[order]] = entry_groups[order]

    order = order[~np.isnan(km[order])]
    code, day, km = codes[order], day[order], km[order]
    last_of_day = np.ones(code.size, dtype=np.bool_)
    last_of_day[:-1] = (code[1:] != code[:-1]) | (day[1:] != day[:-1])
    code, day, km = code[last_of_day], day[last_of_day], km[last_of_day]
    last_day, last_km = np.full(n_vehicles, np.nan), np.full(n_vehicles, np.nan)
    last_day[code], last_km[code] = day, km

    follows = code[1:] == code[:-1]
    owner, t, d = code[1:][follows], np.diff(day)[follows], np.diff(km)[follows]
    counts = np.bincount(owner, minlength=n_vehicles)
    total_days = np.bincount(owner, t, n_vehicles).astype(np.float64)
    total_km = np.bincount(owner, d, n_vehicles).astype(np.float64)
    residual = d - t * (total_km[owner] / total_days[owner])
    within, within_df = float(np.sum(residual**2 / t)), int(np.maximum(counts - 1, 0).sum())
    floor = REGULAR_KM2_PER_DAY * within_df
    return History(
        vehicles=vehicles,
        groups=groups,
        group_codes=group_codes,
        last_day=last_day,
        last_km=last_km,
        n_increments=counts.astype(np.int64),
        days=total_days,
        km=total_km,
        within=max(within, floor),
        within_df=within_df,
        log_days=float(np.log(t).sum()),
        regular=within < floor,
        falls=_say_falls(vehicles[owner], day[1:][follows], d),
    )


def _say_falls(vehicle: Labels, day: Floats, km: Floats) -> str:
    falls = np.flatnonzero(km < -FALL_TOLERANCE_KM)
    if not falls.size:
        return ""
    listed = "; ".join(f"vehicle {vehicle[i]}, day {day[i]:g}: {km[i]:,.0f} km" for i in falls[:5])
    return f"the running distance falls in {falls.size} places ({listed}{'; ...' if falls.size > 5 else ''})"
