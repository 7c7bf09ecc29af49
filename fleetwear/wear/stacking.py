"""Stacking: weights of growth shapes by how well each foretells visits that it has not seen.

Every shape is fitted without a fold of lives; each reading of those lives that has earlier ones is then
scored by the log of its predictive density given only the earlier readings of its life. The weights
maximise the mean log score of the mixture (Yao, Vehtari, Simpson & Gelman 2018, Bayesian Analysis 13,
equation 4), which is concave.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
import pandas as pd

from fleetwear.errors import FitError
from fleetwear.wear.onset import mix
from fleetwear.wear.shapes import ShapeName
from fleetwear.wear.slips import Slips, log_normal

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.population import Population
    from fleetwear.wear.results import Estimation
    from fleetwear.wear.sums import Integers, ReadingArrays, Readings

FOLDS = 5
"""Folds of lives."""

_ROUNDS = 100


class Fittable(Protocol):
    """Lives that can be fitted in part."""

    readings: Readings
    cohorts: list[str]
    cohort_codes: Integers
    slips: Slips | None
    """How readings slip under the shape that these lives were last fitted with."""

    def estimate(self, name: ShapeName, keep: NDArray[np.bool_] | None) -> tuple[Population, Estimation]:
        """Return the population of a shape fitted to the lives of a mask."""


def next_visit_scores(
    problems: dict[ShapeName, Fittable], readings: ReadingArrays, fold: NDArray[np.int64]
) -> pd.DataFrame:
    """Return the log predictive density of each next visit, one row a scored reading, one column a shape.

    Parameters
    ----------
    problems
        The lives, as each shape takes their readings.
    readings
        Their readings as they were taken.
    fold
        Fold of each life, shape (J,). A fold whose complement is too small to be fitted is not scored.
    """
    scored = []
    for k in np.unique(fold):
        keep = fold != k
        columns = {}
        try:
            for name, problem in problems.items():
                population = replace(problem.estimate(name, keep)[0], slips=problem.slips)
                own = readings.of_lives(~keep), problem.readings.arrays().of_lives(~keep)
                columns[name] = _log_density(population, *own, problem)
        except FitError:
            continue
        scored.append(pd.DataFrame(columns))
    frame = pd.concat(scored, ignore_index=True) if scored else pd.DataFrame(columns=list(problems))
    return frame.dropna()


def _log_density(
    population: Population, readings: ReadingArrays, settled: ReadingArrays, problem: Fittable
) -> NDArray[np.float64]:
    """Return the log density of each reading given earlier ones of its life; nan where there is none.

    Earlier readings are discounted as far as they look slipped (``settled``), the scored one may have slipped.
    """
    prior = population.prior(problem.cohorts, problem.cohort_codes[readings.life])
    past = population.know(population.sums_of(settled, earlier=True), prior)
    mean, variance, shares = past.at(population.coordinates(readings.distance))
    error = (population.residual_variance * readings.variance_ratio)[:, None]
    log_density, _ = mix(log_normal(readings.play[:, None], mean, variance + error), shares)
    if population.slips is not None:
        slips = population.slips
        far, _ = mix(log_normal(readings.play[:, None], mean + slips.shift, variance + slips.variance), shares)
        log_density = np.logaddexp(log_density + np.log1p(-slips.share), far + np.log(slips.share))
    return np.where(readings.before(np.ones_like(readings.play)) > 0, log_density, np.nan)


def stacking_weights(scores: pd.DataFrame) -> dict[str, float]:
    """Return the weights, one a column of log scores, that maximise the mean log score of the mixture.

    Without scores the weights are equal.
    """
    names = [str(name) for name in scores.columns]
    weights = np.full(len(names), 1.0 / len(names))
    if len(scores):
        log_density = scores.to_numpy(dtype=np.float64)
        weights = _best_mixture(np.exp(log_density - log_density.max(axis=1, keepdims=True)))
    return dict(zip(names, (float(weight) for weight in weights), strict=True))


def _best_mixture(density: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the weights of highest mean log mixture density; density has a row a score, a column a shape.

    Two weights at a time are set to their exact balance, which cannot lower a concave function; two shapes
    need one round. (EM needs thousands where shapes foretell nearly alike.)
    """
    k = density.shape[1]
    weights = np.full(k, 1.0 / k)
    for _ in range(_ROUNDS):
        before = weights.copy()
        for i in range(k):
            for j in range(i):
                others = density @ weights - weights[i] * density[:, i] - weights[j] * density[:, j]
                both = weights[i] + weights[j]
                weights[i] = both * _balance(others + both * density[:, j], both * (density[:, i] - density[:, j]))
                weights[j] = both - weights[i]
        if np.abs(weights - before).max() < 1e-9:
            break
    return weights


def _balance(base: NDArray[np.float64], gain: NDArray[np.float64]) -> float:
    """Return t in [0, 1] that maximises sum log(base + t gain), where the derivative changes its sign."""

    def slope(t: float) -> float:
        return float((gain / np.maximum(base + t * gain, 1e-300)).sum())

    if slope(0.0) <= 0.0:
        return 0.0
    if slope(1.0) >= 0.0:
        return 1.0
    from scipy import optimize

    return float(optimize.brentq(slope, 0.0, 1.0, xtol=1e-12))
