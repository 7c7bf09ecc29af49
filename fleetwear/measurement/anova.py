"""Analysis of variance of a complete, balanced study: n joints, k people, r strokes each.

With mean squares J (joints), P (people), I (interaction) and E (within cells), each a multiple of chi-square::

    repeatability  E                      interaction  (I - E) / r
    people         (P - I) / (n r)        joint        (J - I) / (k r)

Where the interaction is pooled, E becomes the mean square of both together, stands in the place of I, and the
interaction is nought. Differences below nought count as nought.

Intervals are generalized confidence intervals: each mean square is divided by a draw of chi-square over its degrees of
freedom, the formulas above are applied, and quantiles are taken (seeded). For repeatability this is the exact
chi-square interval, but that whether to pool was decided from the same readings.

References
----------
AIAG (2010), Measurement Systems Analysis, 4th ed., chapter III.
Hamada, M. & Weerahandi, S. (2000), Journal of Quality Technology 32(3).
Burdick, R. K., Borror, C. M. & Montgomery, D. C. (2005), Design and Analysis of Gauge R&R Studies, chapter 3.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

from fleetwear.measurement.cells import interaction_test
from fleetwear.measurement.results import PARTS, QUANTITIES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleetwear.measurement.cells import Cells, Floats

INTERVAL_METHOD = (
    "generalized confidence intervals from the mean squares (Hamada & Weerahandi 2000); that of repeatability is "
    "the exact chi-square interval"
)
_DRAWS = 10_000
_SEED = 20000703


def mean_squares(cells: Cells, *, pooled: bool) -> dict[str, tuple[float, int]]:
    """Return sum of squares and degrees of freedom of joint, people, interaction and error, those that there are."""
    n, k = cells.counts.shape
    r = int(cells.counts[0, 0])
    grand = cells.means.mean()
    out = {"joint": (k * r * float(((cells.means.mean(axis=1) - grand) ** 2).sum()), n - 1)}
    if k > 1:
        out["people"] = (n * r * float(((cells.means.mean(axis=0) - grand) ** 2).sum()), k - 1)
        ss, df, _, _ = interaction_test(cells)
        if pooled:
            out["error"] = (ss + cells.within_ss, df + cells.within_df)
            return out
        out["interaction"] = (ss, df)
    out["error"] = (cells.within_ss, cells.within_df)
    return out


def variances(squares: Mapping[str, Floats], n: int, k: int, r: int) -> dict[str, Floats]:
    """Return the variance components of mean squares, numbers or arrays of draws; none below nought."""
    error = squares["error"]
    beside = squares.get("interaction", error)
    nought = np.zeros_like(error)
    out = {"repeatability": error, "joint": np.maximum((squares["joint"] - beside) / (k * r), 0.0)}
    if "people" in squares:
        out["people"] = np.maximum((squares["people"] - beside) / (n * r), 0.0)
        out["interaction"] = np.maximum((beside - error) / r, 0.0)
    else:
        out["people"] = out["interaction"] = nought + np.nan
    return out


def estimate(cells: Cells, *, pooled: bool) -> tuple[dict[str, float], set[str]]:
    """Return the variance components, and the names of those that came out below nought."""
    found = mean_squares(cells, pooled=pooled)
    squares = {name: np.float64(ss / df) for name, (ss, df) in found.items()}
    n, k = cells.counts.shape
    beside = squares.get("interaction", squares["error"])
    below: set[str] = {name for name in ("joint", "people") if name in squares and squares[name] < beside}
    if "interaction" in squares and squares["interaction"] < squares["error"]:
        below.add("interaction")
    components = variances(squares, n, k, int(cells.counts[0, 0]))  # type: ignore[arg-type]
    return {name: float(value) for name, value in components.items()}, below


def intervals(cells: Cells, *, pooled: bool, level: float) -> dict[str, tuple[float, float]]:
    """Return the interval of each standard deviation, and of "share", gauge R&R over total."""
    found = mean_squares(cells, pooled=pooled)
    n, k = cells.counts.shape
    rng = np.random.default_rng(_SEED)
    draws = {name: ss / rng.chisquare(df, _DRAWS) for name, (ss, df) in found.items()}
    components = variances(draws, n, k, int(cells.counts[0, 0]))
    tails = ((1.0 - level) / 2.0, (1.0 + level) / 2.0)
    sums = {
        quantity: np.sum([components[part] for part in PARTS[quantity] if not np.isnan(components[part]).all()], axis=0)
        for quantity in QUANTITIES
        if not np.isnan(components[PARTS[quantity][0]]).all()
    }
    with np.errstate(invalid="ignore", divide="ignore"):
        sums["share"] = sums["gauge R&R"] / sums["total"]
    out = {name: _ends(np.sqrt(values), tails) for name, values in sums.items()}
    ss, df = found["error"]
    low, high = (float(np.sqrt(ss / stats.chi2.ppf(1.0 - tail, df))) for tail in tails)
    return out | {"repeatability": (low, high)}


def _ends(values: Floats, tails: tuple[float, float]) -> tuple[float, float]:
    low, high = np.quantile(values, tails)
    return float(low), float(high)


def table(cells: Cells, *, pooled: bool) -> pd.DataFrame:
    """Return the analysis of variance: source, degrees, sum_of_squares, mean_square, f, p."""
    found = mean_squares(cells, pooled=pooled)
    rows = []
    for source, (ss, df) in found.items():
        against = "interaction" if "interaction" in found and source in ("joint", "people") else "error"
        other_ss, other_df = found[against]
        f = p = float("nan")
        if source != "error" and other_ss > 0.0:
            f = ss / df / (other_ss / other_df)
            p = float(stats.f.sf(f, df, other_df))
        name = "repeatability" if source == "error" else source
        rows.append((name, df, ss, ss / df, f, p))
    return pd.DataFrame(rows, columns=["source", "degrees", "sum_of_squares", "mean_square", "f", "p"])
