"""The average-and-range method for a complete, balanced study with at least two strokes.

A standard deviation is a mean range over d2*; d2* of g samples of m values follows from its value for one sample and
from d2, its limit for many: d2*^2 = d2^2 + (d2*(1)^2 - d2^2) / g. As in AIAG (2010), d2 serves beyond 15 samples.

References
----------
AIAG (2010), Measurement Systems Analysis, 4th ed., chapter III, and appendix C for d2* (after Duncan, Quality Control
and Industrial Statistics, table D3); the values stand here from
memory, and a test checks each by integration (d2* of 15 values is the integrated one).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import FitError

if TYPE_CHECKING:
    from fleetwear.measurement.cells import Cells

D2_ONE_SAMPLE = {
    2: 1.41421, 3: 1.91155, 4: 2.23887, 5: 2.48124, 6: 2.67253, 7: 2.82981, 8: 2.96288, 9: 3.07794, 10: 3.17905,
    11: 3.26909, 12: 3.35016, 13: 3.42378, 14: 3.49116, 15: 3.55323, 16: 3.61071, 17: 3.66422, 18: 3.71424,
    19: 3.76118, 20: 3.80537,
}  # fmt: skip
"""d2* of one sample of so many values."""

D2 = {
    2: 1.12838, 3: 1.69257, 4: 2.05875, 5: 2.32593, 6: 2.53441, 7: 2.70436, 8: 2.84720, 9: 2.97003, 10: 3.07751,
    11: 3.17287, 12: 3.25846, 13: 3.33598, 14: 3.40676, 15: 3.47183, 16: 3.53198, 17: 3.58788, 18: 3.64006,
    19: 3.68896, 20: 3.73495,
}  # fmt: skip
"""d2 of so many values: d2* of very many samples."""

INTERVAL_METHOD = "none: the average-and-range method gives no intervals"
_MANY = 15


def d2_star(values: int, samples: int) -> float:
    """Return d2* for ranges of so many values, averaged over so many samples.

    Raises
    ------
    FitError
        If there are fewer than 2 or more than 20 values in a sample.
    """
    if values not in D2:
        raise FitError(
            f"d2* is tabled for 2 to 20 values, not {values}", mend='Use the method "anova", which has no such bound.'
        )
    if samples > _MANY:
        return D2[values]
    one, many = D2_ONE_SAMPLE[values], D2[values]
    return float(np.sqrt(many**2 + (one**2 - many**2) / samples))


def estimate(cells: Cells) -> tuple[dict[str, float], set[str]]:
    """Return the variance components, and the names of those that came out below nought.

    Raises
    ------
    FitError
        If there is one stroke a cell only, or more of anything than d2* is tabled for.
    """
    n, k = cells.counts.shape
    r = int(cells.counts[0, 0])
    if r < 2:
        raise FitError("one stroke a cell has no range", mend="Take two strokes or more, or use another method.")
    repeatability = float(cells.ranges.mean()) / d2_star(r, n * k)
    joint = float(np.ptp(cells.means.mean(axis=1))) / d2_star(n, 1)
    out = {"repeatability": repeatability**2, "joint": joint**2, "people": float("nan"), "interaction": float("nan")}
    below = set()
    if k > 1:
        between = float(np.ptp(cells.means.mean(axis=0))) / d2_star(k, 1)
        people = between**2 - repeatability**2 / (n * r)
        below = {"people"} if people < 0.0 else set()
        out |= {"people": max(people, 0.0), "interaction": 0.0}
    return out, below
