"""Fitting: the public calls, and the steps from readings to a population."""

from __future__ import annotations

import warnings
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import DoubtfulFitWarning, FitError, InputError
from fleetwear.wear.cohorts import MIN_LIVES, Grouping, group_cohorts, shrink
from fleetwear.wear.criterion import Criterion, marginalise
from fleetwear.wear.ensemble import EnsembleResults
from fleetwear.wear.labels import Labels, labelled_readings
from fleetwear.wear.mixed_model import Optimum, minimise, starting_theta
from fleetwear.wear.onset import OnsetProblem, OnsetSums, TwoStage, mixed_marginal, onset_grid, onset_sums
from fleetwear.wear.population import Population
from fleetwear.wear.results import Estimation, WearResults
from fleetwear.wear.shapes import CANDIDATES, Shape, ShapeName, check_shape_name
from fleetwear.wear.slips import Slips, judge
from fleetwear.wear.stacking import FOLDS, next_visit_scores, stacking_weights
from fleetwear.wear.two_stage import TwoStagePopulation, beyond_records

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    from fleetwear.wear.sums import Floats, Integers, LifeSums, ReadingArrays, Readings

_ROUNDING = 1e-12
"""Scatter about the lives' own lines, over the sum of squares of play, that may be rounding."""

_SLIP_TURNS, _FURTHER_TURNS = 3, 2
"""Turns of fitting and judging, from the start and from what another shape has found."""

EXPONENT_RANGE = (0.4, 4.0)
"""The exponents of the power curve that are searched."""


def fit(
    life: ArrayLike,
    distance: ArrayLike,
    play: ArrayLike,
    cohort: ArrayLike | None = None,
    *,
    shape: str = "auto",
    reml: bool = True,
    slips: bool = False,
    variance_ratio: ArrayLike | None = None,
) -> WearResults | EnsembleResults:
    """Return a mixed model of the growth of play with distance, random line for each life.

    Parameters
    ----------
    life
        Label of the life (one installed part in one load direction) of each reading, shape (n,).
    distance
        Distance since installation, >= 0, in any one unit, shape (n,).
    play
        Play in any one unit, shape (n,). Results have the same units.
    cohort
        Label of the cohort of each reading's life, shape (n,); "/" separates levels, so that
        "ball joint/in-out/van" has the parent "ball joint/in-out". None: one cohort.
    shape
        "straight", "power" (its exponent found by profile likelihood), "two-stage" (slow, then fast after an
        onset of its own in each life), "level" (no growth), or "auto": the first three, weighted by how well
        each foretells the next visit of lives that it was not fitted to.
    reml
        Maximise the restricted likelihood, or else the likelihood. Exponents are always found by
        maximum likelihood, because restricted profiles move with the scale of g; two-stage wear, a mixture,
        always is, and refuses REML when asked for by name.
    slips
        Whether a few readings may be far off because the setup slipped (see module ``slips``): they are found
        and discounted. The likelihood that is reported is then that of the readings as discounted.
    variance_ratio
        Error variance of each reading over the residual variance, shape (n,); 1 where not given.

    Returns
    -------
    WearResults, or EnsembleResults for "auto".

    Raises
    ------
    InputError
        If a value cannot be taken, naming the reading.
    FitError
        If there are too few lives or readings, or the readings have no scatter at all.

    Warns
    -----
    DoubtfulFitWarning
        If the fit did not converge or ended on a boundary; ``doubt`` of the results says the same.
    """
    labelled = labelled_readings(life, distance, play, cohort, variance_ratio=variance_ratio)
    problem = _Problem(labelled.readings, labelled.lives, labelled.cohorts, labelled.cohort_codes, reml=reml)
    results = _fitted(problem, shape, folds=None, slips=slips)
    warn_of(results.doubt)
    return results


def fit_readings(
    readings: Readings,
    lives: Labels,
    cohorts: list[str],
    cohort_codes: Integers,
    *,
    shape: str = "auto",
    reml: bool = True,
    slips: bool = False,
    folds: NDArray[np.int64] | None = None,
) -> WearResults | EnsembleResults:
    """Return the fit of readings that give their own sums (from arrays, or from a query).

    Parameters
    ----------
    readings
        Gives the sums of its J lives at any exponent.
    lives, cohorts, cohort_codes
        Labels of the lives, labels of the cohorts, and the cohort of each life, shape (J,).
    shape, reml, slips
        As in :func:`fit`.
    folds
        Fold of each life for "auto", shape (J,); lives that share something (a vehicle) belong in one
        fold. None: dealt out in turn.
    """
    problem = _Problem(readings, lives, cohorts, cohort_codes, reml=reml)
    results = _fitted(problem, shape, folds=folds, slips=slips)
    warn_of(results.doubt)
    return results


def _fitted(
    problem: _Problem, shape: str, *, folds: NDArray[np.int64] | None, slips: bool
) -> WearResults | EnsembleResults:
    if shape != "auto":
        name = check_shape_name(shape)
        if name == "two-stage" and problem.reml:
            raise InputError(
                "two-stage wear is a mixture, for which no restricted likelihood is defined",
                mend='Fit it with reml=False, or let shape="auto" weigh it against the others.',
            )
        return (problem.discounting_slips(name) if slips else problem).fit(name)
    problems: dict[ShapeName, _Problem] = {}
    judged = problem
    for candidate in CANDIDATES:
        judged = judged.discounting_slips(candidate, raw=problem.readings.arrays()) if slips else problem
        problems[candidate] = judged
    fits: dict[str, WearResults] = {name: own.fit(name) for name, own in problems.items()}
    fold = np.arange(problem.readings.n_lives) % FOLDS if folds is None else folds
    scores = next_visit_scores(dict(problems), problem.readings.arrays(), fold)
    return EnsembleResults(fits, stacking_weights(scores), scores)


def warn_of(doubt: str) -> None:
    """Give the doubt of a fit as a warning, if there is one."""
    if doubt:
        warnings.warn(f"Doubtful fit: {doubt}.", DoubtfulFitWarning, stacklevel=3)


class _Problem:
    """The lives to be fitted, with the sums of each exponent that was asked for."""

    def __init__(
        self, readings: Readings, lives: Labels, cohorts: list[str], cohort_codes: Integers, *, reml: bool
    ) -> None:
        self.readings = readings
        self.lives = lives
        self.cohorts = cohorts
        self.cohort_codes = cohort_codes
        self.reml = reml
        self._sums: dict[float, LifeSums] = {}
        self._near: Floats | None = None
        self.slips: Slips | None = None
        self._onsets: tuple[Floats, OnsetSums] | None = None
        self._climbed: TwoStage | None = None
        self._climbed_groups: list[str] = []

    def sums(self, exponent: float) -> LifeSums:
        """Return the sums at an exponent, distances over the mean distance."""
        if exponent not in self._sums:
            if len(self._sums) > 40:
                self._sums.clear()
            self._sums[exponent] = self.readings.sums(exponent, self.readings.mean_distance)
        return self._sums[exponent]

    def discounting_slips(self, name: ShapeName, *, raw: ReadingArrays | None = None) -> _Problem:
        """Return the same lives with readings discounted as far as they look slipped under one shape.

        Fitting and judging take turns: each fit tells what readings lie far off, and is less drawn by them. Where
        the readings were discounted under another shape before, ``raw`` are those as taken, and two turns do.
        """
        raw = self.readings.arrays() if raw is None else raw
        problem = self
        population, _ = problem.estimate(name, None)
        found = self.slips or Slips.first(population.residual_variance)
        for _ in range(_SLIP_TURNS if self.slips is None else _FURTHER_TURNS):
            judged = judge(population, found, raw, population.prior(self.cohorts, self.cohort_codes))
            found = found.improved(judged, population.residual_variance)
            problem = problem.with_readings(judged.settled)
            population, _ = problem.estimate(name, None)
        problem.slips = found
        return problem

    def with_readings(self, readings: ReadingArrays) -> _Problem:
        """Return the same lives with nearly the same readings, searched from where this search ended."""
        problem = _Problem(readings, self.lives, self.cohorts, self.cohort_codes, reml=self.reml)
        problem._near, problem._climbed, problem._climbed_groups = self._near, self._climbed, self._climbed_groups
        return problem

    def fit(self, name: ShapeName) -> WearResults:
        """Return the fit of one shape to all lives."""
        population, estimation = self.estimate(name, None)
        population = replace(population, slips=self.slips)
        shape = population.shape
        sums = self.sums(shape.exponent)
        if isinstance(population, TwoStagePopulation):
            under_onsets = population.sums_of(self.readings.arrays())
            return WearResults(population, estimation, self.lives, self.cohorts, self.cohort_codes, under_onsets)
        if name == "straight":
            population, estimation, sums = _per_unit(population, estimation, sums)
        return WearResults(population, estimation, self.lives, self.cohorts, self.cohort_codes, sums)

    def estimate(self, name: ShapeName, keep: NDArray[np.bool_] | None) -> tuple[Population, Estimation]:
        """Return the population of one shape, fitted to all lives or to those of a mask."""
        codes = self.cohort_codes if keep is None else self.cohort_codes[keep]
        straight = self._taken(1.0, keep)
        _check_enough(straight, level=name == "level")
        _check_scatter(straight if name != "level" else straight.without_growth(), level=name == "level")
        grouping = group_cohorts(self.cohorts, codes, straight if name != "level" else straight.without_growth())
        if name == "two-stage":
            return self._two_stage(grouping, codes, keep)
        exponent = self._exponent(grouping, keep) if name == "power" else 1.0
        return self._population(Shape(name, exponent, self.readings.mean_distance), grouping, codes, keep)

    def _taken(self, exponent: float, keep: NDArray[np.bool_] | None) -> LifeSums:
        sums = self.sums(exponent)
        return sums if keep is None else sums.take(keep)

    def _exponent(self, grouping: Grouping, keep: NDArray[np.bool_] | None) -> float:
        """Return the exponent of highest profile likelihood (ML).

        All lives are searched over the whole range. Lives of a mask are searched near the exponent of all
        lives, at points that all masks share (so that their sums are taken once), and over the whole range
        only if the minimum does not lie between these points.
        """
        deviance = self._profile(grouping, keep)
        if keep is None:
            found = _search(deviance, near=self._near)
            curvature = (deviance(found + 0.01) - 2.0 * deviance(found) + deviance(found - 0.01)) / 0.01**2
            step = float(np.clip(0.75 * np.sqrt(2.0 / max(curvature, 1e-6)), 1e-3, 0.2))
            self._near = found + step * np.arange(-2.0, 3.0)
            return float(np.exp(found))
        return float(np.exp(_search(deviance, near=self._near)))

    def _profile(self, grouping: Grouping, keep: NDArray[np.bool_] | None) -> Callable[[float], float]:
        """Return the profile deviance (ML) by the log exponent; each call starts where the last ended."""
        start: Floats | None = None

        def deviance(log_exponent: float) -> float:
            nonlocal start
            sums, _, _ = _in_solver(self._taken(float(np.exp(log_exponent)), keep))
            criterion = Criterion(sums, grouping.codes, len(grouping.labels), reml=False)
            optimum = minimise(criterion, start=starting_theta(sums) if start is None else start, finish=False)
            start = np.maximum(np.abs(optimum.theta), 0.05) * np.where(optimum.theta < 0, -1.0, 1.0)
            return optimum.profile.deviance

        return deviance

    def _population(
        self, shape: Shape, grouping: Grouping, codes: Integers, keep: NDArray[np.bool_] | None
    ) -> tuple[Population, Estimation]:
        level = shape.name == "level"
        raw = self._taken(shape.exponent, keep)
        sums, centre, spread = (raw.without_growth(), 0.0, 1.0) if level else _in_solver(raw)
        criterion = Criterion(sums, grouping.codes, len(grouping.labels), reml=self.reml, level=level)
        optimum = minimise(criterion, start=starting_theta(sums))
        sigma2 = optimum.profile.sigma2
        marginal = marginalise(sums, optimum.relative_cov)
        lines, between, assumed = shrink(
            marginal, self.cohorts, codes, relative_cov=optimum.relative_cov, sigma2=sigma2, level=level
        )
        n_groups = len(grouping.labels)
        jacobian = 2.0 * n_groups * np.log(spread) if self.reml and not level else 0.0
        deviance = optimum.profile.deviance + jacobian
        population = Population(
            shape, centre, spread, optimum.relative_cov, sigma2, lines, between, _doubt(optimum, shape)
        )
        n_parameters = criterion.n_fixed + (2 if level else 4) + (shape.name == "power")
        estimation = self._estimation(
            optimum,
            grouping,
            codes,
            sums,
            reml=self.reml,
            deviance=deviance,
            n_parameters=n_parameters,
            note=assumed,
        )
        return population, estimation

    def _two_stage(
        self, grouping: Grouping, codes: Integers, keep: NDArray[np.bool_] | None
    ) -> tuple[Population, Estimation]:
        """Return the population of two-stage wear (maximum likelihood), starting from the straight fit."""
        readings = self.readings.arrays()
        reference = readings.mean_distance
        if self._onsets is None:
            grid = onset_grid(float(readings.distance.max()))
            self._onsets = grid, onset_sums(readings, grid, reference)
        grid, whole = self._onsets
        sums = whole if keep is None else whole.take(keep)
        straight, centre, spread = _in_solver(sums.base)
        n_groups = len(grouping.labels)
        start = minimise(Criterion(straight, grouping.codes, n_groups, reml=False), start=starting_theta(straight))
        problem = OnsetProblem(sums, grouping, centre, spread)
        previous = self._climbed if self._climbed_groups == grouping.labels else None
        found = problem.fit(start, previous=previous)
        if keep is None:
            self._climbed, self._climbed_groups = found, grouping.labels
        marginal = mixed_marginal(problem.solver_sums(found.pace), found)
        T = found.optimum.relative_cov
        lines, between, assumed = shrink(
            marginal, self.cohorts, codes, relative_cov=T, sigma2=found.sigma2, level=False
        )
        shape = Shape("two-stage", 1.0, reference)
        onsets, weights = beyond_records(grid, found)
        doubt = _doubt(replace(found.optimum, converged=found.converged), shape)
        population = TwoStagePopulation(
            shape, centre, spread, T, found.sigma2, lines, between, doubt, found.pace, onsets, weights
        )
        estimation = self._estimation(
            replace(found.optimum, converged=found.converged), grouping, codes, straight, reml=False,
            deviance=found.deviance, n_parameters=2 * n_groups + 4 + len(grid), note=assumed,
        )  # fmt: skip
        return population, estimation

    def _estimation(
        self, optimum: Optimum, grouping: Grouping, codes: Integers, sums: LifeSums, *, reml: bool, deviance: float,
        n_parameters: int, note: str,
    ) -> Estimation:  # fmt: skip
        lives = pd.Series(codes).value_counts()
        return Estimation(
            optimum=optimum,
            groups=grouping.labels,
            alone={label: grouping.alone[label] for label in self.cohorts},
            lives={label: int(lives.get(k, 0)) for k, label in enumerate(self.cohorts)},
            n_obs=round(float(sums.n.sum())),
            n_groups=int((sums.n > 0).sum()),
            reml=reml,
            loglik=-deviance / 2.0,
            n_parameters=n_parameters,
            note=note,
        )


def _search(deviance: Callable[[float], float], *, near: Floats | None = None) -> float:
    """Return the log exponent of lowest deviance in the whole range, or between five points if it lies there."""
    from scipy import optimize

    low, high = np.log(EXPONENT_RANGE)
    if near is not None:
        inside = _interpolated_minimum(near, np.array([deviance(float(x)) for x in near]))
        if inside is not None:
            return inside
    found = optimize.minimize_scalar(deviance, bounds=(low, high), method="bounded", options={"xatol": 2e-4})
    return float(found.x)


def _interpolated_minimum(x: Floats, y: Floats) -> float | None:
    """Return where the polynomial through five evenly spaced points is lowest; None if that is an end."""
    centre, step = float(x[2]), float(x[1] - x[0])
    curve = np.polynomial.Polynomial.fit((x - centre) / step, y - y.min(), 4, domain=[-2, 2], window=[-2, 2])
    at = np.linspace(-2.0, 2.0, 4001)
    lowest = int(curve(at).argmin())
    return None if lowest in (0, len(at) - 1) else centre + step * float(at[lowest])


def _in_solver(sums: LifeSums) -> tuple[LifeSums, float, float]:
    """Return sums of g centred and scaled to standard deviation one, with centre and spread."""
    total = float(sums.w.sum())
    centre = float(sums.wg.sum()) / total
    spread = float(np.sqrt(max(float(sums.wgg.sum()) / total - centre**2, 1e-24)))
    return sums.centred(centre, spread), centre, spread


def _per_unit(
    population: Population, estimation: Estimation, sums: LifeSums
) -> tuple[Population, Estimation, LifeSums]:
    """Return a straight fit with growth per unit of distance: reference 1 in place of the mean distance.

    The restricted likelihood is that of the design as stated, so it moves with the scale of x: minus twice
    its logarithm grows by 2 log(reference) for each growth that is estimated.
    """
    r = population.shape.reference
    moved = replace(population, shape=Shape("straight"), centre=population.centre * r, spread=population.spread * r)
    if estimation.reml:
        estimation = replace(estimation, loglik=estimation.loglik - len(estimation.groups) * float(np.log(r)))
    return moved, estimation, sums.centred(0.0, 1.0 / r)


def _check_enough(sums: LifeSums, *, level: bool) -> None:
    lives, readings = int((sums.n > 0).sum()), int(sums.n.sum())
    if lives < MIN_LIVES or readings < lives + 3:
        raise FitError(
            f"{readings} readings of {lives} lives are too few to tell lives from errors",
            mend=f"At least {MIN_LIVES} lives and three repeat readings more than lives are needed.",
        )
    det = float(sums.w.sum() * sums.wgg.sum() - sums.wg.sum() ** 2)
    if not level and det <= 1e-12 * float(sums.w.sum() * sums.wgg.sum()):
        raise FitError(
            "all readings stand at one distance, so growth cannot be estimated",
            mend='Add readings at other distances, or fit shape="level".',
        )


def _check_scatter(sums: LifeSums, *, level: bool) -> None:
    """Raise FitError if the lives that could show scatter about their own least-squares lines show none."""
    det = sums.w * sums.wgg - sums.wg**2
    chosen = sums.n > 1 if level else (sums.n > 2) & (det > 1e-3 * sums.w * sums.wgg)
    if not chosen.any():
        return
    own = sums.take(chosen)
    explained = own.wy**2 / own.w
    if not level:
        slope_part = own.wgy - own.wg * own.wy / own.w
        explained = explained + slope_part**2 / (own.wgg - own.wg**2 / own.w)
    if float((own.wyy - explained).sum()) <= _ROUNDING * float(own.wyy.sum()):
        raise FitError(
            "the readings lie on their lines without any scatter, so no error variance can be estimated",
            mend="Give readings as they were taken; computed or smoothed values cannot be fitted.",
        )


def _doubt(optimum: Optimum, shape: Shape) -> str:
    said = []
    if not optimum.converged:
        said.append("the optimiser did not come to rest")
    if optimum.boundary:
        said.append(f"a variance ended on its boundary ({optimum.boundary})")
    low, high = EXPONENT_RANGE
    if shape.name == "power" and not low * 1.01 < shape.exponent < high / 1.01:
        said.append(f"the exponent ended at the edge of its range ({shape.exponent:.2f})")
    return "; ".join(said)
