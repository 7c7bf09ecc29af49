"""Draws of Brownian motion with drift: distance after some days, days to some distance, and the first of two.

Given a rate r (km/day) and the process variance phi2 (km^2/day), the distance run in t days is
N(r t, phi2 t), and the days to run a distance c follow the inverse Gaussian with mean c / r and shape
c^2 / phi2 (the first passage). A distance ahead drawn below zero is taken as zero: odometers do not run back.

References
----------
Folks & Chhikara (1978), JRSS B 40, 263-289: the inverse Gaussian as a first-passage time.
Glasserman (2003), Monte Carlo Methods in Financial Engineering, section 6.4: the chance that a Brownian
bridge crosses a barrier.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from fleetwear.usage.history import Floats

_MOST_ROUNDS = 500


def draw_distance(rate: ArrayLike, phi2: float, days: ArrayLike, *, rng: np.random.Generator) -> Floats:
    """Return the distance run in given days, km, not below 0.

    Parameters
    ----------
    rate
        Drawn daily rates, km/day; any shape that broadcasts with ``days``, usually (V, K).
    phi2
        Process variance, km^2/day.
    days
        Days, 0 or more.
    """
    r, t = np.broadcast_arrays(np.asarray(rate, dtype=np.float64), np.asarray(days, dtype=np.float64))
    km = r * t + np.sqrt(phi2 * t) * rng.standard_normal(r.shape)
    return np.asarray(np.maximum(km, 0.0), dtype=np.float64)


def draw_crossing_days(rate: ArrayLike, phi2: ArrayLike, distance_km: ArrayLike, *, rng: np.random.Generator) -> Floats:
    """Return the days until given distances are first run, of the shape that the arguments broadcast to.

    Parameters
    ----------
    rate
        Drawn daily rates above 0, km/day: (V, K), or (J, K) once indexed by each joint's vehicle.
    phi2
        Process variance, km^2/day, above 0; one, or any shape that broadcasts with the rates.
    distance_km
        Distances still to run, (V, K) or (J, K). 0 or less gives 0 days, inf gives inf, nan gives nan.

    Notes
    -----
    Each entry has its own path given its rate: entries of one vehicle and draw share the rate, not the path.
    """
    r, c, v = np.broadcast_arrays(
        np.asarray(rate, dtype=np.float64),
        np.asarray(distance_km, dtype=np.float64),
        np.asarray(phi2, dtype=np.float64),
    )
    days = np.where(c > 0, np.inf, np.where(np.isnan(c), np.nan, 0.0))
    real = (c > 0) & np.isfinite(c)
    ahead = c[real]
    days[real] = np.maximum(rng.wald(ahead / r[real], ahead**2 / v[real]), 0.0)
    return days


def draw_first_due(
    rate: ArrayLike, phi2: float, distance_km: ArrayLike, days: ArrayLike, *, rng: np.random.Generator
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return when a distance or a date is reached, whichever first, and the distance run by then.

    Parameters
    ----------
    rate
        Drawn daily rates above 0, km/day, (V, K).
    phi2
        Process variance, km^2/day, above 0.
    distance_km
        Distance to run, above 0; inf if only the date counts.
    days
        Days to the date, above 0; inf if only the distance counts.

    Returns
    -------
    days, km, by_distance
        (V, K) each: days until the first of the two, distance run by then (km), and which it was.

    Notes
    -----
    The passage time T to the distance c is drawn first. Where T is beyond the date s, the distance run by s
    is drawn given that c was not reached before: a normal draw x truncated to below c, kept with the
    probability that the bridge from 0 to x stays below c, 1 - exp(-2 c (c - x) / (phi2 s)), and drawn again
    otherwise. This is exact but for the floor at 0; since dates come first just as often as paths stay below,
    the redraws cost at most one draw an entry on average.
    """
    r, c, s = (
        np.array(part, dtype=np.float64)
        for part in np.broadcast_arrays(np.asarray(rate), np.asarray(distance_km), np.asarray(days))
    )
    passage = draw_crossing_days(r, phi2, c, rng=rng)
    by_distance = passage <= s
    when = np.where(by_distance, passage, s)
    km = np.where(by_distance, c, 0.0)
    left = np.flatnonzero(~by_distance)
    r, c, s = r.ravel()[left], c.ravel()[left], s.ravel()[left]
    spread = np.sqrt(phi2 * s)
    below = ndtr((c - r * s) / spread)
    run = np.empty(left.size)
    open_ = np.arange(left.size)
    for _ in range(_MOST_ROUNDS):
        if not open_.size:
            break
        drawn = (r * s)[open_] + spread[open_] * ndtri(below[open_] * (1.0 - rng.random(open_.size)))
        run[open_] = drawn
        room = np.maximum(c[open_] - drawn, 0.0)
        crossed = np.exp(-2.0 * c[open_] * room / (phi2 * s[open_]))
        open_ = open_[rng.random(open_.size) < crossed]
    km.ravel()[left] = np.clip(run, 0.0, c)
    return when, km, by_distance
