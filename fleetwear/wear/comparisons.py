"""Comparisons of a factor's levels: ratios of growth with intervals, and their multiplicity.

Every level is compared with the reference (the level with most lives, unless another is named) and, where there are
more than two, with the mean of all levels (the geometric mean of their growths, each counted once). Intervals:

- of each comparison alone: exp(d +- t se), t with the degrees of freedom of :mod:`fleetwear.wear.clusters`;
- of all comparisons of a factor at once: the largest absolute z of the joint normal of all of them exceeds a value q
  in 5 % of draws (seeded); the tail probability of q is carried to each comparison's own t
  (Hothorn, Bretz & Westfall 2008, section 3, with a t for each margin).

References
----------
Hothorn, T., Bretz, F. & Westfall, P. (2008), Biometrical Journal 50(3).
Holm, S. (1979), Scandinavian Journal of Statistics 6(2).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fleetwear.wear.design import Factor
    from fleetwear.wear.effects import GrowthEffects
    from fleetwear.wear.sums import Floats

MEAN = "mean of all levels"
"""The reference of comparisons with all levels."""

_VAGUE = float(np.log(100.0))
"""A ratio whose interval reaches further than a hundred times either way is not told."""

_DRAWS = 40_000
_SEED = 20080301

COLUMNS = [
    "factor", "level", "reference", "n_lives", "n_clusters", "n_readings", "ratio", "lower", "upper",
    "simultaneous_lower", "simultaneous_upper", "degrees", "p_value", "note",
]  # fmt: skip


def compare(effects: GrowthEffects, factor: str, *, level: float = 0.95) -> pd.DataFrame:
    """Return the comparisons of a factor's levels, one row a comparison.

    Parameters
    ----------
    effects
        The fit.
    factor
        The factor's name.
    level
        The probability with which an interval, and all simultaneous intervals of the factor together, hold the
        true ratios.

    Returns
    -------
    pandas.DataFrame
        factor, level, reference, n_lives, n_clusters and n_readings of the level, ratio (growth of the level over
        that of the reference), lower, upper, simultaneous_lower, simultaneous_upper, degrees (of freedom),
        p_value (of a ratio of 1, two-sided, unadjusted), note. A level that cannot be estimated has nan for all
        of them, and a note that says why.
    """
    of = next(one for one in effects.factors if one.name == factor)
    lives, clusters = of.n_lives, of.n_clusters(effects.cluster)
    readings = np.bincount(of.codes, weights=effects.n_readings, minlength=len(of.levels))
    present = [name for name, count in zip(of.levels, lives, strict=True) if count]
    counts = {
        name: (int(lives[at]), int(clusters[at]), int(readings[at])) for at, name in enumerate(of.levels) if lives[at]
    }
    pairs = _pairs(of, present, effects.design.references[factor])
    rows = _estimated(effects, factor, pairs, level) if pairs else []
    for row in rows:
        row["n_lives"], row["n_clusters"], row["n_readings"] = counts[str(row["level"])]
    frame = pd.DataFrame(rows, columns=COLUMNS)
    frame[["note"]] = frame[["note"]].fillna("").astype(str)
    return frame


def confounders(effects: GrowthEffects, factor: str) -> tuple[str, ...]:
    """Return the names of all factors that some comparison of this factor's levels cannot be told apart from."""
    of = next(one for one in effects.factors if one.name == factor)
    present = [name for name, count in zip(of.levels, of.n_lives, strict=True) if count]
    pairs = _pairs(of, present, effects.design.references[factor])
    mixed = [effects.design.confounded_with(effects.design.contrast(factor, weights), factor) for *_, weights in pairs]
    return tuple(dict.fromkeys(name for names in mixed for name in names))


def _pairs(of: Factor, present: list[str], reference: str) -> list[tuple[str, str, dict[str, float]]]:
    """Return level, reference and weights of each comparison."""
    others = [name for name in of.levels if name in present and name != reference]
    pairs = [(name, reference, {name: 1.0, reference: -1.0}) for name in others]
    if len(present) > 2:
        share = 1.0 / len(present)
        pairs += [
            (name, MEAN, {other: (1.0 if other == name else 0.0) - share for other in present})
            for name in (reference, *others)
        ]
    return pairs


def _estimated(
    effects: GrowthEffects, factor: str, pairs: list[tuple[str, str, dict[str, float]]], level: float
) -> list[dict[str, object]]:
    contrasts = np.stack([effects.design.contrast(factor, weights) for _, _, weights in pairs])
    mixed = [effects.design.confounded_with(contrast, factor) for contrast in contrasts]
    rows: list[dict[str, object]] = [
        {"factor": factor, "level": name, "reference": reference, "note": _told_apart(factor, others)}
        for (name, reference, _), others in zip(pairs, mixed, strict=True)
    ]
    told = np.flatnonzero([not others for others in mixed])
    if not len(told):
        return rows
    wide = effects.in_all(contrasts[told])
    covariance = effects.covariance.of(wide)
    error = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    log_ratio = contrasts[told][:, effects.design.kept] @ effects.log_growth
    degrees = effects.covariance.degrees(wide)
    alone = np.asarray(stats.t.ppf(0.5 + level / 2.0, degrees))
    tail = joint_tail(covariance / np.outer(error, error), level=level)
    together = np.maximum(stats.t.isf(tail / 2.0, degrees), alone)
    p = np.asarray(2.0 * stats.t.sf(np.abs(log_ratio) / error, degrees))
    for k, at in enumerate(told):
        if alone[k] * error[k] > _VAGUE:
            rows[at]["note"] = "too few readings to tell"
            continue
        with np.errstate(over="ignore"):  # with one degree of freedom an interval may have no end
            alone_lower, alone_upper = np.exp(log_ratio[k] + np.array([-1.0, 1.0]) * alone[k] * error[k])
            all_lower, all_upper = np.exp(log_ratio[k] + np.array([-1.0, 1.0]) * together[k] * error[k])
        rows[at] |= {
            "ratio": float(np.exp(log_ratio[k])),
            "lower": float(alone_lower),
            "upper": float(alone_upper),
            "simultaneous_lower": float(all_lower),
            "simultaneous_upper": float(all_upper),
            "degrees": float(degrees[k]),
            "p_value": float(p[k]),
        }
    return rows


def _told_apart(factor: str, others: tuple[str, ...]) -> str:
    if not others:
        return ""
    if others == (factor,):
        return "its levels cannot be told apart"
    return f"{factor} cannot be told apart from {' and '.join(others)} in these lives"


def joint_tail(correlation: NDArray[np.float64], *, level: float) -> float:
    """Return the two-sided tail probability of one z at which all |z| stay below with probability ``level``.

    Parameters
    ----------
    correlation
        Of the joint normal, shape (m, m); it may be singular.
    level
        The joint probability, between 0 and 1.
    """
    values, vectors = np.linalg.eigh(correlation)
    root = vectors[:, values > 1e-9] * np.sqrt(values[values > 1e-9])
    if root.shape[1] == 1:
        return 1.0 - level
    draws = np.random.default_rng(_SEED).standard_normal((_DRAWS, root.shape[1]))
    largest = np.abs(draws @ root.T).max(axis=1)
    return float(2.0 * stats.norm.sf(np.quantile(largest, level)))


def holm(p_values: ArrayLike) -> Floats:
    """Return p values adjusted for their number by Holm's step-down; nan stays nan and does not count."""
    p = np.asarray(p_values, dtype=np.float64)
    adjusted = np.full(p.shape, np.nan)
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    stepped = p[order] * np.arange(len(order), 0, -1)
    adjusted[order] = np.minimum(np.maximum.accumulate(stepped), 1.0)
    return adjusted
