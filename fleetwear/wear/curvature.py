"""The exponent at which the play of lives grows, by maximum likelihood.

Lives that were followed further have steeper straight lines where wear gathers pace, whatever else they are. On the
scale g = (distance / reference) ^ exponent they do not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize_scalar

from fleetwear.wear.criterion import Criterion
from fleetwear.wear.mixed_model import minimise, starting_theta

if TYPE_CHECKING:
    from fleetwear.wear.sums import Floats, Integers, ReadingArrays

_LOWEST, _HIGHEST = 0.5, 2.5
_TOLERANCE = 0.03
_EVIDENCE = 2.0
"""How much lower the deviance must be than that of straight growth: Akaike's price of a parameter."""


def growth_exponent(readings: ReadingArrays, stratum: Integers, *, reference: float) -> float:
    """Return the exponent of growth, 1 unless the readings bear out another.

    Parameters
    ----------
    readings
        The readings of J lives.
    stratum
        The stratum of each life, shape (J,); strata have mean lines of their own and one covariance.
    reference
        The reference distance.
    """
    codes = np.unique(stratum, return_inverse=True)[1].astype(np.int64)

    last: list[Floats] = []

    def deviance(exponent: float) -> float:
        sums = readings.sums(exponent, reference)
        criterion = Criterion(sums, codes, int(codes.max()) + 1, reml=False)
        best = minimise(criterion, start=last[-1] if last else starting_theta(sums), finish=False)
        last.append(best.theta)
        return best.profile.deviance

    straight = deviance(1.0)
    found = minimize_scalar(deviance, bounds=(_LOWEST, _HIGHEST), method="bounded", options={"xatol": _TOLERANCE})
    return float(found.x) if float(found.fun) < straight - _EVIDENCE else 1.0
