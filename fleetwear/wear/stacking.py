"""Stacking: weights of growth shapes by how well each foretells visits that it has not seen.

Every shape is fitted without a fold of lives; each reading of those lives that has earlier ones is then
scored by the log of its predictive probability given only the earlier readings of its life. The weights
maximise the mean log score of the mixture (Yao, Vehtari, Simpson & Gelman 2018, Bayesian Analysis 13,
equation 4), which is concave.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
import pandas as pd

from fleetwear.errors import FitError
from fleetwear.wear.judging import log_evidence
from fleetwear.wear.shapes import ShapeName
from fleetwear.wear.sums import evenly

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fleetwear.wear.population import Population
    from fleetwear.wear.reading_errors import ReadingErrors
    from fleetwear.wear.results import Estimation
    from fleetwear.wear.sums import Integers, ReadingArrays

FOLDS = 5
"""Folds of lives."""

SPREAD_RANGE = (0.5, 4.0)
SPREAD_SD = 0.3
_LEAST_WEIGHT = 0.01
"""Weight below which a shape does not count in the search for the spread."""

POOLINGS = (30.0, 100.0, 300.0, np.inf)
"""Poolings that are tried."""

EVIDENCE_POWERS = (0.0, 0.5, 1.0)
_CLEARLY = 3.0
"""Log score that telling shapes apart life by life must gain."""
_MOST_JUDGED = 400
"""Lives whose next visits are foretold where each reading's past must be judged by itself."""
_ROUNDS = 100
_EM_ROUNDS = 200


class Fittable(Protocol):
    """Lives that can be fitted in part."""

    raw: ReadingArrays
    """Readings as they were taken."""
    cohorts: list[str]
    cohort_codes: Integers

    @property
    def to_judge(self) -> bool:
        """Whether readings may be other than numbers with a normal error."""

    def estimate(self, name: ShapeName, keep: NDArray[np.bool_] | None) -> tuple[Population, Estimation]:
        """Return the population of a shape fitted to the lives of a mask."""


def foretell_next_visits(problems: Mapping[ShapeName, Fittable], fold: NDArray[np.int64]) -> HeldOut:
    """Return what each shape, fitted without a fold of lives, foretells of each of their next visits.

    Every shape is asked for the same: the density of a number, the probability of a rounding interval that is
    coarse, the probability that movement was seen or not.

    Parameters
    ----------
    problems
        The lives, as each shape takes their readings.
    fold
        Fold of each life, shape (J,). A fold whose complement is too small to be fitted is not scored.
    """
    foretold, cohorts, folds = [], [], []
    problem = next(iter(problems.values()))
    asked = evenly(len(fold), _MOST_JUDGED if problem.to_judge else len(fold))
    for k in np.unique(fold):
        keep, own = fold != k, asked & (fold == k)
        if not own.any():
            continue
        try:
            told = {name: _foretold(one.estimate(name, keep)[0], one, own) for name, one in problems.items()}
        except FitError:
            continue
        life = problem.raw.of_lives(own).life
        foretold.append(told)
        cohorts.append(problem.cohort_codes[life][next(iter(told.values())).scored])
        folds.append(np.full(len(cohorts[-1]), k))
    return HeldOut(list(problems), foretold, cohorts, folds)


def _foretold(population: Population, problem: Fittable, left_out: NDArray[np.bool_]) -> Foretold:
    """Return what the earlier readings of its life foretell of each reading that has some.

    Earlier readings are judged without what came after them; the scored one is as it was taken, and may have slipped.
    """
    assert population.errors is not None
    raw = problem.raw.of_lives(left_out)
    scored = raw.before(np.ones_like(raw.play)) > 0
    if problem.to_judge:
        asked = np.flatnonzero(scored)
        prior = population.prior(problem.cohorts, problem.cohort_codes[raw.life[asked]])
        past = raw.pasts(asked)
        known = population.know(population.sums_of(population.settle(past, prior)), prior)
    else:
        prior = population.prior(problem.cohorts, problem.cohort_codes[raw.life])
        known = population.know(population.sums_of(raw, earlier=True), prior)
        asked = np.flatnonzero(scored)
    rows = np.arange(len(asked)) if problem.to_judge else asked
    own = raw.chosen(asked)
    mean, variance, shares = known.at(population.coordinates(own.distance), rows)
    evidence = known.log_density[rows]
    return Foretold(population.errors, population.residual_variance, own, mean, variance, shares, scored, evidence)


@dataclass(frozen=True)
class Foretold:
    """What one population foretells of n readings that it has not seen: components of the true play, (n, C)."""

    errors: ReadingErrors
    sigma2: float
    readings: ReadingArrays
    mean: NDArray[np.float64]
    variance: NDArray[np.float64]
    shares: NDArray[np.float64]
    scored: NDArray[np.bool_]
    """Which readings of the fold they are."""
    evidence: NDArray[np.float64]
    """Log density of the earlier readings."""

    def log_score(self, spread: float = 1.0) -> NDArray[np.float64]:
        """Return the log probability of each reading, variances of the true play times ``spread``."""
        return log_evidence(self.errors, self.sigma2, self.readings, self.mean, spread * self.variance, self.shares)


@dataclass(frozen=True)
class HeldOut:
    """What each shape foretells of next visits, fold by fold."""

    names: list[ShapeName]
    foretold: list[dict[ShapeName, Foretold]]
    cohorts: list[NDArray[np.int64]]
    folds: list[NDArray[np.int64]]

    def scores(self) -> pd.DataFrame:
        """Return log scores, one row a scored reading: a column a shape, and cohort and fold."""
        if not self.foretold:
            return pd.DataFrame(columns=[*self.names, "cohort", "fold"])
        columns = {str(name): np.concatenate([fold[name].log_score() for fold in self.foretold]) for name in self.names}
        return pd.DataFrame(columns).assign(cohort=np.concatenate(self.cohorts), fold=np.concatenate(self.folds))

    def evidence(self, weights: dict[str, float]) -> float:
        """Return how much the earlier readings of a life should tell which shape is its own, 0 to 1.

        Where lives of one cohort wear in different ways, a shape's weight in one life is its weight in all times the
        density of the life's readings under it, to this power. 0, unless another foretells the held-out visits clearly
        better.
        """
        if not self.foretold:
            return 0.0
        log_score, evidence = (
            np.concatenate([np.stack([of(fold[name]) for name in self.names], axis=1) for fold in self.foretold])
            for of in (Foretold.log_score, lambda one: one.evidence)
        )
        prior = np.broadcast_to([weights[name] for name in self.names], log_score.shape)

        def told(power: float) -> float:
            with np.errstate(divide="ignore"):
                joint = np.log(by_evidence(prior, evidence, power)) + log_score
            return float(np.logaddexp.reduce(joint, axis=1).sum()) - (_CLEARLY if power else 0.0)

        return max(EVIDENCE_POWERS, key=told)

    def spread(self, weights: dict[str, float], evidence: float = 0.0) -> float:
        """Return the factor of the variances of true play under which the mixture foretells the held-out visits best.

        It makes up for what the variances leave out: that covariances and shapes are estimates. It is drawn toward 1
        (its logarithm normal with standard deviation ``SPREAD_SD``), so that a few visits do not move it.
        """
        from scipy import optimize

        if not self.foretold:
            return 1.0
        used = [name for name in self.names if weights[name] > _LEAST_WEIGHT]
        prior = np.array([weights[name] for name in used])
        log_weights = []
        for fold in self.foretold:
            of_lives = np.stack([fold[name].evidence for name in used], axis=1)
            log_weights.append(np.log(by_evidence(np.broadcast_to(prior, of_lives.shape), of_lives, evidence)))

        def loss(log_spread: float) -> float:
            total = 0.5 * (log_spread / SPREAD_SD) ** 2
            for fold, log_weight in zip(self.foretold, log_weights, strict=True):
                parts = [fold[name].log_score(float(np.exp(log_spread))) for name in used]
                total -= float(np.logaddexp.reduce(log_weight + np.stack(parts, axis=1), axis=1).sum())
            return total

        low, high = np.log(SPREAD_RANGE)
        found = optimize.minimize_scalar(loss, bounds=(low, high), method="bounded", options={"xatol": 0.02})
        return float(np.exp(found.x))


def by_evidence(weights: NDArray[np.float64], evidence: NDArray[np.float64], power: float) -> NDArray[np.float64]:
    """Return weights of shapes times a power of the density of each life's readings, normalised; shape (n, shapes).

    ``evidence`` holds log densities.
    """
    own = weights
    if power != 0.0:
        own = weights * np.exp(np.maximum(power * (evidence - evidence.max(axis=1, keepdims=True)), -300.0))
    return np.asarray(own / own.sum(axis=1, keepdims=True))


@dataclass(frozen=True)
class Weights:
    """Weights of shapes: over all cohorts, and each cohort's own, drawn toward them."""

    overall: dict[str, float]
    by_cohort: pd.DataFrame
    """One row a cohort code that has scored visits, one column a shape; with n_scored."""
    pooling: float
    """Scored visits that a cohort needs for its own weights to count as much as the overall ones; inf where
    cohorts do not differ."""


def stacking_weights(scores: pd.DataFrame) -> Weights:
    """Return the weights that maximise the mean log score of the mixture, each cohort's drawn toward all others'.

    A cohort's weights maximise its log score plus that of ``pooling`` visits that fell as the overall weights have it
    (a Dirichlet prior); of some poolings the one is taken that foretells each fold best from the others. Without
    scores the weights are equal.

    Parameters
    ----------
    scores
        As :meth:`HeldOut.scores` gives them: columns of log scores, and cohort and fold.
    """
    names = [str(name) for name in scores.columns if name not in ("cohort", "fold")]
    equal = np.full(len(names), 1.0 / len(names))
    if not len(scores):
        return Weights(_named(names, equal), pd.DataFrame(columns=[*names, "n_scored"]), np.inf)
    log_score = scores[names].to_numpy(dtype=np.float64)
    density = np.exp(log_score - log_score.max(axis=1, keepdims=True))
    overall = _best_mixture(density)
    cohort, fold = scores["cohort"].to_numpy(dtype=np.int64), scores["fold"].to_numpy()
    present = np.unique(cohort)
    pooling = np.inf
    if len(present) > 1 and len(np.unique(fold)) > 1:
        pooling = max(POOLINGS, key=lambda one: _held_out(density, cohort, fold, one))
    own = {int(c): _drawn_to(density[cohort == c], overall, pooling) for c in present}
    frame = pd.DataFrame.from_dict(own, orient="index", columns=names)
    counts = np.bincount(cohort, minlength=int(present[-1]) + 1)[present]
    return Weights(_named(names, overall), frame.assign(n_scored=counts), pooling)


def _named(names: list[str], weights: NDArray[np.float64]) -> dict[str, float]:
    return dict(zip(names, (float(weight) for weight in weights), strict=True))


def _held_out(
    density: NDArray[np.float64], cohort: NDArray[np.int64], fold: NDArray[np.int64], pooling: float
) -> float:
    """Return the log score of each fold under cohorts' weights from the other folds."""
    total = 0.0
    for k in np.unique(fold):
        rest = fold != k
        overall = _best_mixture(density[rest])
        for c in np.unique(cohort[~rest]):
            weights = _drawn_to(density[rest & (cohort == c)], overall, pooling)
            total += float(np.log(np.maximum(density[~rest & (cohort == c)] @ weights, 1e-300)).sum())
    return total


def _drawn_to(density: NDArray[np.float64], overall: NDArray[np.float64], pooling: float) -> NDArray[np.float64]:
    """Return weights of highest log score, drawn toward the overall ones with the force of so many visits (EM)."""
    if not np.isfinite(pooling) or not len(density):
        return overall
    weights = np.maximum(overall, 1e-6)
    for _ in range(_EM_ROUNDS):
        before = weights
        share = density * weights
        share /= share.sum(axis=1, keepdims=True)
        weights = (share.sum(axis=0) + pooling * overall) / (len(density) + pooling)
        if np.abs(weights - before).max() < 1e-6:
            break
    return weights


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
