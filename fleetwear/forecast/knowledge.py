"""What the fitted populations know of every series: posterior lines, growth effects, odd readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.forecast.group_readings import arrays_of
from fleetwear.forecast.left_out import unexplained_falls
from fleetwear.store import sql
from fleetwear.wear.judging import judge
from fleetwear.wear.stacking import by_evidence

if TYPE_CHECKING:
    import duckdb
    from numpy.typing import NDArray

    from fleetwear.wear import EnsembleResults, WearResults
    from fleetwear.wear.population import LifePosterior
    from fleetwear.wear.sums import Floats, Integers, ReadingArrays

_SHIFTS = 12
"""Distances tried for what a part of unknown origin had run before its vehicle's first record."""

_LEAST_WEIGHT = 1e-4
"""Components of less weight are left out."""

SLIPPED = 0.5
"""Probability above which a reading is named as one that does not fit its joint's history."""


@dataclass(frozen=True)
class Knowledge:
    """What is known of J series.

    ``lines`` has one row a component: series, shape, shift_km, weight (sums to one a series), intercept,
    growth, var_intercept, cov_cross, var_growth, exponent, reference_km, pace, onset_km, residual_variance,
    wander_mm2_per_km, from_km.
    """

    lines: pd.DataFrame
    effect: Floats
    """Standardised growth effect, shape (J,); 0 without a model."""
    reliability: Floats
    """Its reliability, shape (J,)."""
    group: NDArray[np.object_]
    """The group that each series was fitted in, "" without a model."""
    whose_line: NDArray[np.object_]
    """The cohort or parent whose mean line stands behind each series."""
    n_visits: Integers
    """Readings that the model took, shape (J,)."""
    last_expected_mm: Floats
    """What the earlier readings foretold of the last one, mm; nan with fewer than two, or if it is no number."""
    last_z: Floats
    """How far the last one lay from it, in standard deviations of prediction; nan likewise, and where the
    origin is unknown."""
    slips: pd.DataFrame
    """Readings that do not fit their joint's history: series, visit_id, timing, play_mm, expected_mm, p_slipped."""
    falls: pd.DataFrame
    """Falls of play that unrecorded work would explain: series, fell_after, fell_on, fell_from_mm, fell_to_mm."""


def know_series(con: duckdb.DuckDBPyConnection, series: pd.DataFrame, groups: dict[str, EnsembleResults]) -> Knowledge:
    """Return what the groups' populations know of each series, its own readings taken in.

    Parameters
    ----------
    con
        A connection with ``fit_input_readings``.
    series
        One row a series, numbered from 0 in order.
    groups
        Fits by group name.
    """
    n = len(series)
    taken = con.execute(sql("fit/all_readings")).df()
    visits = np.bincount(taken["series"], minlength=n).astype(np.int64)
    effect, reliability = np.zeros(n), np.zeros(n)
    expected, z = np.full(n, np.nan), np.full(n, np.nan)
    group = np.full(n, "", dtype=object)
    whose = np.full(n, "", dtype=object)
    parts, slips, falls = [], [], []
    for name, ensemble in groups.items():
        kind, _, direction = name.partition("/")
        chosen = (series["kind"] == kind).to_numpy()
        if direction:
            chosen = chosen & (series["direction"] == direction).to_numpy()
        rows = np.flatnonzero(chosen)
        if not len(rows):
            continue
        group[rows] = name
        codes, cohorts = pd.factorize(series["cohort"].to_numpy()[rows])
        table = taken[np.isin(taken["series"], rows)].reset_index(drop=True)
        view = _View.of(table, rows, [str(cohort) for cohort in cohorts], codes.astype(np.int64), ensemble)
        whose[rows] = np.array([ensemble.best.population.mean_line(c)[1] for c in view.cohorts], dtype=object)[codes]
        lines, effect[rows], reliability[rows] = _components(ensemble, view, series.iloc[rows])
        lines["series"] = rows[lines["series"]]
        parts.append(lines)
        foretold, distance = _odd_last(ensemble, view)
        sure = series["origin"].to_numpy()[rows] != "unknown"
        expected[rows], z[rows] = np.where(sure, foretold, np.nan), np.where(sure, distance, np.nan)
        slips.append(_slipped(ensemble, view, table, sure))
        falls.append(_fallen(ensemble, view, table, sure))
    return Knowledge(
        _whole(parts), effect, reliability, group, whose, visits, expected, z,
        pd.concat(slips, ignore_index=True) if slips else pd.DataFrame(columns=["series"]),
        pd.concat(falls, ignore_index=True) if falls else pd.DataFrame(columns=["series"]),
    )  # fmt: skip


_COLUMNS = [
    "series", "shape", "shift_km", "weight", "intercept", "growth", "var_intercept", "cov_cross", "var_growth",
    "exponent", "reference_km", "pace", "onset_km", "residual_variance", "wander_mm2_per_km", "from_km",
]  # fmt: skip


@dataclass(frozen=True)
class _View:
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
        ensemble: EnsembleResults,
    ) -> _View:
        """Return the view of readings (rows of ``fit/all_readings``) of series, renumbered in the order of ``rows``."""
        errors = ensemble.best.population.errors
        assert errors is not None
        life = np.searchsorted(rows, table["series"].to_numpy()).astype(np.int64)
        columns = {str(name): table[name].to_numpy() for name in table.columns}
        return cls(cohorts, codes, arrays_of(columns, life, len(rows), errors.methods.names))


def _whole(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Return the components of all groups, with weights that sum to one a series."""
    if not parts:
        return pd.DataFrame(columns=_COLUMNS)
    lines = pd.concat(parts, ignore_index=True)
    return lines.assign(weight=lines["weight"] / lines.groupby("series")["weight"].transform("sum"))


def _components(ensemble: EnsembleResults, view: _View, series: pd.DataFrame) -> tuple[pd.DataFrame, Floats, Floats]:
    """Return the component table, and effect and reliability averaged over components, shape (J,)."""
    of, shift = _shifts(series)
    readings = _shifted(view.readings, of, shift)
    n = len(series)
    frames, effect, reliability = [], np.zeros(n), np.zeros(n)
    weights = ensemble.weights_of(view.cohorts)[view.codes]
    parts, evidence = [], np.zeros(weights.shape)
    for k, fit in enumerate(ensemble.fits.values()):
        population = fit.population
        prior = population.prior(view.cohorts, view.codes[of])
        sums = population.sums_of(population.settle(readings, prior))
        known = population.know(sums, prior)
        of_shift, evidence[:, k] = _shift_weights(known.log_density, of, n)
        parts.append((fit, known, of_shift, population.growth_effects(sums, prior)))
    weights = by_evidence(weights, evidence, ensemble.evidence)
    for own, (fit, known, of_shift, (a, r)) in zip(weights.T, parts, strict=True):
        effect += own * np.bincount(of, weights=of_shift * a, minlength=n)
        reliability += own * np.bincount(of, weights=of_shift * r, minlength=n)
        frames.append(_line_table(fit, known, of, shift, of_shift * own[of], spread=ensemble.spread))
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
    fit: WearResults, known: LifePosterior, of: Integers, shift: Floats, weight: Floats, *, spread: float
) -> pd.DataFrame:
    """Return the components as rows in the columns of ``Knowledge.lines``, those of no weight left out."""
    H = fit.population.to_user()
    mean = known.lines.mean @ H.T
    cov = spread * np.einsum("ij,njk,lk->nil", H, known.lines.cov, H)
    shape = fit.population.shape
    row, component = np.divmod(np.arange(known.shares.size), known.shares.shape[1])
    last = np.zeros(len(of)) if known.wander is None else known.wander.last
    population = fit.population
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
            "residual_variance": fit.residual_variance,
            "wander_mm2_per_km": spread * population.wander_variance,
            "from_km": from_km[row],
        }
    )
    return table[table["weight"] > _LEAST_WEIGHT]


def _odd_last(ensemble: EnsembleResults, view: _View) -> tuple[Floats, Floats]:
    """Return what the earlier readings of each series foretold of its last, and its standardised distance."""
    readings = view.readings
    n = readings.n_lives
    expected, z = np.full(n, np.nan), np.full(n, np.nan)
    if not len(readings.life):
        return expected, z
    last = np.ones(len(readings.life), dtype=bool)
    last[:-1] = readings.life[1:] != readings.life[:-1]
    life = readings.life[last]
    before_last = readings.chosen(~last)
    own = readings.chosen(last)
    means, seconds, evidence = [], [], []
    for fit in ensemble.fits.values():
        population = fit.population
        prior = population.prior(view.cohorts, view.codes)
        past = population.know(population.sums_of(population.settle(before_last, prior)), prior)
        m, v = _moments(*past.at(population.coordinates(own.distance), life))
        assert population.errors is not None
        of = population.errors.methods.of(own)
        m, v = m + of.offset, ensemble.spread * v + population.residual_variance * own.variance_ratio * of.ratio
        means.append(m)
        seconds.append(v + m * m)
        evidence.append(past.log_density[life])
    weights = ensemble.weights_of(view.cohorts)[view.codes][life]
    weights = by_evidence(weights, np.stack(evidence, axis=1), ensemble.evidence)
    mean, second = (weights * np.stack(means, axis=1)).sum(axis=1), (weights * np.stack(seconds, axis=1)).sum(axis=1)
    sd = np.sqrt(np.maximum(second - mean**2, 1e-12))
    told = np.bincount(before_last.life, minlength=n)[life] > 0
    told &= True if own.seen is None else own.seen == 0
    expected[life] = np.where(told, mean, np.nan)
    z[life] = np.where(told, (own.play - mean) / sd, np.nan)
    return expected, z


def _slipped(ensemble: EnsembleResults, view: _View, table: pd.DataFrame, sure: NDArray[np.bool_]) -> pd.DataFrame:
    """Return the readings of series of known origin that do not fit the rest of their history."""
    population = ensemble.best.population
    columns = ["series", "visit_id", "timing", "play_mm"]
    if population.errors is None or population.errors.slips is None or not len(table):
        return pd.DataFrame(columns=[*columns, "expected_mm", "p_slipped"])
    prior = population.prior(view.cohorts, view.codes)
    judged = judge(population, population.errors, view.readings, prior)
    expected = view.readings.play - judged.gap
    named = (judged.slipped > SLIPPED) & sure[view.readings.life]
    return table.assign(expected_mm=expected, p_slipped=judged.slipped).loc[
        named, [*columns, "expected_mm", "p_slipped"]
    ]


def _fallen(ensemble: EnsembleResults, view: _View, table: pd.DataFrame, sure: NDArray[np.bool_]) -> pd.DataFrame:
    """Return falls of play in series of known origin that unrecorded work would explain."""
    falls = unexplained_falls(ensemble.best.population, view.cohorts, view.codes, view.readings)
    kept = sure[falls.life]
    before, after = table.iloc[falls.before[kept]], table.iloc[falls.after[kept]]
    return pd.DataFrame(
        {
            "series": after["series"].to_numpy(),
            "fell_after": before["visit_date"].to_numpy(),
            "fell_on": after["visit_date"].to_numpy(),
            "fell_from_mm": before["play_mm"].to_numpy(),
            "fell_to_mm": after["play_mm"].to_numpy(),
        }
    )


def _moments(mean: Floats, variance: Floats, shares: Floats) -> tuple[Floats, Floats]:
    """Return mean and variance of mixtures, shape (n,), from components of shape (n, C)."""
    middle = (shares * mean).sum(axis=1)
    return middle, (shares * (variance + (mean - middle[:, None]) ** 2)).sum(axis=1)
