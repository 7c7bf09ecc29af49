"""Fitting: the public calls, and the shapes weighed against each other."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import DoubtfulFitWarning, InputError
from fleetwear.wear.ensemble import EnsembleResults
from fleetwear.wear.labels import labelled_readings
from fleetwear.wear.methods import ALL, Methods
from fleetwear.wear.problem import Problem, sampled_lives
from fleetwear.wear.reading_errors import ReadingErrors
from fleetwear.wear.shapes import CANDIDATES, ShapeName, check_shape_name
from fleetwear.wear.stacking import FOLDS, foretell_next_visits, stacking_weights

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fleetwear.wear.labels import Labels
    from fleetwear.wear.results import WearResults
    from fleetwear.wear.sums import Integers, Readings


def fit(
    life: ArrayLike,
    distance: ArrayLike,
    play: ArrayLike,
    cohort: ArrayLike | None = None,
    *,
    shape: str = "auto",
    reml: bool | None = None,
    slips: bool = False,
    variance_ratio: ArrayLike | None = None,
    result: ArrayLike | None = None,
    resolution: ArrayLike | None = None,
    method: ArrayLike | None = None,
    reference_method: str | None = None,
    detection: tuple[float, float] | None = None,
    candidates: tuple[str, ...] = CANDIDATES,
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
        onset of its own in each life), "wandering" (straight with a Brownian path on top), "level" (no growth), or
        "auto": the first four, weighted by how well each foretells the next visit of lives that it was not fitted
        to.
    reml
        Maximise the restricted likelihood, or else the likelihood; None: restricted where that is defined.
        Exponents, and how far wear wanders, are always found by maximum likelihood, because restricted profiles
        move with the scale of g; two-stage wear, a mixture, always is.
    slips
        Whether a few readings may be far off because the setup slipped (see module ``slips``): they are found
        and discounted. The likelihood that is reported is then that of the readings as judged.
    variance_ratio
        Error variance of each reading over the residual variance, shape (n,); 1 where not given.
    result
        "measured", "none seen" or "seen, not measured" for each reading, shape (n,); all measured where not
        given. The play of a reading that was not measured is not looked at.
    resolution
        What readings were rounded to, in the unit of play, one for all or one a reading. Rounding that is coarse
        beside the error of a reading enters as an interval, finer rounding as part of the error.
    method
        Label of each reading's method, shape (n,): offsets and error variances of methods are estimated.
    reference_method
        The method whose readings are the true play but for error; the most frequent where not given.
    detection
        Threshold (play that is seen every other time) and softness of the detection curve, in the unit of play, to
        start from: each method's curve is estimated where some of its readings saw no movement.
    candidates
        Shapes that "auto" weighs.

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
    labelled = labelled_readings(
        life, distance, play, cohort, variance_ratio=variance_ratio, result=result, resolution=resolution, method=method
    )
    results = _fitted(
        labelled.readings, labelled.lives, labelled.cohorts, labelled.cohort_codes, shape=shape, reml=reml,
        slips=slips, methods=labelled.methods, reference_method=reference_method, detection=detection,
        candidates=candidates, folds=None,
    )  # fmt: skip
    warn_of(results.doubt)
    return results


def fit_readings(
    readings: Readings,
    lives: Labels,
    cohorts: list[str],
    cohort_codes: Integers,
    *,
    shape: str = "auto",
    reml: bool | None = None,
    slips: bool = False,
    methods: list[str] | None = None,
    reference_method: str | None = None,
    detection: tuple[float, float] | None = None,
    candidates: tuple[str, ...] = CANDIDATES,
    folds: NDArray[np.int64] | None = None,
) -> WearResults | EnsembleResults:
    """Return the fit of readings that give their own sums (from arrays, or from a query).

    Parameters
    ----------
    readings
        Gives the sums of its J lives at any exponent.
    lives, cohorts, cohort_codes
        Labels of the lives, labels of the cohorts, and the cohort of each life, shape (J,).
    shape, reml, slips, reference_method, detection, candidates
        As in :func:`fit`.
    methods
        Names of the methods that the readings' codes stand for.
    folds
        Fold of each life for "auto", shape (J,); lives that share something (a vehicle) belong in one
        fold. None: dealt out in turn.
    """
    results = _fitted(
        readings, lives, cohorts, cohort_codes, shape=shape, reml=reml, slips=slips, methods=methods,
        reference_method=reference_method, detection=detection, candidates=candidates, folds=folds,
    )  # fmt: skip
    warn_of(results.doubt)
    return results


def _fitted(
    readings: Readings,
    lives: Labels,
    cohorts: list[str],
    cohort_codes: Integers,
    *,
    shape: str,
    reml: bool | None,
    slips: bool,
    methods: list[str] | None,
    reference_method: str | None,
    detection: tuple[float, float] | None,
    candidates: tuple[str, ...],
    folds: NDArray[np.int64] | None,
) -> WearResults | EnsembleResults:
    name = None if shape == "auto" else check_shape_name(shape)
    raw = readings.arrays()
    if reml:
        _check_restricted(name, exact=raw.plain and not slips)
    problem = _problem(
        readings, lives, cohorts, cohort_codes, reml=reml is not False and name != "two-stage", slips=slips,
        methods=methods, reference_method=reference_method, detection=detection,
    )  # fmt: skip
    if name is None:
        return _weighed(
            problem,
            [check_shape_name(one) for one in candidates],
            np.arange(raw.n_lives) % FOLDS if folds is None else folds,
        )
    return (problem.judged_under(name) if problem.to_judge else problem).fit(name)


def fit_each(
    readings: Readings,
    lives: Labels,
    cohorts: list[str],
    cohort_codes: Integers,
    *,
    shapes: tuple[str, ...] = CANDIDATES,
    methods: list[str] | None = None,
    reference_method: str | None = None,
    detection: tuple[float, float] | None = None,
) -> dict[str, WearResults]:
    """Return the fits of some shapes, slips discounted, each begun where the one before it ended; nothing is weighed.

    Parameters are those of :func:`fit_readings`.
    """
    problem = _problem(
        readings, lives, cohorts, cohort_codes, reml=True, slips=True, methods=methods,
        reference_method=reference_method, detection=detection,
    )  # fmt: skip
    return {name: own.fit(name) for name, own in _judged(problem, [check_shape_name(one) for one in shapes]).items()}


def _problem(
    readings: Readings,
    lives: Labels,
    cohorts: list[str],
    cohort_codes: Integers,
    *,
    reml: bool,
    slips: bool,
    methods: list[str] | None,
    reference_method: str | None,
    detection: tuple[float, float] | None,
) -> Problem:
    names = methods or [ALL]
    if reference_method is not None and reference_method not in names:
        raise InputError(
            f"no reading is by the method {reference_method!r}", mend=f"Choose one of: {', '.join(names)}."
        )
    errors = ReadingErrors(Methods.first(readings.arrays(), names, reference_method, detection))
    return Problem(readings, lives, cohorts, cohort_codes, reml=reml, errors=errors, slips=slips)


def _check_restricted(name: ShapeName | None, *, exact: bool) -> None:
    """Refuse a restricted likelihood, asked for by name, where none is defined."""
    if name == "two-stage":
        raise InputError(
            "two-stage wear is a mixture, for which no restricted likelihood is defined",
            mend='Fit it with reml=False, or let shape="auto" weigh it against the others.',
        )
    if not exact:
        raise InputError(
            "slips, methods and readings that are not numbers are fitted by maximum likelihood; no restricted "
            "likelihood is defined for them",
            mend="Leave reml out, or give numbers of one method with slips=False.",
        )


def _judged(problem: Problem, candidates: list[ShapeName]) -> dict[ShapeName, Problem]:
    """Return the readings judged under each candidate, each beginning where the one before it ended."""
    problems: dict[ShapeName, Problem] = {}
    judged = problem
    for candidate in candidates:
        judged = judged.judged_under(candidate) if problem.to_judge else problem
        problems[candidate] = judged
    return problems


def _weighed(problem: Problem, candidates: list[ShapeName], fold: NDArray[np.int64]) -> EnsembleResults:
    """Return the fit of every candidate, and their weights."""
    problems = _judged(problem, candidates)
    fits: dict[str, WearResults] = {name: own.fit(name) for name, own in problems.items()}
    sample = sampled_lives(problem.cohort_codes)
    some = problems if sample.all() else {name: own.of_lives(sample) for name, own in problems.items()}
    held_out = foretell_next_visits(some, fold[sample])
    scores = held_out.scores()
    stacked = stacking_weights(scores)
    evidence = held_out.evidence(stacked.overall)
    spread = held_out.spread(stacked.overall, evidence)
    return EnsembleResults(fits, stacked, scores, problem.cohorts, spread, evidence)


def warn_of(doubt: str) -> None:
    """Give the doubt of a fit as a warning, if there is one."""
    if doubt:
        warnings.warn(f"Doubtful fit: {doubt}.", DoubtfulFitWarning, stacklevel=3)
