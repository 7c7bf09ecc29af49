"""Fitting a fleet that lies in parts: the coordinator's side, which sees sums over parts and no life.

The criterion is that of module ``criterion``. With A = sum P, q = sum e and Y = sum y' V^-1 y of a group (readings
less its shared line), its line is moved by beta = A^-1 q, RSS = sum (Y - q' beta) over groups, and by changes of T::

    dRSS  = sum dY - 2 beta' dq + beta' dA beta
    d2RSS = sum d2Y - 2 beta' d2q + beta' d2A beta - 2 (dq - dA beta)' A^-1 (dq - dA beta)
    d log |A| = tr(A^-1 dA)      d2 log |A| = tr(A^-1 d2A) - tr(A^-1 dA A^-1 dA)

from which second derivatives by theta follow by the chain rule through T = L L'.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.wear.checks import EXPONENT_RANGE, check_enough, doubt_of, refuse_no_scatter
from fleetwear.wear.cohorts import Grouping, group_cohorts, shrink
from fleetwear.wear.criterion import Criterion, Marginal, Profile, relative_covariance
from fleetwear.wear.lines import per_unit
from fleetwear.wear.mixed_model import Optimum, minimise, theta_of_lines
from fleetwear.wear.parts import (
    N_MOMENTS,
    CohortTotals,
    Moments,
    Parted,
    centred,
    cohort_totals,
    moments,
    part_lines,
    part_scatter,
    total,
)
from fleetwear.wear.population import Population
from fleetwear.wear.results import Estimation, WearResults
from fleetwear.wear.search import in_solver, search
from fleetwear.wear.shapes import Shape
from fleetwear.wear.sums import ReadingArrays

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fleetwear.wear.shapes import ShapeName
    from fleetwear.wear.sums import Floats

_DIRECTIONS = np.array([[[1.0, 0.0], [0.0, 0.0]], [[0.0, 1.0], [1.0, 0.0]], [[0.0, 0.0], [0.0, 1.0]]])
"""The changes of T11, of T12 and of T22."""


@dataclass(frozen=True)
class PartedCriterion(Criterion):
    """The criterion of lives that lie in parts; ``sums`` and ``cohort`` are those of the fleet's C cohorts."""

    lives: Parted = field(kw_only=True)
    """Parts that are ``PartSums`` in the solver's coordinate."""
    _last: dict[str, Floats] = field(default_factory=dict, kw_only=True)
    """The lines at the last theta that was asked for."""

    def asked(self, T: NDArray[np.float64], about: Floats) -> Floats:
        """Return what the lives of each cohort say at T, readings taken from lines (C, 2), shape (C, N_MOMENTS)."""
        return total(self.lives.ask(moments, T, about))

    def profile(self, theta: Floats, *, derived: bool = True) -> Profile:  # noqa: ARG002
        """Return the criterion, its derivatives, which come with it, and the profiled estimates at theta."""
        T, about = relative_covariance(theta), self._last.get("beta", np.zeros((self.n_cohorts, 2)))
        found = np.zeros((self.n_cohorts, N_MOMENTS))
        np.add.at(found, self.cohort, self.asked(T, about[self.cohort]))
        m = Moments.of(found)
        E = _DIRECTIONS
        inverse = np.linalg.inv(m.p)
        beta = np.einsum("gab,gb->ga", inverse, m.e)
        rss = max(float(m.yy.sum() - (beta * m.e).sum()), 1e-16 * float(self.sums.wyy.sum()))
        dof = float(self.sums.n.sum()) - (self.n_fixed if self.reml else 0)
        sigma2 = rss / dof if self.known_variance is None else self.known_variance

        dp = -np.einsum("gabcd,kbc->kgad", m.pp, E)
        de = -np.einsum("gabc,kbc->kga", m.pe, E)
        turned = de - np.einsum("kgab,gb->kga", dp, beta)
        drss = -np.einsum("gab,kab->k", m.ee, E) - np.einsum("ga,kga->k", beta, de + turned)
        by_t = np.einsum("gab,kba->k", m.p, E) + drss / sigma2

        d2p = _both(np.einsum("gabcdef,kbc,lde->klgaf", m.ppp, E, E))
        d2e = _both(np.einsum("gabcde,kbc,lde->klga", m.ppe, E, E))
        d2rss = _both(np.einsum("gabcd,kab,lcd->kl", m.epe, E, E))
        d2rss = d2rss - 2.0 * np.einsum("ga,klga->kl", beta, d2e) + np.einsum("ga,klgab,gb->kl", beta, d2p, beta)
        d2rss = d2rss - 2.0 * np.einsum("kga,gab,lgb->kl", turned, inverse, turned)
        by_tt = -np.einsum("gabcd,kbc,lda->kl", m.pp, E, E) + d2rss / sigma2
        if self.known_variance is None:
            by_tt = by_tt - np.outer(drss, drss) / (sigma2 * rss)
        deviance = float(m.log_det.sum()) + dof * np.log(2.0 * np.pi * sigma2) + rss / sigma2
        deviance += float(self.sums.log_v.sum())
        if self.reml:
            share = np.einsum("gab,kgbc->kgac", inverse, dp)
            by_t = by_t + np.einsum("kgaa->k", share)
            by_tt = by_tt + np.einsum("gab,klgba->kl", inverse, d2p) - np.einsum("kgab,lgba->kl", share, share)
            deviance += float(np.log(np.linalg.det(m.p)).sum())
        gradient, hessian = _by_theta(theta, by_t, by_tt)
        line = about + beta
        self._last["beta"] = line
        slope = np.array([[by_t[0], by_t[1] / 2.0], [by_t[1] / 2.0, by_t[2]]])
        return Profile(deviance, gradient, hessian, slope, line, m.p, sigma2)


def _both(half: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return second derivatives, shape (3, 3, ...), of which one order of the two changes was given."""
    return half + np.swapaxes(half, 0, 1)


def _by_theta(theta: Floats, by_t: Floats, by_tt: Floats) -> tuple[Floats, NDArray[np.float64]]:
    """Return first and second derivatives by theta of what has these by (T11, T12, T22)."""
    a, b, c = (float(value) for value in theta)
    jacobian = np.array([[2.0 * a, 0.0, 0.0], [b, a, 0.0], [0.0, 2.0 * b, 2.0 * c]])
    d1, d2, d3 = (float(value) for value in by_t)
    curved = np.array([[2.0 * d1, d2, 0.0], [d2, 2.0 * d3, 0.0], [0.0, 0.0, 2.0 * d3]])
    return jacobian.T @ by_t, jacobian.T @ by_tt @ jacobian + curved


def fit_parts(
    sums_at: Callable[[float], Parted],
    cohorts: list[str],
    *,
    reference: float,
    shape: ShapeName = "straight",
    reml: bool = True,
    on_step: Callable[[str], None] | None = None,
) -> WearResults:
    """Return the mixed model of lives that lie in parts, without the lives.

    Parameters
    ----------
    sums_at
        Gives, for a growth exponent, the parts as ``PartSums`` of g = (distance / reference) ^ exponent.
    cohorts
        Labels of the C cohorts, in the order of their codes in every part.
    reference
        The mean distance of all readings.
    shape
        "straight" or "power"; its exponent is found by maximum likelihood.
    reml
        Maximise the restricted likelihood, or else the likelihood.
    on_step
        Called with words before every step that asks all parts.

    Raises
    ------
    FitError
        If there are too few lives or readings, or the readings have no scatter at all.
    """
    tell = on_step or (lambda _: None)
    tell("sums of every life")
    lives = sums_at(1.0)
    totals = CohortTotals.joined(lives.ask(cohort_totals))
    check_enough(totals.sums, level=False, lives=int(totals.lives.sum()))
    refuse_no_scatter(*total(lives.ask(part_scatter)))
    grouping = group_cohorts(cohorts, np.arange(len(cohorts)), totals.sums, lives=totals.lives)
    exponent = 1.0
    if shape == "power":
        exponent = _exponent(sums_at, grouping, tell)
        lives = sums_at(exponent)
        totals = CohortTotals.joined(lives.ask(cohort_totals))
    criterion, centre, spread = _criterion(lives, totals, grouping, reml=reml)
    del lives  # so that the parts hold one set of sums, not two
    tell("covariance of lives")
    optimum = minimise(criterion, start=_start(criterion))
    return _results(criterion, optimum, totals, grouping, cohorts, Shape(shape, exponent, reference), centre, spread)


def _criterion(
    lives: Parted, totals: CohortTotals, grouping: Grouping, *, reml: bool
) -> tuple[PartedCriterion, float, float]:
    sums, centre, spread = in_solver(totals.sums)
    own = lives.keep(centred, centre, spread)
    return PartedCriterion(sums, grouping.codes, len(grouping.labels), reml=reml, lives=own), centre, spread


def _start(criterion: PartedCriterion) -> Floats:
    return theta_of_lines(criterion.lives.ask(part_lines))


def _exponent(sums_at: Callable[[float], Parted], grouping: Grouping, tell: Callable[[str], None]) -> float:
    """Return the exponent of highest profile likelihood (ML), each search of T from where the last ended."""
    start: Floats | None = None

    def deviance(log_exponent: float) -> float:
        nonlocal start
        exponent = float(np.exp(log_exponent))
        tell(f"exponent {exponent:.4f}")
        lives = sums_at(exponent)
        criterion, _, _ = _criterion(lives, CohortTotals.joined(lives.ask(cohort_totals)), grouping, reml=False)
        optimum = minimise(criterion, start=_start(criterion) if start is None else start, finish=False)
        start = np.maximum(np.abs(optimum.theta), 0.05) * np.where(optimum.theta < 0, -1.0, 1.0)
        return optimum.profile.deviance

    low, high = np.log(EXPONENT_RANGE)
    return float(np.exp(search(deviance, (low, high))))


def _results(
    criterion: PartedCriterion,
    optimum: Optimum,
    totals: CohortTotals,
    grouping: Grouping,
    cohorts: list[str],
    shape: Shape,
    centre: float,
    spread: float,
) -> WearResults:
    """Return the fit once the covariance is known: mean lines from one more look at every part."""
    sigma2, T, n_cohorts = optimum.profile.sigma2, optimum.relative_cov, len(cohorts)
    m = Moments.of(criterion.asked(T, np.zeros((n_cohorts, 2))))
    marginal = Marginal(m.log_det, m.p[:, 0, 0], m.p[:, 0, 1], m.p[:, 1, 1], m.e[:, 0], m.e[:, 1], m.yy)
    lines, between, assumed = shrink(
        marginal, cohorts, np.arange(n_cohorts), relative_cov=T, sigma2=sigma2, level=False
    )
    n_groups = len(grouping.labels)
    deviance = optimum.profile.deviance + (2.0 * n_groups * np.log(spread) if criterion.reml else 0.0)
    population = Population(shape, centre, spread, T, sigma2, lines, between, doubt_of(optimum, shape))
    estimation = Estimation(
        optimum=optimum,
        groups=grouping.labels,
        alone={label: grouping.alone[label] for label in cohorts},
        lives={label: int(count) for label, count in zip(cohorts, totals.lives, strict=True)},
        n_obs=int(totals.sums.n.sum()),
        n_groups=int(totals.lives.sum()),
        reml=criterion.reml,
        loglik=-deviance / 2.0,
        n_parameters=criterion.n_fixed + 4 + (shape.name == "power"),
        note=assumed,
    )
    if shape.name == "straight":
        population, estimation = per_unit(population, estimation)
    nobody, none = np.zeros(0, dtype=np.int64), np.zeros(0)
    readings = ReadingArrays(nobody, none, none, none, 0)
    return WearResults(population, estimation, pd.Index([]), cohorts, nobody, readings)
