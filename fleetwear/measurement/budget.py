"""The uncertainty of one reading, as a budget: each contribution as a standard uncertainty, with its share.

Strokes of one setup average repeatability only: its share falls with the square root of their number, while resolution,
setup and reproducibility stay. Resolution is counted beside repeatability, though some of it may show in the strokes
already: a little on the cautious side where the indicator is coarse.

References
----------
JCGM 100:2008 (GUM), 5.1.2 (sum of variances), 6.2.1 (expanded uncertainty), F.2.2.1 (resolution d / sqrt(12)).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

COVERAGE_FACTOR = 2.0
"""k: twice the standard uncertainty holds about 95 % where errors are normal."""


@dataclass(frozen=True)
class Contribution:
    """One line of a budget.

    Attributes
    ----------
    name
        repeatability, resolution, setup or reproducibility.
    given
        What it was made from: a standard deviation, or the resolution's step.
    standard
        The standard uncertainty.
    share
        Its share of the combined variance, 0 to 1.
    basis
        How the one follows from the other, in words.
    """

    name: str
    given: float
    standard: float
    share: float
    basis: str


@dataclass(frozen=True)
class Budget:
    """The uncertainty of the mean of some strokes, in the unit of what was given."""

    contributions: tuple[Contribution, ...]
    strokes: int
    combined: float
    coverage_factor: float

    @property
    def expanded(self) -> float:
        """The coverage factor times the combined standard uncertainty."""
        return self.coverage_factor * self.combined

    @property
    def stroke_variance(self) -> float:
        """The variance of one stroke, which further strokes average."""
        return next(one.given**2 for one in self.contributions if one.name == "repeatability")

    @property
    def lasting_variance(self) -> float:
        """The variance that no number of strokes makes smaller."""
        return sum(one.standard**2 for one in self.contributions if one.name != "repeatability")

    @property
    def largest_lasting(self) -> Contribution:
        """The largest of the contributions that no number of strokes makes smaller."""
        return max((one for one in self.contributions if one.name != "repeatability"), key=lambda one: one.standard)


def make_budget(
    repeatability: float,
    *,
    strokes: int = 1,
    resolution: float = 0.0,
    setup: float = 0.0,
    reproducibility: float = 0.0,
    coverage_factor: float = COVERAGE_FACTOR,
    setup_source: str = "repeat visits",
) -> Budget:
    """Return the budget of the mean of some strokes of one setup by one person.

    Parameters
    ----------
    repeatability
        Standard deviation of strokes of one setup.
    strokes
        Strokes that were averaged.
    resolution
        The step that readings are rounded to.
    setup
        Standard deviation between setups of the same joint, from repeat visits.
    reproducibility
        Standard deviation between people.
    coverage_factor
        k of the expanded uncertainty.
    setup_source
        Where the setup comes from, in words.

    Raises
    ------
    InputError
        If a figure is negative or not finite, all are nought, or there is no stroke.
    """
    figures = {
        "repeatability": repeatability, "resolution": resolution, "setup": setup, "reproducibility": reproducibility
    }  # fmt: skip
    for name, value in figures.items():
        if not (np.isfinite(value) and value >= 0.0):
            raise InputError(f"{name} is {value}", mend="Give nought or a number above it.")
    if strokes < 1 or not np.isfinite(coverage_factor) or coverage_factor <= 0.0:
        raise InputError(
            f"{strokes} strokes and coverage factor {coverage_factor}",
            mend="Give at least one stroke and a factor above nought.",
        )
    standard = {
        "repeatability": repeatability / np.sqrt(strokes),
        "resolution": resolution / np.sqrt(12.0),
        "setup": setup,
        "reproducibility": reproducibility,
    }
    variance = float(sum(value**2 for value in standard.values()))
    if variance == 0.0:
        raise InputError("every contribution is nought", mend="Give at least the indicator's resolution.")
    basis = {
        "repeatability": f"standard deviation of strokes / sqrt({strokes})",
        "resolution": "step / sqrt(12) (JCGM 100:2008, F.2.2.1)",
        "setup": f"standard deviation between setups, from {setup_source}",
        "reproducibility": "standard deviation between people",
    }
    lines = tuple(
        Contribution(name, float(figures[name]), float(value), float(value**2 / variance), basis[name])
        for name, value in standard.items()
    )
    return Budget(lines, int(strokes), float(np.sqrt(variance)), float(coverage_factor))


@dataclass(frozen=True)
class PooledDeviation:
    """A standard deviation pooled over groups, with the chi-square interval of its degrees of freedom."""

    deviation: float
    degrees: int
    lower: float
    upper: float
    level: float


def pool_deviations(sums_of_squares: ArrayLike, degrees: ArrayLike, *, level: float = 0.95) -> PooledDeviation:
    """Return the standard deviation pooled over groups: strokes of setups, or visits of joints that did not wear.

    Parameters
    ----------
    sums_of_squares, degrees
        Of each group, about its own mean; one total of degrees serves as well (g,).
    level
        The level of the interval.

    Raises
    ------
    InputError
        If a sum is negative or there are no degrees of freedom.
    """
    sums, df = np.asarray(sums_of_squares, dtype=np.float64), int(np.sum(degrees))
    if not np.isfinite(sums).all() or (sums < 0.0).any() or df < 1:
        raise InputError(
            f"sums of squares {sums.tolist()} on {df} degrees of freedom",
            mend="Give sums of nought or more, and at least one degree of freedom.",
        )
    total = float(sums.sum())
    low, high = (float(np.sqrt(total / stats.chi2.ppf(p, df))) for p in ((1.0 + level) / 2.0, (1.0 - level) / 2.0))
    return PooledDeviation(float(np.sqrt(total / df)), df, low, high, level)
