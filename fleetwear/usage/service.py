"""When each vehicle is next in for service, and how far it will have run by then.

For one draw: a daily rate from the vehicle's posterior; a path from its last known point to the as-of day;
the fraction f of the interval at which this fleet does the service, beyond the fraction already used; then
the first of f x interval_km (a first passage) and f x interval_days (a date).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleetwear.errors import InputError
from fleetwear.usage.history import Floats
from fleetwear.usage.lateness import draw_lateness, lateness_quantiles
from fleetwear.usage.passage import draw_distance, draw_first_due
from fleetwear.usage.rates import UsageFit, draw_rates

AT_ONCE_DAYS = 1.0
"""The days to a service that is due at once; no service is drawn sooner."""


@dataclass(frozen=True)
class NextService:
    """K draws of the next service of V vehicles, in the order of the fit's vehicles."""

    rate: Floats
    """(V, K) daily rates that the draws rest on, km/day."""
    as_of_km: Floats
    """(V, K) running distance on the as-of day, km."""
    days: Floats
    """(V, K) days from the as-of day to the next service, at least AT_ONCE_DAYS."""
    service_km: Floats
    """(V, K) running distance at the next service, km, not below ``as_of_km``."""
    used: Floats
    """(V, K) fraction of the interval used on the as-of day."""
    by_distance: NDArray[np.bool_]
    """(V, K) whether the distance rather than the date makes it due."""
    overdue: NDArray[np.bool_]
    """(V,) whether more likely than not the whole interval was used on the as-of day."""
    doubt: str
    """What makes the draws doubtful, in words; empty if nothing does."""


def draw_next_service(
    fit: UsageFit,
    *,
    as_of_day: float,
    service_day: ArrayLike,
    service_km: ArrayLike,
    interval_km: ArrayLike,
    interval_days: ArrayLike,
    lateness: ArrayLike,
    n_draws: int,
    rng: np.random.Generator,
) -> NextService:
    """Return draws of when each vehicle is next in and how far it will have run.

    Parameters
    ----------
    fit
        Daily rates of the V vehicles wanted; use ``fit.take`` to go in chunks.
    as_of_day
        Elapsed days, on the fit's origin; not before any entry or service given.
    service_day
        (V,) elapsed days of the last service done.
    service_km
        (V,) running distance at the last service, km. nan has it drawn from the rate and the last entry.
    interval_km, interval_days
        (V,) or scalar; the interval to the next service, km and days. One of the two may be nan.
    lateness
        The fleet's own fractions, from :func:`fleetwear.usage.lateness.lateness_fractions`; with few of
        them a documented lognormal takes their place, and ``doubt`` says so.
    n_draws
        K.
    rng
        The random generator.

    Raises
    ------
    InputError
        If a vehicle has no odometer entry, no service day, no interval, an interval that is not above 0,
        or an entry or service after the as-of day. All such vehicles are named together.

    Notes
    -----
    The path starts at the later of the last entry and the last service. A vehicle that has used more than
    any fraction on record is taken as due at once. That no service has come yet narrows the fraction f, not
    the rate: a vehicle without entries for long is not assumed to stand still.
    """
    n_vehicles = fit.vehicles.size
    done_day, done_km, every_km, every_days = (
        np.array(np.broadcast_to(np.asarray(part, dtype=np.float64), (n_vehicles,)))
        for part in (service_day, service_km, interval_km, interval_days)
    )
    _refuse_gaps(fit, as_of_day, done_day, every_km, every_days)
    quantiles, doubt = lateness_quantiles(lateness)

    rate = draw_rates(fit, n_draws=n_draws, rng=rng)
    since = (done_day - fit.last_day)[:, None]
    known_km = done_km[:, None]
    drawn = draw_distance(rate, fit.phi2, np.abs(since), rng=rng)
    last_km = fit.last_km[:, None]
    start_service_km = np.where(np.isnan(known_km), last_km + np.sign(since) * drawn, known_km)
    start_km = np.where(since > 0, start_service_km, last_km)
    start_day = np.maximum(fit.last_day, done_day)[:, None]
    as_of_km = start_km + draw_distance(rate, fit.phi2, as_of_day - start_day, rng=rng)

    run_km, run_days = as_of_km - start_service_km, (as_of_day - done_day)[:, None]
    used = np.fmax(run_km / every_km[:, None], run_days / every_days[:, None])
    fraction = draw_lateness(quantiles, used, rng=rng)
    at_once = fraction <= used
    left_km = _left(fraction * every_km[:, None] - run_km, at_once)
    left_days = _left(fraction * every_days[:, None] - run_days, at_once)
    days, ahead_km, by_distance = draw_first_due(rate, fit.phi2, left_km, left_days, rng=rng)
    return NextService(
        rate=rate,
        as_of_km=as_of_km,
        days=np.where(at_once, AT_ONCE_DAYS, np.maximum(days, AT_ONCE_DAYS)),
        service_km=as_of_km + np.where(at_once, rate * AT_ONCE_DAYS, ahead_km),
        used=used,
        by_distance=np.where(at_once, (run_km / every_km[:, None]) >= used, by_distance),
        overdue=np.median(used, axis=1) > 1.0,
        doubt=doubt,
    )


def _left(left: Floats, at_once: NDArray[np.bool_]) -> Floats:
    """Return what is left of an interval: inf without one, and anything above 0 where due at once."""
    return np.where(np.isnan(left), np.inf, np.where(at_once, 1.0, np.maximum(left, 1e-9)))


def _refuse_gaps(fit: UsageFit, as_of_day: float, done_day: Floats, every_km: Floats, every_days: Floats) -> None:
    with np.errstate(invalid="ignore"):
        wrong = {
            "no odometer entry (enter one on the in-service date)": np.isnan(fit.last_km),
            "no day of a last service (give the in-service date)": np.isnan(done_day),
            "no service interval (give one by distance or by months)": np.isnan(every_km) & np.isnan(every_days),
            "a service interval that is not above 0": (every_km <= 0) | (every_days <= 0),
            f"an odometer entry after the as-of day {as_of_day:g}": fit.last_day > as_of_day,
            f"a service after the as-of day {as_of_day:g}": done_day > as_of_day,
        }
    found = [
        f"{what}: {int(bad.sum())} vehicles ({', '.join(str(v) for v in fit.vehicles[bad][:5])})"
        for what, bad in wrong.items()
        if bad.any()
    ]
    if found:
        raise InputError(
            "; ".join(found), where="next service", mend="Mend these vehicles' records, or leave them out."
        )
