"""What the growth of lives differs by: ratios of mean growth between the levels of factors.

The mean line of life j, with x_j its columns of strata and factor levels (:mod:`fleetwear.wear.design`)::

    intercept x_j' a      growth exp(x_j' d)      at g, the distance over a reference distance

so that a level multiplies growth, whatever else the life is. Every factor is adjusted for the others (main
effects). Levels shift the intercept as well, or new parts that start looser would look as if they wore faster;
that can be left out. Given T and sigma2 of the random intercept and growth, the lines that the readings
bear out best minimise the generalised least squares criterion, which needs of each life only P and e
(:mod:`fleetwear.wear.criterion`)::

    sum_j (mu_j' P_j mu_j - 2 mu_j' e_j) / sigma2      mu_j = (x_j' a, exp(x_j' d))

by Gauss-Newton steps, with information A = sum D_j' P_j D_j / sigma2 and D_j the derivatives of mu_j.

T and sigma2 are first those of a model with one line a stratum. They are estimated once more with what is left
once the mean lines are taken off, and with growth over its mean in place of growth: lives that wear twice as fast
spread twice as widely. Where that is not so the covariance, robust to whatever the lives of one cluster
share, still holds (:mod:`fleetwear.wear.clusters`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import FitError
from fleetwear.wear.clusters import ClusterCovariance, Correction, cluster_covariance
from fleetwear.wear.design import Design, Factor, enough, make_design
from fleetwear.wear.mean_growth import Fitted, Lives, Spread, first_fit, second_fit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers, LifeSums

_NO_GROWTH = 5.0
"""A level whose growth is less than exp(-5) of its reference's has no growth that a ratio could be taken of."""

THIN = "too few lives to compare"
FLAT = "no growth seen"
"""Why a level or stratum is left out."""


@dataclass(frozen=True)
class GrowthEffects:
    """Fitted ratios of growth: a factor's levels, what is known of them, and how surely."""

    factors: tuple[Factor, ...]
    """Of the lives that were taken."""
    cluster: Integers
    n_readings: Floats
    """Readings of each life that was taken."""
    design: Design
    log_growth: Floats
    """d, of the design's kept columns, shape (r,); in the units of g."""
    intercept: Floats
    covariance: ClusterCovariance
    """Of a and d together, shape (p, p); d are the last r."""
    left_out: dict[tuple[str, str], str]
    """Factor ("" for strata) and level of lives that were left out, and why."""
    spread: Spread
    doubt: str
    """Empty, or why the fit is doubtful."""

    def in_all(self, contrasts: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return contrasts of all columns, shape (m, q), as ones of all estimates, shape (m, p)."""
        wide = np.zeros((len(contrasts), len(self.covariance.root)))
        wide[:, len(self.intercept) :] = contrasts[:, self.design.kept]
        return wide


def fit_effects(
    sums: LifeSums,
    stratum: Integers,
    stratum_names: Sequence[str],
    factors: Sequence[Factor],
    cluster: Integers,
    *,
    block: Integers | None = None,
    level_intercepts: bool = True,
    spread: Spread | None = None,
    correction: Correction = "CR2",
) -> GrowthEffects:
    """Return how growth differs by the levels of factors, each adjusted for the others.

    Parameters
    ----------
    sums
        The sums of J lives in the straight shape, distances over a reference distance.
    stratum, stratum_names
        What is not compared: each stratum has a line of its own. Shape (J,).
    factors
        What is compared.
    cluster
        Lives of one cluster may share anything; codes, shape (J,).
    block
        Lives of one block share T and sigma2; codes, shape (J,), and a stratum lies in one block. All one block
        where not given.
    level_intercepts
        Whether levels shift the intercept too.
    spread
        T and sigma2; estimated where not given.
    correction
        The small-sample correction of the covariance.

    Raises
    ------
    FitError
        If too few lives are left once thin levels and strata are left out, or play does not grow.
    """
    blocks = np.zeros(len(stratum), dtype=np.int64) if block is None else block
    left_out: dict[tuple[str, str], str] = {}
    keep = sums.n > 0.0
    names = {"": tuple(stratum_names), **{factor.name: factor.levels for factor in factors}}
    while True:
        stays, thin = enough(stratum[keep], len(stratum_names), [f.take(keep) for f in factors], cluster[keep])
        left_out |= {(name, names[name][code]): THIN for name, code in thin}
        keep[keep] = stays
        if not keep.any():
            raise FitError("too few lives for a comparison", mend="Load more visits.")
        lives = Lives.of(sums, stratum, factors, cluster, blocks, keep)
        design = make_design(lives.stratum, stratum_names, lives.factors)
        fitted = first_fit(lives, design, spread, level_intercepts=level_intercepts)
        flat = _flat(lives, design, fitted)
        if flat is None and spread is None:
            fitted = second_fit(lives, design, fitted, level_intercepts=level_intercepts)
            flat = _flat(lives, design, fitted)
        if flat is None:
            break
        left_out[flat] = FLAT
        where = stratum if flat[0] == "" else next(f.codes for f in factors if f.name == flat[0])
        keep &= where != names[flat[0]].index(flat[1])
    return _results(lives, design, fitted, left_out, correction)


def _flat(lives: Lives, design: Design, fitted: Fitted) -> tuple[str, str] | None:
    """Return the level or stratum that grows least, if its growth is next to nothing beside the others'."""
    d = np.zeros(len(design.labels))
    d[design.kept] = fitted.log_growth
    strata = np.array([name == "" for name, _ in design.labels])
    low = np.where(strata, d - np.median(np.log(fitted.growth)), d)
    # a reference that does not grow shows as levels that grow without bound
    for factor in lives.factors:
        own = np.array([name == factor.name for name, _ in design.labels])
        if own.any() and float(d[own].min()) > _NO_GROWTH:
            return factor.name, design.references[factor.name]
    worst = int(low.argmin())
    if low[worst] > -_NO_GROWTH:
        return None
    return design.labels[worst]


def _results(
    lives: Lives, design: Design, fitted: Fitted, left_out: dict[tuple[str, str], str], correction: Correction
) -> GrowthEffects:
    covariance = cluster_covariance(
        fitted.information,
        fitted.rows,
        fitted.scores,
        lives.cluster,
        n_readings=float(lives.sums.n.sum()),
        correction=correction,
    )
    return GrowthEffects(
        lives.factors,
        lives.cluster,
        lives.sums.n,
        design,
        fitted.log_growth,
        fitted.intercept,
        covariance,
        left_out,
        fitted.spread,
        "" if fitted.converged else "the comparison of growth did not converge",
    )
