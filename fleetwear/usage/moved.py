"""A drawn service moved to another day: how far the vehicle will have run by then.

Given a draw of the next service, days T ahead at a distance D from now, the distance run by an earlier day is that of
a bridge of the same Brownian path. Where the service is due by distance, D is first reached at T, so that the gap to
it is a three-dimensional Bessel bridge; where it is due by date, a plain bridge, cut at D. After T the path goes on
with its drift.

References
----------
Revuz & Yor (1999), Continuous Martingales and Brownian Motion, chapters VI and XI: a Brownian path up to the first
passage of a level, given when that comes, keeps from the level as a Bessel bridge of dimension 3 (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fleetwear.usage.service import AT_ONCE_DAYS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.usage.history import Floats


def moved_service(
    days: Floats,
    ahead_km: Floats,
    rate: Floats,
    phi2: Floats,
    by_distance: NDArray[np.bool_],
    *,
    shift_days: float,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Return days to the moved service and the distance run by then, km, both (V, K).

    A service cannot be moved to before tomorrow. With ``shift_days`` 0 both come back as they are.

    Parameters
    ----------
    days, ahead_km, rate
        Draws of the service: days ahead, km from now, km/day, (V, K).
    phi2
        Process variance of each vehicle, km^2/day, (V,).
    by_distance
        Whether the distance rather than the date makes it due, (V, K).
    shift_days
        By how much every service is moved, later if above 0.
    rng
        The random generator; the same one for every shift has the answers move smoothly.
    """
    first, second = rng.standard_normal(days.shape), rng.standard_normal(days.shape)
    third = rng.standard_normal(days.shape)
    moved = np.where(days + shift_days < AT_ONCE_DAYS, np.minimum(days, AT_ONCE_DAYS), days + shift_days)
    wander = phi2[:, None]
    later = np.maximum(moved - days, 0.0)
    further = np.maximum(rate * later + np.sqrt(wander * later) * first, 0.0)
    share = np.minimum(moved / days, 1.0)
    spread = np.sqrt(wander * moved * np.maximum(1.0 - share, 0.0))
    straight = ahead_km * (1.0 - share)
    bessel = np.sqrt((straight + spread * first) ** 2 + (spread * second) ** 2 + (spread * third) ** 2)
    left = np.where(by_distance, bessel, np.maximum(straight + spread * first, 0.0))
    earlier = np.maximum(ahead_km - left, 0.0)
    return moved, np.where(moved < days, earlier, ahead_km + further)
