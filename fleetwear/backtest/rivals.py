"""Rivals of the forecast: what a fleet can do without a model.

*Share of limit*: the last reading over its limit; a rule such as "flag at 80 % of the limit" flags the highest.
*Straight line*: ordinary least squares through the joint's own readings so far, carried on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]


def straight_lines(series: Integers, distance: Floats, play: Floats, group: Integers) -> tuple[Floats, Floats]:
    """Return intercept, mm, and slope, mm/km, of a line for each series; nan for a series without a reading.

    A series whose readings all stand at one distance has no slope of its own and takes that of its group: the
    common slope of the group's lines, each with an intercept of its own. Where the group has none either, all
    series are one group, and without any slope at all it is 0.

    Parameters
    ----------
    series, distance, play
        Readings: the series (0 .. J - 1), the distance since the life began in km, the play in mm; shape (n,).
    group
        The group of each series, such as its kind of joint, shape (J,).
    """
    n = len(group)
    count = np.bincount(series, minlength=n).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_x = np.bincount(series, weights=distance, minlength=n) / count
        mean_y = np.bincount(series, weights=play, minlength=n) / count
    x, y = distance - mean_x[series], play - mean_y[series]
    sxx: Floats = np.bincount(series, weights=x * x, minlength=n).astype(np.float64)
    sxy: Floats = np.bincount(series, weights=x * y, minlength=n).astype(np.float64)
    own = sxx > 1e-6
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where(own, sxy / sxx, _common_slopes(sxx, sxy, group))
    return mean_y - slope * mean_x, slope


def _common_slopes(sxx: Floats, sxy: Floats, group: Integers) -> Floats:
    """Return the slope of each series' group, shape (J,)."""
    everything = sxy.sum() / sxx.sum() if sxx.sum() > 0.0 else 0.0
    total = np.bincount(group, weights=sxx)
    with np.errstate(invalid="ignore", divide="ignore"):
        common = np.where(total > 0.0, np.bincount(group, weights=sxy) / total, everything)
    return np.asarray(common[group])
