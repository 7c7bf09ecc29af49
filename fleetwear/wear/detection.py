"""What readings that are not exact numbers say of the true play: closed forms for a normal prior N(m, s).

==================================  =====================================  ==========================
what is on record                   likelihood of the true play z          form
==================================  =====================================  ==========================
no movement seen                    Phi((t - z) / d)                       left-censored, soft
movement seen, not measured         Phi((z - t) / d)                       right-censored, soft
y, rounded to steps of 2 h          P(y - h < z + e <= y + h)              interval; open below at zero
==================================  =====================================  ==========================

t is the threshold of the method's detection curve and d its softness (a probit curve in the true play); e is
N(0, error variance). The moments of z given either are those of Gaussian process classification (Rasmussen &
Williams 2006, Gaussian Processes for Machine Learning, equations 3.82, 3.85 and 3.87; from memory) and of the
truncated normal (Johnson, Kotz & Balakrishnan 1994, Continuous Univariate Distributions 1, section 13.10; from
memory). Tests hold them to quadrature.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fleetwear.wear.sums import Floats

_NARROW, _FAR = 1e-3, 30.0
"""Half widths, and distances, in standard deviations, beyond which an interval is taken as a point."""


@dataclass(frozen=True)
class Tilted:
    """The true play after one reading: log probability of the reading, mean and variance; arrays of one shape."""

    log_z: Floats
    mean: Floats
    variance: Floats
    square: Floats | None = None
    """Of an interval: the mean squared difference of the unrounded reading and the true play."""


def detected(m: Floats, s: Floats, threshold: Floats, softness: Floats, sign: Floats) -> Tilted:
    """Return what it says that movement was seen (sign 1) or not (sign -1); arrays that broadcast together."""
    from scipy import special

    scale = np.sqrt(softness**2 + s)
    a = sign * (m - threshold) / scale
    log_z = special.log_ndtr(a)
    near = np.maximum(a, -_FAR)
    ratio = np.exp(-0.5 * near * near - 0.5 * np.log(2.0 * np.pi) - special.log_ndtr(near))
    ratio = np.where(a < -_FAR, -a - 1.0 / np.minimum(a, -_FAR), ratio)
    mean = m + sign * s * ratio / scale
    shrink = np.clip(s * ratio * (a + ratio) / scale**2, 0.0, 1.0 - 1e-12)
    return Tilted(log_z, mean, s * (1.0 - shrink))


def rounded(m: Floats, s: Floats, y: Floats, half: Floats, error: Floats) -> Tilted:
    """Return what a reading rounded to y says; a reading below its half resolution is open below, at zero.

    ``error`` is the error variance. Arrays broadcast together.
    """
    from scipy import special

    m, s, y, half, error = np.broadcast_arrays(m, s, y, half, error)
    total = s + error
    sd = np.sqrt(total)
    with np.errstate(invalid="ignore"):
        low = np.where(y < half, -np.inf, (y - half - m) / sd)
        high = (y + half - m) / sd
        flip = low > 0.0
        below, above = np.where(flip, -high, low), np.where(flip, -low, high)
    log_above, log_below = special.log_ndtr(above), special.log_ndtr(below)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        log_z = log_above + np.log1p(-np.exp(log_below - log_above))
        density_below, density_above = (
            np.exp(-0.5 * x * x - 0.5 * np.log(2.0 * np.pi) - log_z) for x in (below, above)
        )
        first = density_below - density_above
        second = 1.0 + np.where(np.isinf(below), 0.0, below) * density_below - above * density_above
    middle = (y - m) / sd
    width = half / sd
    point = (width < _NARROW) | ((np.abs(middle) > _FAR) & ~np.isinf(below))
    point |= ~np.isfinite(first) | ~np.isfinite(second)
    signed = np.where(flip, -first, first)
    mean_u = np.where(point, middle, signed)
    square_u = np.where(point, middle**2 + width**2 / 3.0, np.maximum(second, mean_u**2))
    with np.errstate(divide="ignore"):
        as_point = np.log(2.0 * width) - 0.5 * middle**2 - 0.5 * np.log(2.0 * np.pi)
    log_z = np.where(point, as_point, log_z)
    k = s / total
    variance_u = np.maximum(square_u - mean_u**2, 0.0)
    return Tilted(
        log_z,
        m + k * sd * mean_u,
        s * (1.0 - k) + k**2 * total * variance_u,
        (1.0 - k) ** 2 * total * square_u + s * (1.0 - k),
    )
