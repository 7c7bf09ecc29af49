"""Straight and bent lines of all lives from their sums alone: checked, grouped, fitted and shrunk."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.checks import check_enough, check_scatter, doubt_of
from fleetwear.wear.cohorts import group_cohorts, shrink
from fleetwear.wear.criterion import Criterion, marginal_totals
from fleetwear.wear.mixed_model import inside, minimise, starting_theta
from fleetwear.wear.population import Population
from fleetwear.wear.results import Estimation
from fleetwear.wear.search import in_solver
from fleetwear.wear.shapes import Shape
from fleetwear.wear.wandering import WanderingPopulation

if TYPE_CHECKING:
    from fleetwear.wear.cohorts import Grouping
    from fleetwear.wear.mixed_model import Optimum
    from fleetwear.wear.sums import Integers, LifeSums


def fit_sums(
    sums: LifeSums, cohorts: list[str], codes: Integers, *, reference: float, reml: bool = True
) -> tuple[Population, Estimation]:
    """Return the straight fit of lives of which only the sums are at hand, from a GROUP BY say.

    Parameters
    ----------
    sums
        Sums of the lives with g = distance / reference, J rows.
    cohorts, codes
        Labels of the cohorts, and the cohort of each life, shape (J,).
    reference
        A distance near the mean of all readings.
    reml
        Maximise the restricted likelihood, or else the likelihood.

    Raises
    ------
    FitError
        If there are too few lives or readings, or the readings have no scatter at all.
    """
    grouping = checked_grouping(sums, cohorts, codes, level=False)
    return per_unit(*fit_lines(sums, grouping, cohorts, codes, shape=Shape("straight", 1.0, reference), reml=reml))


def checked_grouping(sums: LifeSums, cohorts: list[str], codes: Integers, *, level: bool) -> Grouping:
    """Return the groups that lives are fitted in, once there are enough of them; sums of straight growth.

    Raises FitError as :func:`fit_sums`.
    """
    check_enough(sums, level=level)
    flat = sums.without_growth() if level else sums
    check_scatter(flat, level=level)
    return group_cohorts(cohorts, codes, flat)


def fit_lines(
    raw: LifeSums,
    grouping: Grouping,
    cohorts: list[str],
    codes: Integers,
    *,
    shape: Shape,
    reml: bool,
    wander: float = 0.0,
    near: Optimum | None = None,
    n_obs: int | None = None,
) -> tuple[Population, Estimation]:
    """Return the population of a shape whose lives are lines in g, and how it was estimated.

    Parameters
    ----------
    raw
        Sums of g of the shape, J rows.
    grouping, cohorts, codes
        The groups of the lives, the labels of the cohorts, and the cohort of each life, shape (J,).
    shape, reml, wander
        The growth shape, whether the restricted likelihood is maximised, and the variance of paths that wander.
    near
        The optimum of nearly the same lives, to start from.
    n_obs
        The number of readings; what the sums count where not given.
    """
    level = shape.name == "level"
    sums, centre, spread = (raw.without_growth(), 0.0, 1.0) if level else in_solver(raw)
    n_groups = len(grouping.labels)
    criterion = Criterion(sums, grouping.codes, n_groups, reml=reml, level=level)
    optimum = minimise(criterion, start=starting_theta(sums) if near is None else inside(near.theta))
    T, sigma2 = optimum.relative_cov, optimum.profile.sigma2
    told = marginal_totals(sums, T, codes, len(cohorts))
    lines, between, assumed = shrink(told, cohorts, np.arange(len(cohorts)), relative_cov=T, sigma2=sigma2, level=level)
    jacobian = 2.0 * n_groups * np.log(spread) if reml and not level else 0.0
    found = (shape, centre, spread, T, sigma2, lines, between, doubt_of(optimum, shape))
    wanders = shape.name == "wandering"
    population = WanderingPopulation(*found, wander) if wanders else Population(*found)
    estimation = estimation_of(
        optimum, grouping, cohorts, codes, sums, reml=reml, deviance=optimum.profile.deviance + jacobian,
        n_parameters=criterion.n_fixed + (2 if level else 4) + (shape.name in ("power", "wandering")), note=assumed,
        n_obs=int(sums.n.sum()) if n_obs is None else n_obs,
    )  # fmt: skip
    return population, estimation


def estimation_of(
    optimum: Optimum, grouping: Grouping, cohorts: list[str], codes: Integers, sums: LifeSums, *, reml: bool,
    deviance: float, n_parameters: int, note: str, n_obs: int,
) -> Estimation:  # fmt: skip
    """Return what the summary says of an optimum."""
    lives = np.bincount(codes, minlength=len(cohorts))
    return Estimation(
        optimum=optimum,
        groups=grouping.labels,
        alone={label: grouping.alone[label] for label in cohorts},
        lives=dict(zip(cohorts, lives.tolist(), strict=True)),
        n_obs=n_obs,
        n_groups=int((sums.n > 0).sum()),
        reml=reml,
        loglik=-deviance / 2.0,
        n_parameters=n_parameters,
        note=note,
    )


def per_unit(population: Population, estimation: Estimation) -> tuple[Population, Estimation]:
    """Return a straight fit with growth per unit of distance: reference 1 in place of the mean distance.

    The restricted likelihood is that of the design as stated, so it moves with the scale of x: minus twice
    its logarithm grows by 2 log(reference) for each growth that is estimated.
    """
    r = population.shape.reference
    moved = replace(population, shape=Shape("straight"), centre=population.centre * r, spread=population.spread * r)
    if estimation.reml:
        estimation = replace(estimation, loglik=estimation.loglik - len(estimation.groups) * float(np.log(r)))
    return moved, estimation
