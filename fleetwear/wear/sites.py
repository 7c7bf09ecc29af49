"""Sites: what one reading says of the true play, for a normal prior of it, as a normal factor.

For a prior N(m, s) and the moments N(m', s') after the reading (module ``detection``), the site has::

    precision 1 / s' - 1 / s        pull (precision x play) m' / s' - m / s

A reading that is a number with a normal error has the site of itself, whatever the prior.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.detection import Tilted, detected, rounded

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.reading_errors import ReadingErrors
    from fleetwear.wear.slips import Slips
    from fleetwear.wear.sums import Floats, ReadingArrays

_COARSE = 0.5
"""Half a resolution, over the standard deviation of a reading, above which rounding is an interval; below it is
part of the residual variance."""
_FLAT = 1e-7
"""Least precision of a site, over that of a reading."""
_REACH = 5.0
"""Standard deviations above the threshold beyond which it says nothing that movement was seen."""


@dataclass(frozen=True)
class Asked:
    """n readings as a question to the true play; arrays of shape (n, 1)."""

    play: Floats
    """Less the offset of the method."""
    error: Floats
    """Error variance."""
    measured: NDArray[np.bool_]
    half: Floats
    """Half the resolution where it counts, else 0."""
    threshold: Floats
    softness: Floats
    sign: Floats
    """1 where movement was seen, -1 where not."""
    curve: NDArray[np.bool_]
    """Where it says something that movement was seen, or not."""

    @classmethod
    def of(cls, errors: ReadingErrors, sigma2: float, readings: ReadingArrays) -> Asked:
        """Return readings of a residual variance, errors as given."""
        of = errors.methods.of(readings)
        play, error = readings.play - of.offset, sigma2 * readings.variance_ratio * of.ratio
        seen = np.zeros(len(play), dtype=np.int8) if readings.seen is None else readings.seen
        half = np.zeros(len(play)) if readings.half is None else readings.half
        near = play < of.threshold + _REACH * (of.softness + np.sqrt(error))
        return cls(
            play=play[:, None],
            error=error[:, None],
            measured=(seen == 0)[:, None],
            half=np.where(half > _COARSE * np.sqrt(error), half, 0.0)[:, None],
            threshold=of.threshold[:, None],
            softness=of.softness[:, None],
            sign=np.where(seen < 0, -1.0, 1.0)[:, None],
            curve=(np.isfinite(of.threshold) & (near | (seen != 0)))[:, None],
        )

    def take(self, rows: NDArray[np.int64]) -> Asked:
        """Return some of the readings."""
        return Asked(
            self.play[rows], self.error[rows], self.measured[rows], self.half[rows], self.threshold[rows],
            self.softness[rows], self.sign[rows], self.curve[rows],
        )  # fmt: skip


@dataclass(frozen=True)
class Sites:
    """What readings say under one account of them (good, or slipped), component by component: shape (n, C)."""

    log_z: Floats
    """Log probability of the reading."""
    mean: Floats
    variance: Floats
    """Of the true play after the reading."""
    precision: Floats
    pull: Floats
    square: Floats
    """Mean squared error of measurement."""
    before: tuple[Floats, Floats]
    """Mean and variance of the true play before it is asked whether movement was seen."""


def good_sites(asked: Asked, m: Floats, s: Floats) -> Sites:
    """Return the sites of readings that did not slip, for priors N(m, s), shape (n, C)."""
    y, e = asked.play, asked.error
    k = s / (s + e)
    number = asked.measured
    square = (1.0 - k) ** 2 * (y - m) ** 2 + s * (1.0 - k)
    log_z = np.where(number, -0.5 * (np.log(2.0 * np.pi * (s + e)) + (y - m) ** 2 / (s + e)), 0.0)
    mean, variance = np.where(number, m + k * (y - m), m), np.where(number, s * (1.0 - k), s)
    rows = np.flatnonzero((number & (asked.half > 0.0))[:, 0])
    if len(rows):
        a = asked.take(rows)
        tilted = rounded(m[rows], s[rows], a.play, a.half, a.error)
        assert tilted.square is not None
        log_z[rows], mean[rows], variance[rows], square[rows] = (
            tilted.log_z, tilted.mean, tilted.variance, tilted.square,
        )  # fmt: skip
    precision = np.broadcast_to(np.where(number, 1.0 / e, 0.0), m.shape)
    return _after_detection(
        asked, m, s, Sites(log_z, mean, variance, precision, precision * y, square, (mean, variance))
    )


def slipped_sites(asked: Asked, slips: Slips, m: Floats, s: Floats) -> Sites:
    """Return the sites of measured readings that slipped, for priors N(m, s), shape (n, C)."""
    y, e = asked.play - slips.shift, slips.variance
    k = s / (s + e)
    mean, variance = m + k * (y - m), s * (1.0 - k)
    width = np.where(asked.half > 0.0, 2.0 * asked.half, 1.0)
    log_z = -0.5 * (np.log(2.0 * np.pi * (s + e)) + (y - m) ** 2 / (s + e)) + np.log(width)
    precision = np.full(m.shape, 1.0 / e)
    exact = Sites(log_z, mean, variance, precision, precision * y, np.zeros_like(m), (mean, variance))
    return _after_detection(asked, m, s, exact)


def _after_detection(asked: Asked, m: Floats, s: Floats, sites: Sites) -> Sites:
    """Return sites with the question whether movement was seen answered, where that says something."""
    special = (asked.curve | (asked.measured & (asked.half > 0.0)))[:, 0]
    rows = np.flatnonzero(special)
    if not len(rows):
        return sites
    log_z, mean, variance = sites.log_z.copy(), sites.mean.copy(), sites.variance.copy()
    at = np.flatnonzero(asked.curve[:, 0])
    if len(at):
        a = asked.take(at)
        tilted: Tilted = detected(mean[at], variance[at], a.threshold, a.softness, a.sign)
        log_z[at] += tilted.log_z
        mean[at], variance[at] = tilted.mean, tilted.variance
    precision, pull = sites.precision.copy(), sites.pull.copy()
    prior, posterior = (m[rows], s[rows]), (mean[rows], variance[rows])
    precision[rows] = np.maximum(1.0 / posterior[1] - 1.0 / prior[1], _FLAT / asked.error[rows])
    lever = prior[1] + 1.0 / precision[rows]
    pull[rows] = precision[rows] * (prior[0] + (posterior[0] - prior[0]) * lever / prior[1])
    return Sites(log_z, mean, variance, precision, pull, sites.square, sites.before)
