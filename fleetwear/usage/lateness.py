"""How late a fleet's services are done, as fractions of the interval: 1.0 is exactly on time.

For a service done after another of the same vehicle::

    f = max(km since the previous one / interval_km, days since the previous one / interval_days)

Only intervals that have ended are seen, so very late ones are slightly under-represented.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from fleetwear.errors import InputError
from fleetwear.usage.history import Floats, codes_of

EARLIEST_FRACTION = 0.3
"""A service before this fraction is taken as another job or a double record."""
LATEST_FRACTION = 2.5
"""Beyond this fraction, a service in between is taken to be missing from the record."""
FEW_FRACTIONS = 10
"""Below this many fractions of its own, a fleet is given the assumed ones."""
ASSUMED_LATENESS_SD = 0.15
"""Standard deviation of log f in the assumed lognormal, whose median is 1."""


def lateness_fractions(
    vehicle: ArrayLike,
    service_day: ArrayLike,
    running_km: ArrayLike,
    interval_km: ArrayLike,
    interval_days: ArrayLike,
) -> Floats:
    """Return the fraction of its interval at which each service was done, as a flat array.

    The first service of a vehicle has none. Services on one day count as one. Fractions outside
    EARLIEST_FRACTION..LATEST_FRACTION, and those for which neither part is known, are dropped.

    Parameters
    ----------
    vehicle
        (n,) labels of one type; services in any order.
    service_day
        (n,) elapsed days at which the service was done.
    running_km
        (n,) running distance at the service, km; nan where unknown.
    interval_km, interval_days
        (n,) the interval from this service to the one after it; nan where there is none.

    Raises
    ------
    InputError
        If lengths differ.
    """
    labels = np.asarray(vehicle)
    day, km, every_km, every_days = (
        np.asarray(part, dtype=np.float64) for part in (service_day, running_km, interval_km, interval_days)
    )
    if labels.ndim != 1 or any(part.shape != labels.shape for part in (day, km, every_km, every_days)):
        raise InputError(
            f"got shapes {labels.shape}, {day.shape}, {km.shape}, {every_km.shape}, {every_days.shape}",
            where="services done",
            mend="Give flat arrays with one value a service.",
        )
    if labels.size == 0:
        return np.empty(0)
    _, codes = codes_of(labels, "vehicle")
    order = np.lexsort((km, day, codes))
    code, day, km = codes[order], day[order], km[order]
    every_km, every_days = every_km[order], every_days[order]
    follows = (code[1:] == code[:-1]) & (day[1:] > day[:-1])
    by_km = np.diff(km)[follows] / every_km[:-1][follows]
    by_days = np.diff(day)[follows] / every_days[:-1][follows]
    fraction = np.fmax(by_km, by_days)
    return np.asarray(fraction[(fraction >= EARLIEST_FRACTION) & (fraction <= LATEST_FRACTION)])


def lateness_quantiles(fractions: ArrayLike) -> tuple[Floats, str]:
    """Return ascending equally likely fractions to draw from, and what is doubtful about them in words.

    With fewer than FEW_FRACTIONS, 201 quantiles of the assumed lognormal take their place.

    Raises
    ------
    InputError
        If a fraction is not above 0.
    """
    own = np.asarray(fractions, dtype=np.float64).ravel()
    if not (np.isfinite(own) & (own > 0)).all():
        raise InputError(
            f"lateness fractions must be above 0, got {own[~(np.isfinite(own) & (own > 0))][:5].tolist()}",
            where="lateness",
            mend="Take them from lateness_fractions.",
        )
    if own.size >= FEW_FRACTIONS:
        return np.sort(own), ""
    assumed = np.exp(ASSUMED_LATENESS_SD * ndtri((np.arange(201) + 0.5) / 201))
    return assumed, (
        f"only {own.size} services on record with one before them: services are assumed to be done around "
        f"their due point with a spread of {ASSUMED_LATENESS_SD:.0%}"
    )


def draw_lateness(quantiles: ArrayLike, used: ArrayLike, *, rng: np.random.Generator) -> Floats:
    """Return fractions at which the next service is done, each beyond the fraction already used.

    Parameters
    ----------
    quantiles
        (n >= 2,) ascending, equally likely fractions; the distribution runs straight between them.
    used
        Fractions of the interval already used, any shape. Where no quantile is beyond it, it comes back
        itself: the service is due at once.
    """
    q = np.asarray(quantiles, dtype=np.float64)
    u = np.asarray(used, dtype=np.float64)
    steps = q.size - 1
    lower = np.clip(np.searchsorted(q, u, side="right") - 1, 0, steps - 1)
    rise = q[lower + 1] - q[lower]
    into = np.divide(u - q[lower], rise, out=np.ones_like(u), where=rise > 0)
    reached = (lower + np.clip(into, 0.0, 1.0)) / steps
    level = reached + (1.0 - reached) * (1.0 - rng.random(u.shape))
    return np.asarray(np.maximum(np.interp(level * steps, np.arange(q.size), q), u), dtype=np.float64)
