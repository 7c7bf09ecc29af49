"""Cohorts: which stand alone, and how their mean lines are shrunk toward their parents.

A cohort that cannot carry fixed effects of its own (fewer than five lives, or all readings at one
distance) is pooled with its small siblings under their parent while the covariance is estimated. After
that every cohort, small or large, has the line that its own lives and its parent's line give together.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.criterion import Criterion, Marginal, marginalise
from fleetwear.wear.mixed_model import minimise, starting_theta
from fleetwear.wear.population import ASSUMED_BETWEEN, ROOT, SEPARATOR, Lines, MeanLine, condition, parent_of
from fleetwear.wear.sums import LifeSums

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Integers

MIN_LIVES = 5
"""Lives that a cohort needs to stand alone."""

_MIN_CONTRASTS = 3
"""Cohorts beyond one a parent that are needed to estimate the covariance between cohorts."""


@dataclass(frozen=True)
class Grouping:
    """The fixed-effect groups that lives are fitted in. J lives, K groups."""

    labels: list[str]
    codes: Integers
    """Group of each life, shape (J,)."""
    alone: dict[str, bool]
    """Whether each cohort has a group of its own."""


def group_cohorts(
    cohorts: list[str], codes: Integers, sums: LifeSums, *, lives: NDArray[np.float64] | None = None
) -> Grouping:
    """Return the groups: cohorts that can stand alone, and pools of those that cannot.

    Weak groups go up to their parents, level by level. A pool at the root that is still weak joins the
    group of most lives, where it weighs least. ``lives`` is how many lives with readings each row of the sums
    stands for, shape (J,), where rows are sums over many.
    """
    read = (sums.n > 0).astype(np.float64) if lives is None else lives
    counted = np.ones(len(codes)) if lives is None else lives
    assigned = list(cohorts)
    while True:
        labels = sorted(set(assigned))
        position = {label: k for k, label in enumerate(labels)}
        group = np.array([position[label] for label in assigned], dtype=np.int64)[codes]
        good = _identified(sums, group, len(labels), read)
        weak = {label for label, identified in zip(labels, good, strict=True) if not identified}
        if not weak or len(labels) == 1:
            break
        if weak == {ROOT}:
            most = np.bincount(group, weights=counted, minlength=len(labels))
            others = [label for label in dict.fromkeys(assigned) if label != ROOT]
            largest = max(others, key=lambda label: most[position[label]])
            assigned = [largest if label == ROOT else label for label in assigned]
        else:
            assigned = [parent_of(label) if label in weak else label for label in assigned]
    alone = dict.fromkeys(cohorts, True)
    alone |= {cohort: False for cohort, label in zip(cohorts, assigned, strict=True) if label != cohort}
    return Grouping(labels, group, alone)


def _identified(sums: LifeSums, group: Integers, n_groups: int, read: NDArray[np.float64]) -> NDArray[np.bool_]:
    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(group, weights=values, minlength=n_groups).astype(np.float64, copy=False)

    w, wg, wgg = total(sums.w), total(sums.wg), total(sums.wgg)
    level = not np.any(wgg)
    distinct = np.full(n_groups, True) if level else w * wgg - wg**2 > 1e-10 * np.maximum(w * wgg, 1e-300)
    return (total(read) >= MIN_LIVES) & distinct


def shrink(
    m: Marginal,
    cohorts: list[str],
    codes: Integers,
    *,
    relative_cov: NDArray[np.float64],
    sigma2: float,
    level: bool,
) -> tuple[dict[str, MeanLine], dict[int, NDArray[np.float64]], str]:
    """Return the mean line of every cohort and parent, Tau by depth, and a word on what was assumed.

    Parameters
    ----------
    m
        The lives' marginal information at the fitted covariance, shape (J,), or that of cohorts.
    cohorts, codes
        Labels of the cohorts, and the cohort of each row of it.
    relative_cov, sigma2
        The fitted T and residual variance.
    level
        Whether growth is left out.
    """
    nodes = list(cohorts)
    information = _total(m, codes, len(nodes), sigma2)
    levels: list[tuple[list[str], list[str], LifeSums, NDArray[np.float64], int]] = []
    between: dict[int, NDArray[np.float64]] = {}
    assumed = False
    while nodes != [ROOT]:
        depth = max(node.count(SEPARATOR) for node in nodes)
        parents = [parent_of(node) if node != ROOT and node.count(SEPARATOR) == depth else node for node in nodes]
        above = list(dict.fromkeys(parents))
        position = {label: k for k, label in enumerate(above)}
        parent_codes = np.array([position[label] for label in parents], dtype=np.int64)
        moved = np.array([node != parent for node, parent in zip(nodes, parents, strict=True)])
        tau, guessed = _between(information, parent_codes, moved, sigma2 * relative_cov, level=level)
        assumed |= guessed
        between[depth] = tau if tau.any() else ASSUMED_BETWEEN * sigma2 * relative_cov
        levels.append((nodes, parents, information, tau, depth))
        passed, whole = marginalise(information, tau), marginalise(information, np.zeros((2, 2)))
        message = Marginal(
            **{
                field.name: np.where(moved, getattr(passed, field.name), getattr(whole, field.name))
                for field in fields(Marginal)
            }
        )
        nodes, information = above, _total(message, parent_codes, len(above), 1.0)
    lines = {ROOT: _solve(information, level=level)}
    for children, parents, info, tau, _ in reversed(levels):
        prior = Lines(
            np.stack([lines[label].mean for label in parents]),
            np.stack([lines[label].cov for label in parents]),
        )
        posterior, _u = condition(marginalise(info, tau), tau, prior, sigma2=1.0)
        for k, (child, parent) in enumerate(zip(children, parents, strict=True)):
            if child != parent:
                lines[child] = MeanLine(posterior.mean[k], posterior.cov[k])
    return lines, between, "spread between cohorts assumed, too few to estimate it" if assumed else ""


def _total(m: Marginal, codes: Integers, n_groups: int, sigma2: float) -> LifeSums:
    """Return information (precision and precision-weighted mean) by group, in the form of sums."""

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(codes, weights=values, minlength=n_groups) / sigma2

    zero = np.zeros(n_groups)
    return LifeSums(np.ones(n_groups), total(m.p11), total(m.p12), total(m.p22), total(m.e1), total(m.e2), zero, zero)


def _between(
    information: LifeSums,
    parent: Integers,
    moved: NDArray[np.bool_],
    lives_cov: NDArray[np.float64],
    *,
    level: bool,
) -> tuple[NDArray[np.float64], bool]:
    """Return the covariance of cohorts about their parents, and whether it had to be assumed."""
    informed = moved & (information.w > 0.0)
    siblings = informed & _comparable(information, parent, informed, level=level)[parent]
    if not siblings.any():
        return np.zeros((2, 2)), False
    own = information.take(siblings)
    _, codes = np.unique(parent[siblings], return_inverse=True)
    n_parents = int(codes.max()) + 1
    if len(own) - n_parents < _MIN_CONTRASTS:
        return ASSUMED_BETWEEN * lives_cov, True
    precision = np.array([own.w.mean(), 1.0 if level else own.wgg.mean()])
    scale = np.sqrt(np.maximum(np.diag(lives_cov), 1.0 / precision))
    units = LifeSums(
        own.n, own.w * scale[0] ** 2, own.wg * scale[0] * scale[1], own.wgg * scale[1] ** 2,
        own.wy * scale[0], own.wgy * scale[1], own.wyy, own.log_v,
    )  # fmt: skip
    criterion = Criterion(units, codes.astype(np.int64), n_parents, reml=True, level=level, known_variance=1.0)
    optimum = minimise(
        criterion, start=np.array([0.5, 0.0, 0.5]) if level else starting_theta(units, known_variance=1.0)
    )
    return optimum.relative_cov * np.outer(scale, scale), False


def _comparable(
    information: LifeSums, parent: Integers, chosen: NDArray[np.bool_], *, level: bool
) -> NDArray[np.bool_]:
    """Return which parents have two children or more that together tell a line."""

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(parent, weights=np.where(chosen, values, 0.0)).astype(np.float64, copy=False)

    w, wg, wgg = total(information.w), total(information.wg), total(information.wgg)
    told = np.full(len(w), True) if level else w * wgg - wg**2 > 1e-8 * w * wgg
    return (total(np.ones(len(parent))) > 1) & told


def _solve(information: LifeSums, *, level: bool) -> MeanLine:
    precision = np.array(
        [[information.w[0], information.wg[0]], [information.wg[0], 1.0 if level else information.wgg[0]]]
    )
    cov = np.linalg.inv(precision)
    if level:
        cov[1, 1] = 0.0
    return MeanLine(np.linalg.inv(precision) @ np.array([information.wy[0], information.wgy[0]]), cov)
