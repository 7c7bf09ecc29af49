"""Posterior lines of series as rows: every shape, onset and distance that may have been run before, by weight."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.forecast.group_readings import arrays_of
from fleetwear.wear.stacking import by_evidence

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.learnt import Learnt
    from fleetwear.wear.population import LifePosterior, Population
    from fleetwear.wear.sums import Floats, Integers, ReadingArrays

_SHIFTS = 12
"""Distances tried for what a part of unknown origin had run before its vehicle's first record."""

_LEAST_WEIGHT = 1e-4
"""Components of less weight are left out."""

LINE_COLUMNS = [
    "series", "shape", "shift_km", "weight", "intercept", "growth", "var_intercept", "cov_cross", "var_growth",
    "exponent", "reference_km", "pace", "onset_km", "residual_variance", "wander_mm2_per_km", "from_km",
]  # fmt: skip


@dataclass(frozen=True)
class View:
    """The series of one group: labels of their cohorts, codes into them, and their readings."""

    cohorts: list[str]
    codes: Integers
    readings: ReadingArrays

    @classmethod
    def of(
        cls,
        table: pd.DataFrame,
        rows: NDArray[np.int64],
        cohorts: list[str],
        codes: Integers,
        learnt: Learnt,
    ) -> View:
        """Return readings (rows of ``fit/readings_of_series``) of series, renumbered in the order of ``rows``."""
        errors = learnt.best.errors
        assert errors is not None
        life = np.searchsorted(rows, table["series"].to_numpy()).astype(np.int64)
        columns = {str(name): table[name].to_numpy() for name in table.columns}
        return cls(cohorts, codes, arrays_of(columns, life, len(rows), errors.methods.names))


def whole_lines(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Return the components of all groups, with weights that sum to one a series."""
    if not parts:
        return pd.DataFrame(columns=LINE_COLUMNS)
    lines = pd.concat(parts, ignore_index=True)
    return lines.assign(weight=lines["weight"] / lines.groupby("series")["weight"].transform("sum"))


def components_of(learnt: Learnt, view: View, series: pd.DataFrame) -> tuple[pd.DataFrame, Floats, Floats]:
    """Return the component table, and effect and reliability averaged over components, shape (J,)."""
    of, shift = _shifts(series)
    readings = _shifted(view.readings, of, shift)
    n = len(series)
    frames, effect, reliability = [], np.zeros(n), np.zeros(n)
    weights = learnt.weights_of(view.cohorts)[view.codes]
    parts, evidence = [], np.zeros(weights.shape)
    for k, population in enumerate(learnt.populations.values()):
        prior = population.prior(view.cohorts, view.codes[of])
        sums = population.sums_of(population.settle(readings, prior))
        known = population.know(sums, prior)
        of_shift, evidence[:, k] = _shift_weights(known.log_density, of, n)
        parts.append((population, known, of_shift, population.growth_effects(sums, prior)))
    weights = by_evidence(weights, evidence, learnt.evidence)
    for own, (population, known, of_shift, (a, r)) in zip(weights.T, parts, strict=True):
        effect += own * np.bincount(of, weights=of_shift * a, minlength=n)
        reliability += own * np.bincount(of, weights=of_shift * r, minlength=n)
        frames.append(_line_table(population, known, of, shift, of_shift * own[of], spread=learnt.spread))
    return pd.concat(frames, ignore_index=True), effect, np.clip(reliability, 0.0, 0.999)


def _shifts(series: pd.DataFrame) -> tuple[Integers, Floats]:
    """Return components of (series, distance run before): one at 0, or a grid where the origin is unknown.

    The grid is uniform between nothing and all that the vehicle had run when its record begins.
    """
    bound = np.where(series["origin"] == "unknown", series["earlier_km_at_most"].to_numpy(dtype=float), 0.0)
    many = np.where(bound > 0.0, _SHIFTS, 1)
    of = np.repeat(np.arange(len(series)), many)
    step = np.arange(len(of)) - np.repeat(np.cumsum(many) - many, many)
    return of, np.where(many[of] > 1, bound[of] * (step + 0.5) / _SHIFTS, 0.0)


def _shifted(readings: ReadingArrays, of: Integers, shift: Floats) -> ReadingArrays:
    """Return the readings of each component: those of its series, further on by its shift."""
    counts = np.bincount(readings.life, minlength=readings.n_lives)
    starts = np.cumsum(counts) - counts
    each = counts[of]
    component = np.repeat(np.arange(len(of)), each)
    source = np.arange(int(each.sum())) - np.repeat(np.cumsum(each) - each, each) + starts[of][component]
    chosen = readings.chosen(source)
    return replace(chosen, life=component, distance=chosen.distance + shift[component], n_lives=len(of))


def _shift_weights(log_marginal: Floats, of: Integers, n: int) -> tuple[Floats, Floats]:
    """Return the posterior weight of each shift within its series, and the log density of each series over shifts."""
    highest = np.full(n, -np.inf)
    np.maximum.at(highest, of, log_marginal)
    likelihood = np.exp(log_marginal - highest[of])
    total = np.bincount(of, weights=likelihood, minlength=n)
    return np.asarray(likelihood / total[of]), highest + np.log(total / np.bincount(of, minlength=n))


def _line_table(
    population: Population, known: LifePosterior, of: Integers, shift: Floats, weight: Floats, *, spread: float
) -> pd.DataFrame:
    """Return the components as rows in the columns of ``Knowledge.lines``, those of no weight left out."""
    H = population.to_user()
    mean = known.lines.mean @ H.T
    cov = spread * np.einsum("ij,njk,lk->nil", H, known.lines.cov, H)
    shape = population.shape
    row, component = np.divmod(np.arange(known.shares.size), known.shares.shape[1])
    last = np.zeros(len(of)) if known.wander is None else known.wander.last
    from_km = (last * population.spread + population.centre) * shape.reference if known.wander is not None else last
    table = pd.DataFrame(
        {
            "series": of[row],
            "shape": shape.name,
            "shift_km": shift[row],
            "weight": (weight[:, None] * known.shares).ravel(),
            "intercept": mean[:, 0],
            "growth": mean[:, 1],
            "var_intercept": cov[:, 0, 0],
            "cov_cross": cov[:, 0, 1],
            "var_growth": cov[:, 1, 1],
            "exponent": shape.exponent,
            "reference_km": shape.reference,
            "pace": population.paces[component],
            "onset_km": population.onsets[component],
            "residual_variance": population.residual_variance,
            "wander_mm2_per_km": spread * population.wander_variance,
            "from_km": from_km[row],
        }
    )
    return table[table["weight"] > _LEAST_WEIGHT]
