"""The lives to be fitted: populations of each shape, from all lives or some of them."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.checks import EXPONENT_RANGE, doubt_of
from fleetwear.wear.cohorts import Grouping, shrink
from fleetwear.wear.criterion import Criterion, Marginal
from fleetwear.wear.judging import first_settled, judge, judge_all
from fleetwear.wear.lines import checked_grouping, estimation_of, fit_lines, per_unit
from fleetwear.wear.mixed_model import Optimum, minimise, starting_theta
from fleetwear.wear.onset import OnsetProblem, OnsetSums, TwoStage, mixed_marginal, onset_grid, onset_sums
from fleetwear.wear.population import Population
from fleetwear.wear.results import Estimation, WearResults
from fleetwear.wear.search import in_solver, points_about, search
from fleetwear.wear.shapes import Shape, ShapeName
from fleetwear.wear.sums import evenly
from fleetwear.wear.two_stage import TwoStagePopulation, beyond_records
from fleetwear.wear.wandering import Filter

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fleetwear.wear.labels import Labels
    from fleetwear.wear.reading_errors import ReadingErrors
    from fleetwear.wear.sums import Floats, Integers, LifeSums, ReadingArrays, Readings

_TURNS, _AT_REST = 6, 0.01
"""Most turns of fitting and judging, and the change of the log residual variance below which they stop."""

_MOST_SUMS = 40
_ROUNDS, _FOLD_ROUNDS = 60, 3
"""Most rounds of the mixture, and those where some lives are left out of what was fitted to all."""
_CHUNK = 20_000
MOST_LIVES = 1_000
"""Lives that tell pace, onsets, errors and weights of shapes; of more, an even sample is taken."""
_OF_EACH = 8
"""Lives of a cohort that are in the sample at least."""
_WANDER_RANGE = (0.0, 30.0)
"""Standard deviations that wandering adds over the mean distance, over that of a reading, that are searched."""
_NO_WANDER = 0.05
_HELD_FROM = 150
"""Lives from which one parameter that all share (exponent, wandering) is held where some lives are left out."""


def sampled_lives(cohort_codes: Integers) -> NDArray[np.bool_]:
    """Return the lives that tell what all share: all of few; of many, evenly from every cohort, some of each."""
    order = np.argsort(cohort_codes, kind="stable")
    chosen = np.zeros(len(order), dtype=bool)
    chosen[order[evenly(len(order), MOST_LIVES)]] = True
    if chosen.all():
        return chosen
    ranked = cohort_codes[order]
    starts = np.searchsorted(ranked, ranked)
    chosen[order[np.arange(len(order)) - starts < _OF_EACH]] = True
    return chosen


@dataclass
class _Found:
    """What searches found over all lives, for searches over some of them to start from."""

    optima: dict[str, Optimum] = field(default_factory=dict)
    exponents: Floats | None = None
    wanders: Floats | None = None
    two_stage: TwoStage | None = None
    groups: list[str] = field(default_factory=list)


class Problem:
    """J lives of labelled cohorts, with their readings as they were taken and as they are judged."""

    def __init__(
        self,
        readings: Readings,
        lives: Labels,
        cohorts: list[str],
        cohort_codes: Integers,
        *,
        reml: bool,
        errors: ReadingErrors,
        slips: bool = False,
        settled: Readings | None = None,
    ) -> None:
        """Take readings as they were taken, and ``settled`` as they were judged.

        Until they are judged, those without a number stand in their first stead.
        """
        self.raw = readings.arrays()
        if settled is None:
            settled = readings if self.raw.plain else first_settled(errors, self.raw)
        self.readings = settled
        self.lives, self.cohorts, self.cohort_codes = lives, cohorts, cohort_codes
        self.reml, self.errors, self.slips = reml, errors, slips
        self._judged = False
        self._found = _Found()
        self._sample: Problem | None = None
        self._sums: dict[tuple[float, float], LifeSums] = {}
        self._onsets: tuple[Floats, OnsetSums] | None = None

    @cached_property
    def _sampled(self) -> NDArray[np.bool_]:
        return sampled_lives(self.cohort_codes)

    @property
    def to_judge(self) -> bool:
        """Whether readings may be other than numbers with a normal error."""
        return self.slips or not self.raw.plain

    def judged_under(self, name: ShapeName) -> Problem:
        """Return the same lives with readings judged under one shape, and what was learnt of their errors.

        Fitting and judging take turns: each fit tells what readings lie far off, what those say that are not
        numbers, and what methods add.
        Of many lives a sample tells the errors, and the readings of all are then judged once.
        """
        if self._sampled.all():
            return self._judged_in_turns(name)
        sample = (self._sample or self.of_lives(self._sampled))._judged_in_turns(name)
        population, _ = sample.estimate(name, None)
        settled = judge_all(population, sample.errors, self.raw, population.prior(self.cohorts, self.cohort_codes))
        problem = self._with_readings(settled, sample.errors)
        problem._sample, problem._found = sample, replace(sample._found, groups=[])
        return problem

    def _judged_in_turns(self, name: ShapeName) -> Problem:
        problem, errors = self, self.errors
        settled = self.readings.arrays() if self._judged else None
        before: float | None = None
        for _ in range(_TURNS):
            population, _ = problem.estimate(name, None)
            if before is not None and abs(np.log(population.residual_variance / before)) < _AT_REST:
                break
            before = population.residual_variance
            if self.slips:
                errors = errors.with_slips(population.residual_variance)
            prior = population.prior(self.cohorts, self.cohort_codes)
            judged = judge(population, errors, self.raw, prior, start=settled)
            errors = errors.improved(judged, self.raw, population, self.cohort_codes)
            settled = judge(population, errors, self.raw, prior, start=judged.settled, rounds=1).settled
            problem = problem._with_readings(settled, errors)
        return problem

    def _with_readings(self, settled: ReadingArrays, errors: ReadingErrors) -> Problem:
        """Return the same lives with their readings as judged, searched from where this search ended."""
        problem = Problem(
            self.raw, self.lives, self.cohorts, self.cohort_codes, reml=self.reml, errors=errors, slips=self.slips,
            settled=settled,
        )  # fmt: skip
        problem._judged, problem._found = True, replace(self._found)
        return problem

    def of_lives(self, chosen: NDArray[np.bool_]) -> Problem:
        """Return some of the lives, readings as they are judged, searched from where this search ended."""
        some = Problem(
            self.raw.only(chosen), self.lives[chosen], self.cohorts, self.cohort_codes[chosen], reml=self.reml,
            errors=self.errors, slips=self.slips, settled=self.readings.arrays().only(chosen),
        )  # fmt: skip
        some._judged, some._found = self._judged, replace(self._found)
        return some

    def fit(self, name: ShapeName) -> WearResults:
        """Return the fit of one shape to all lives."""
        population, estimation = self.estimate(name, None)
        if name == "straight":
            population, estimation = per_unit(population, estimation)
        return WearResults(population, estimation, self.lives, self.cohorts, self.cohort_codes, self.readings)

    def sums(self, exponent: float, wander: float = 0.0) -> LifeSums:
        """Return the sums at an exponent, distances over the mean distance, or for a path that wanders."""
        key = exponent, wander
        if key not in self._sums:
            if len(self._sums) > _MOST_SUMS:
                self._sums.clear()
            mean = self.readings.mean_distance
            if wander > 0.0:
                self._sums[key] = Filter(self.readings.arrays(), wander, mean).sums(earlier=False).base
            else:
                self._sums[key] = self.readings.sums(exponent, mean)
        return self._sums[key]

    def estimate(self, name: ShapeName, keep: NDArray[np.bool_] | None) -> tuple[Population, Estimation]:
        """Return the population of one shape, fitted to all lives or to those of a mask."""
        codes = self.cohort_codes if keep is None else self.cohort_codes[keep]
        grouping = checked_grouping(self._taken(1.0, keep), self.cohorts, codes, level=name == "level")
        if name == "two-stage":
            population, estimation = self._two_stage(grouping, codes, keep)
        else:
            exponent = self._exponent(grouping, keep) if name == "power" else 1.0
            wander = self._wander(grouping, keep) if name == "wandering" else 0.0
            shape = Shape(name, exponent, self.readings.mean_distance)
            population, estimation = fit_lines(
                self._taken(exponent, keep, wander), grouping, self.cohorts, codes, shape=shape, reml=self.reml,
                wander=wander, near=self._found.optima.get(name), n_obs=len(self.raw.life),
            )  # fmt: skip
            self._found.optima = self._found.optima | {name: estimation.optimum}
        return replace(population, errors=self.errors), estimation

    def _taken(self, exponent: float, keep: NDArray[np.bool_] | None, wander: float = 0.0) -> LifeSums:
        sums = self.sums(exponent, wander)
        return sums if keep is None else sums.take(keep)

    def _exponent(self, grouping: Grouping, keep: NDArray[np.bool_] | None) -> float:
        """Return the exponent of highest profile likelihood (ML).

        All lives are searched over the whole range. Of few lives, those of a mask are searched near the exponent
        of all lives, at points that all masks share (so that their sums are taken once), and over the whole range
        only if the minimum does not lie between these points; of many, the exponent of all holds.
        """
        if keep is not None and self._found.exponents is not None and len(keep) >= _HELD_FROM:
            return float(np.exp(self._found.exponents[2]))
        deviance = self._profile(grouping, keep, lambda log: (float(np.exp(log)), 0.0))
        low, high = np.log(EXPONENT_RANGE)
        found = search(deviance, (low, high), near=self._found.exponents)
        if keep is None:
            self._found.exponents = points_about(deviance, found)
        return float(np.exp(found))

    def _wander(self, grouping: Grouping, keep: NDArray[np.bool_] | None) -> float:
        """Return the variance of the path of highest profile likelihood (ML), searched by its square root.

        Lives of a mask are searched as in :meth:`_exponent`; where all lives show none, none is looked for.
        """
        near = self._found.wanders
        if near is not None and (near[2] <= _NO_WANDER or (keep is not None and len(keep) >= _HELD_FROM)):
            return float(near[2]) ** 2 if near[2] > _NO_WANDER else 0.0
        deviance = self._profile(grouping, keep, lambda root: (1.0, root * root))
        found = search(deviance, _WANDER_RANGE, near=near, tolerance=2e-3)
        if keep is None:
            step = 0.1 * max(found, _NO_WANDER)
            self._found.wanders = found + step * np.arange(-2.0, 3.0)
        return found**2 if found > _NO_WANDER else 0.0

    def _profile(
        self,
        grouping: Grouping,
        keep: NDArray[np.bool_] | None,
        of: Callable[[float], tuple[float, float]],
    ) -> Callable[[float], float]:
        """Return the profile deviance (ML) by one parameter, of which exponent and wander are told.

        Each call starts where the last ended.
        """
        start: Floats | None = None

        def deviance(parameter: float) -> float:
            nonlocal start
            exponent, wander = of(parameter)
            sums, _, _ = in_solver(self._taken(exponent, keep, wander))
            criterion = Criterion(sums, grouping.codes, len(grouping.labels), reml=False)
            first = starting_theta(sums) if start is None else start
            optimum = minimise(criterion, start=first, finish=False)
            start = np.maximum(np.abs(optimum.theta), 0.05) * np.where(optimum.theta < 0, -1.0, 1.0)
            return optimum.profile.deviance

        return deviance

    def _two_stage(
        self, grouping: Grouping, codes: Integers, keep: NDArray[np.bool_] | None
    ) -> tuple[Population, Estimation]:
        """Return the population of two-stage wear (maximum likelihood), starting from the straight fit.

        Of many lives a sample tells pace, onsets and covariances; mean lines are from all.
        """
        readings = self.readings.arrays()
        reference = readings.mean_distance
        if self._onsets is None:
            grid = onset_grid(float(readings.distance.max()))
            self._onsets = grid, onset_sums(readings.only(self._sampled), grid, reference)
        grid, whole = self._onsets
        kept = np.ones(readings.n_lives, dtype=bool) if keep is None else keep
        taken = kept[self._sampled]
        sums = whole if taken.all() else whole.take(taken)
        straight, centre, spread = in_solver(sums.base)
        n_groups = len(grouping.labels)
        of_sample = replace(grouping, codes=grouping.codes[self._sampled[kept]])
        start = minimise(Criterion(straight, of_sample.codes, n_groups, reml=False), start=starting_theta(straight))
        problem = OnsetProblem(sums, of_sample, centre, spread)
        previous = self._found.two_stage if self._found.groups == grouping.labels else None
        found = problem.fit(start, previous=previous, rounds=_ROUNDS if keep is None else _FOLD_ROUNDS)
        if keep is None:
            self._found.two_stage, self._found.groups = found, grouping.labels
        if len(taken) == readings.n_lives:
            marginal = mixed_marginal(problem.solver_sums(found.pace), found.optimum.relative_cov, found.shares)
        else:
            marginal = self._marginal(problem, found, grid, grouping.codes, kept)
        T = found.optimum.relative_cov
        lines, between, assumed = shrink(
            marginal, self.cohorts, codes, relative_cov=T, sigma2=found.sigma2, level=False
        )
        shape = Shape("two-stage", 1.0, reference)
        onsets, weights = beyond_records(grid, found)
        doubt = doubt_of(replace(found.optimum, converged=found.converged or keep is not None), shape)
        population = TwoStagePopulation(
            shape, centre, spread, T, found.sigma2, lines, between, doubt, found.pace, onsets, weights
        )
        estimation = estimation_of(
            replace(found.optimum, converged=found.converged), grouping, self.cohorts, codes, straight, reml=False,
            deviance=found.deviance, n_parameters=2 * n_groups + 4 + len(grid), note=assumed, n_obs=len(self.raw.life),
        )  # fmt: skip
        return population, estimation

    def _marginal(
        self, problem: OnsetProblem, found: TwoStage, grid: Floats, codes: Integers, kept: NDArray[np.bool_]
    ) -> Marginal:
        """Return what each life of a mask says of its cohort's line, some lives at a time."""
        readings, parts = self.readings.arrays(), []
        lives = np.flatnonzero(kept)
        for first in range(0, len(lives), _CHUNK):
            rows = lives[first : first + _CHUNK]
            chunk = np.zeros(readings.n_lives, dtype=bool)
            chunk[rows] = True
            some = OnsetProblem(
                onset_sums(readings.only(chunk), grid, readings.mean_distance),
                replace(problem.grouping, codes=codes[first : first + _CHUNK]),
                problem.centre,
                problem.spread,
            )
            parts.append(mixed_marginal(some.solver_sums(found.pace), found.optimum.relative_cov, some.shares(found)))
        return Marginal(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Marginal)))
