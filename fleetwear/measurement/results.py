"""What a repeatability study says: standard deviations with intervals, shares, and distinct categories."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Mapping

StudyMethod = Literal["anova", "average and range", "reml"]

QUANTITIES = ("repeatability", "reproducibility", "gauge R&R", "joint to joint", "total")
"""The variations that a study tells, in the order in which they are listed."""

PARTS: dict[str, tuple[str, ...]] = {
    "repeatability": ("repeatability",),
    "reproducibility": ("people", "interaction"),
    "gauge R&R": ("repeatability", "people", "interaction"),
    "joint to joint": ("joint",),
    "total": ("repeatability", "people", "interaction", "joint"),
}
"""The variance components that each variation sums."""

CATEGORY_FACTOR = 1.41
"""AIAG (2010) prints the square root of 2 with two decimals and computes with that."""

SPREAD = 6.0
"""Standard deviations that are set against the span from no play to the limit."""


@dataclass(frozen=True)
class StudyResults:
    """A crossed study of joints, people and strokes.

    Attributes
    ----------
    method
        How the components were estimated.
    variances
        The variance components: repeatability, people, interaction, joint; nan where the study cannot tell.
    intervals
        Lower and upper end of each standard deviation in `QUANTITIES`, and of "share" (gauge R&R over total), where
        the method gives them.
    level
        The level of the intervals.
    interval_method
        How they were made, in words.
    pooled
        Whether the interaction was pooled into repeatability.
    interaction_f, interaction_p
        The test of the interaction; nan without one.
    table
        The analysis of variance: source, degrees, sum_of_squares, mean_square, f, p; none for other methods.
    n_joints, n_people, n_readings, strokes
        The size; fewest and most strokes of a filled cell.
    mean
        The mean of all readings.
    loglik
        The restricted log-likelihood of "reml"; else nan.
    notes
        What the reader has to know about this study.
    """

    method: StudyMethod
    variances: Mapping[str, float]
    intervals: Mapping[str, tuple[float, float]]
    level: float
    interval_method: str
    pooled: bool
    interaction_f: float
    interaction_p: float
    table: pd.DataFrame | None
    n_joints: int
    n_people: int
    n_readings: int
    strokes: tuple[int, int]
    mean: float
    loglik: float
    notes: tuple[str, ...]

    def variance(self, quantity: str) -> float:
        """Return the variance of one of `QUANTITIES`; without people, gauge R&R is repeatability alone."""
        found = [self.variances[part] for part in PARTS[quantity]]
        return float("nan") if np.isnan(found).all() else float(np.nansum(found))

    def deviation(self, quantity: str) -> float:
        """Return the standard deviation of one of `QUANTITIES`."""
        return float(np.sqrt(self.variance(quantity)))

    @property
    def repeatability(self) -> float:
        """Standard deviation of strokes of one joint by one person."""
        return self.deviation("repeatability")

    @property
    def reproducibility(self) -> float:
        """Standard deviation between people, with their interaction with joints; nan with one person."""
        return self.deviation("reproducibility")

    @property
    def gauge(self) -> float:
        """Standard deviation of one stroke by anyone: repeatability and reproducibility together."""
        return self.deviation("gauge R&R")

    @property
    def share_of_total(self) -> float:
        """Gauge R&R over total, as a ratio of standard deviations."""
        return self.gauge / self.deviation("total") if self.deviation("total") > 0.0 else float("nan")

    @property
    def distinct_categories(self) -> float:
        """1.41 joint-to-joint over gauge R&R; the groups of joints that readings can tell apart is its whole part."""
        return CATEGORY_FACTOR * self.deviation("joint to joint") / self.gauge if self.gauge > 0.0 else float("inf")

    def share_of_limit(self, limit: float, quantity: str = "gauge R&R") -> float:
        """Return six standard deviations over the span from no play to the limit."""
        return SPREAD * self.deviation(quantity) / limit

    def frame(self, limit: float | None = None) -> pd.DataFrame:
        """Return one row a variation.

        Returns
        -------
        pandas.DataFrame
            quantity, deviation, lower, upper, share_of_variance, share_of_total, share_of_limit (nan without limit).
        """
        total = self.variance("total")
        rows = []
        for quantity in QUANTITIES:
            low, high = self.intervals.get(quantity, (float("nan"), float("nan")))
            share = self.variance(quantity) / total if total > 0.0 else float("nan")
            of_limit = float("nan") if limit is None else self.share_of_limit(limit, quantity)
            rows.append((quantity, self.deviation(quantity), low, high, share, float(np.sqrt(share)), of_limit))
        columns = ["quantity", "deviation", "lower", "upper", "share_of_variance", "share_of_total", "share_of_limit"]
        return pd.DataFrame(rows, columns=columns)
