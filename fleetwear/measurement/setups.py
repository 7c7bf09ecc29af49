"""Setup beside repeatability: estimates with intervals, whether groups differ, and what groups borrow from the whole.

A reading of n strokes of one setup has the variance setup + repeatability / n. Visits show that sum (`repeats`),
strokes of one setup the repeatability, and the setup is what is left. With V the sum as visits show it on nu effective
degrees of freedom, c the part of one stroke's variance that it holds, and r the repeatability on its own degrees,
intervals of V and r are those of chi-square, and that of setup = V - c r is put together from them::

    lower  setup - sqrt((V - V_l)^2 + c^2 (r_u - r)^2)      upper  setup + sqrt((V_u - V)^2 + c^2 (r - r_l)^2)

Groups count as different where the restricted likelihood of the groups beats that of the whole by Akaike's criterion.
Their variances are then drawn toward the whole's on the log scale, by trigamma(nu / 2), the variance of the log of a
variance with nu degrees, beside the spread of groups (method of moments).

References
----------
JCGM 100:2008 (GUM), G.4 (effective degrees of freedom, Welch-Satterthwaite; here from the likelihood's information).
Graybill & Wang (1980), JASA 75, 869-873, and Zou & Donner (2008), Stat. Med. 27, 1693-1702 (intervals from intervals).
DerSimonian & Laird (1986), Controlled Clinical Trials 7, 177-188 (spread by moments). From memory, all but the first.
NIST/SEMATECH e-Handbook, 2.4 (level 1 repeatability, level 2 day to day: s_days^2 = s_2^2 - s_1^2 / J; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special, stats

from fleetwear.measurement.repeats import fit_setups

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.measurement.repeats import Floats, Integers, Repeats

    Flags = NDArray[np.bool_]

LEAST_DEGREES = 10.0
"""Visits beyond what lives' lines take up that a group needs before anything is said of it."""
LEAST_STROKE_DEGREES = 5.0
"""Strokes beyond the first of a setup that repeatability needs before it is told apart."""
_LEAST_COUNTED = 3.0
"""Effective degrees of freedom below which an estimate is not told."""
_LEVEL = 0.95


@dataclass(frozen=True)
class Repeatability:
    """The variance of strokes of one setup of G groups, in squares of the unit of play; nought where not known (G,)."""

    variance: Floats
    degrees: Floats
    """nought where it is not known, infinite where it was given as known."""

    @property
    def known(self) -> Flags:
        """Where it is known (G,)."""
        return np.asarray(self.degrees > 0.0, dtype=np.bool_)


def repeatability_of(squares: Floats, degrees: Floats, *, parent: Integers | None = None) -> Repeatability:
    """Return the repeatability of groups from sums of squares of strokes about their setups' means.

    Parameters
    ----------
    squares, degrees
        Sum of squares and degrees of freedom of each group (G,).
    parent
        The code of the whole that each group belongs to (G,): its own figures are drawn toward that whole's, or taken
        from it where the group has few. None: every group stands alone.
    """
    if parent is None:
        enough = degrees >= LEAST_STROKE_DEGREES
        return Repeatability(np.where(enough, squares / np.where(enough, degrees, 1.0), 0.0),
                             np.where(enough, degrees, 0.0))  # fmt: skip
    wholes = int(parent.max()) + 1
    of_wholes = (np.bincount(parent, weights=one, minlength=wholes).astype(np.float64) for one in (squares, degrees))
    whole = repeatability_of(*of_wholes)
    variance, lent = whole.variance[parent].copy(), whole.degrees[parent].copy()
    for one in range(wholes):
        own = np.flatnonzero((parent == one) & (degrees >= LEAST_STROKE_DEGREES) & (squares > 0.0))
        if len(own) and whole.variance[one] > 0.0:
            variance[own] = drawn_together(squares[own] / degrees[own], degrees[own], whole.variance[one])
            lent[own] = degrees[own]
    return Repeatability(variance, lent)


def drawn_together(variance: Floats, degrees: Floats, whole: float) -> Floats:
    """Return variances of groups drawn toward that of the whole, as far as chance may have set them apart (G,).

    Parameters
    ----------
    variance, degrees
        Of each group, above nought (G,).
    whole
        The variance of all together.
    """
    noise = special.polygamma(1, degrees / 2.0)
    logs = np.log(variance) - (special.digamma(degrees / 2.0) - np.log(degrees / 2.0)) - np.log(whole)
    spread = spread_of(logs, noise)
    return np.asarray(whole * np.exp(logs * spread / (spread + noise)))


def spread_of(values: Floats, noise: Floats) -> float:
    """Return the variance of groups' true values, by moments from estimates with known variances, or nought."""
    if len(values) < 2:
        return 0.0
    w = 1.0 / noise
    middle = (w * values).sum() / w.sum()
    q = float((w * (values - middle) ** 2).sum())
    return max(0.0, (q - (len(values) - 1)) / float(w.sum() - (w**2).sum() / w.sum()))


@dataclass(frozen=True)
class Setups:
    """Setup and repeatability of G groups, as variances in squares of the unit of play; every array (G,).

    Attributes
    ----------
    setup, lower, upper
        What is left of the scatter between visits, nought where strokes explain it all, and its interval. Where
        repeatability is not known it holds that of one stroke too.
    repeatability
        What strokes of one setup say.
    degrees
        Effective degrees of freedom of the scatter between visits.
    enough
        Whether there are enough repeat visits to say anything; the other figures are nan where not.
    counts_as
        The setup variance that a group counts with: its own, drawn toward the whole's.
    readings
        How many there are.
    minus_two
        -2 log restricted likelihood of this grouping.
    parameters
        How many variances it took.
    """

    setup: Floats
    lower: Floats
    upper: Floats
    repeatability: Repeatability
    degrees: Floats
    enough: Flags
    counts_as: Floats
    readings: Integers
    minus_two: float
    parameters: int
    level: float

    def variance(self, strokes: int = 1, setups: int = 1) -> Floats:
        """Return the variance of the mean of strokes of each of some setups, as groups count (G,)."""
        return np.asarray((self.counts_as + self.repeatability.variance / strokes) / setups)

    @property
    def akaike(self) -> float:
        """Akaike's criterion of the restricted likelihood; comparable between groupings of the same readings."""
        return self.minus_two + 2.0 * self.parameters


def estimate_setups(
    repeats: Repeats,
    repeatability: Repeatability,
    *,
    whole: Setups | None = None,
    parent: Integers | None = None,
    level: float = _LEVEL,
) -> Setups:
    """Return setup and repeatability of the groups of repeat visits.

    Parameters
    ----------
    repeats
        Readings with the codes of their G groups.
    repeatability
        Of each group.
    whole, parent
        The wholes that groups are drawn toward, and the code of each group's (G,). None: groups stand alone.
    level
        The level of intervals.
    """
    groups = len(repeatability.variance)
    beyond = np.bincount(repeats.group, weights=1.0 - (repeats.basis**2).sum(axis=1), minlength=groups).astype(float)
    enough = beyond >= LEAST_DEGREES
    # groups too thin share a variance of their own whole, so that they lend others nothing and take nothing from them
    above = np.zeros(groups, dtype=np.int64) if parent is None else parent
    used = np.unique(above[~enough & (np.bincount(repeats.group, minlength=groups) > 0)])
    own = np.cumsum(enough) - 1
    code = np.where(enough, own, int(enough.sum()) + np.searchsorted(used, above))
    size = int(enough.sum()) + len(used)
    if size == 0:
        nothing = np.full(groups, np.nan)
        return Setups(nothing, nothing, nothing, repeatability, beyond, enough, nothing,
                      np.zeros(groups, dtype=np.int64), 0.0, 0, level)  # fmt: skip
    strokes = np.zeros(size)
    strokes[code[enough]] = repeatability.variance[enough]
    for at, one in enumerate(used):
        strokes[int(enough.sum()) + at] = repeatability.variance[(above == one) & ~enough].min()
    fitted = fit_setups(repeats.grouped(code[repeats.group]), strokes, least_visit=_least(whole, parent, enough, size))
    sure = fitted.degrees[: int(enough.sum())] >= _LEAST_COUNTED
    enough[enough] = sure
    total, degrees, leaning = (np.full(groups, np.nan) for _ in range(3))
    total[enough] = fitted.visit_variance[own[enough]]
    degrees[enough] = fitted.degrees[own[enough]]
    leaning[enough] = fitted.leaning[own[enough]]
    setup, lower, upper = _left(total, degrees, leaning, repeatability, level)
    counts_as = np.maximum(setup, 0.0)
    if whole is not None and parent is not None:
        counts_as = _drawn(total, degrees, leaning, repeatability, whole, parent)
    counts = np.bincount(repeats.group, minlength=groups).astype(np.int64)
    return Setups(
        np.maximum(setup, 0.0), lower, upper, repeatability, np.where(enough, degrees, beyond), enough, counts_as,
        counts, fitted.minus_two, size, level,
    )  # fmt: skip


def _least(whole: Setups | None, parent: Integers | None, enough: Flags, size: int) -> Floats | None:
    """Return a quarter of what each group's whole shows in one visit of one stroke, None without wholes (size,)."""
    if whole is None or parent is None:
        return None
    least = np.zeros(size)
    least[: int(enough.sum())] = np.nan_to_num(whole.variance()[parent[enough]]) / 4.0
    return least


def _left(
    total: Floats, degrees: Floats, leaning: Floats, repeatability: Repeatability, level: float
) -> tuple[Floats, Floats, Floats]:
    """Return setup variances, below nought where strokes scatter more than visits, and their intervals."""
    low, high = chi_square_interval(total, degrees, level)
    stroke = leaning * repeatability.variance
    stroke_low, stroke_high = (leaning * end for end in
                               chi_square_interval(repeatability.variance, repeatability.degrees, level))  # fmt: skip
    setup = total - stroke
    lower = setup - np.sqrt((total - low) ** 2 + (stroke_high - stroke) ** 2)
    upper = setup + np.sqrt((high - total) ** 2 + (stroke - stroke_low) ** 2)
    return setup, np.maximum(lower, 0.0), np.maximum(upper, 0.0)


def chi_square_interval(variance: Floats, degrees: Floats, level: float) -> tuple[Floats, Floats]:
    """Return the ends of intervals of variances; a variance on nought or infinite degrees is its own interval."""
    told = np.isfinite(degrees) & (degrees > 0.0)
    df = np.where(told, degrees, 1.0)
    tail = (1.0 - level) / 2.0
    low, high = (variance * df / stats.chi2.ppf(p, df) for p in (1.0 - tail, tail))
    return np.where(told, low, variance), np.where(told, high, variance)


def _drawn(
    total: Floats, degrees: Floats, leaning: Floats, repeatability: Repeatability, whole: Setups, parent: Integers
) -> Floats:
    """Return the setup variances that groups count with; those of a group too thin are its whole's."""
    counts_as = whole.counts_as[parent].copy()
    for one in range(len(whole.setup)):
        own = np.flatnonzero((parent == one) & np.isfinite(total))
        centre = float(whole.counts_as[one])
        if not len(own) or not np.isfinite(centre):
            continue
        # what visits of the whole would show with this group's strokes
        as_whole = centre + leaning[own] * whole.repeatability.variance[one]
        drawn = drawn_together(total[own] / as_whole, degrees[own], 1.0) * as_whole
        counts_as[own] = np.maximum(drawn - leaning[own] * repeatability.variance[own], 0.0)
    return np.asarray(counts_as)
