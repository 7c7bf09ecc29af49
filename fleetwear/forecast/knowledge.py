"""What the fitted populations know of every series: posterior lines, growth effects, odd last readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.wear.sums import ReadingArrays, reading_arrays

if TYPE_CHECKING:
    import duckdb
    from numpy.typing import NDArray

    from fleetwear.wear import EnsembleResults, WearResults
    from fleetwear.wear.population import LifePosterior
    from fleetwear.wear.sums import Floats, Integers

_SHIFTS = 12
"""Distances tried for what a part of unknown origin had run before its vehicle's first record."""

_LEAST_WEIGHT = 1e-4
"""Components of less weight are left out."""


@dataclass(frozen=True)
class Knowledge:
    """What is known of J series.

    ``lines`` has one row a component: series, shape, shift_km, weight (sums to one a series), intercept,
    growth, var_intercept, cov_cross, var_growth, exponent, reference_km, pace, onset_km, residual_variance.
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
    """What the earlier readings foretold of the last one, mm; nan with fewer than two."""
    last_z: Floats
    """How far the last one lay from it, in standard deviations of prediction; nan likewise, and where the
    origin is unknown."""


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
    readings = _all_readings(con, n)
    visits = np.bincount(readings.life, minlength=n).astype(np.int64)
    effect, reliability = np.zeros(n), np.zeros(n)
    expected, z = np.full(n, np.nan), np.full(n, np.nan)
    group = np.full(n, "", dtype=object)
    whose = np.full(n, "", dtype=object)
    parts = []
    for name, ensemble in groups.items():
        kind, _, direction = name.partition("/")
        chosen = (series["kind"] == kind).to_numpy()
        if direction:
            chosen = chosen & (series["direction"] == direction).to_numpy()
        rows = np.flatnonzero(chosen)
        if not len(rows):
            continue
        group[rows] = name
        own = _taken(readings, rows)
        codes, cohorts = pd.factorize(series["cohort"].to_numpy()[rows])
        view = _View([str(cohort) for cohort in cohorts], codes.astype(np.int64), own)
        whose[rows] = np.array([ensemble.best.population.mean_line(c)[1] for c in view.cohorts], dtype=object)[codes]
        lines, effect[rows], reliability[rows] = _components(ensemble, view, series.iloc[rows])
        lines["series"] = rows[lines["series"]]
        parts.append(lines)
        foretold, distance = _odd_last(ensemble, view)
        sure = series["origin"].to_numpy()[rows] != "unknown"
        expected[rows], z[rows] = np.where(sure, foretold, np.nan), np.where(sure, distance, np.nan)
    return Knowledge(
        _whole(parts),
        effect, reliability, group, whose, visits, expected, z,
    )  # fmt: skip


_COLUMNS = [
    "series", "shape", "shift_km", "weight", "intercept", "growth", "var_intercept", "cov_cross", "var_growth",
    "exponent", "reference_km", "pace", "onset_km", "residual_variance",
]  # fmt: skip


@dataclass(frozen=True)
class _View:
    """The series of one group: labels of their cohorts, codes into them, and their readings."""

    cohorts: list[str]
    codes: Integers
    readings: ReadingArrays


def _whole(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Return the components of all groups, with weights that sum to one a series."""
    if not parts:
        return pd.DataFrame(columns=_COLUMNS)
    lines = pd.concat(parts, ignore_index=True)
    return lines.assign(weight=lines["weight"] / lines.groupby("series")["weight"].transform("sum"))


def _all_readings(con: duckdb.DuckDBPyConnection, n_series: int) -> ReadingArrays:
    columns = con.execute(
        "select series, distance_km, play_mm, variance_ratio from fit_input_readings order by series, distance_km"
    ).fetchnumpy()
    return reading_arrays(
        np.asarray(columns["series"], dtype=np.int64),
        columns["distance_km"],
        columns["play_mm"],
        n_lives=n_series,
        variance_ratio=columns["variance_ratio"],
    )


def _taken(readings: ReadingArrays, rows: NDArray[np.int64]) -> ReadingArrays:
    """Return the readings of some series, renumbered in the order of ``rows``."""
    place = np.full(readings.n_lives, -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    keep = place[readings.life] >= 0
    return ReadingArrays(
        place[readings.life[keep]],
        readings.distance[keep],
        readings.play[keep],
        readings.variance_ratio[keep],
        len(rows),
    )


def _components(ensemble: EnsembleResults, view: _View, series: pd.DataFrame) -> tuple[pd.DataFrame, Floats, Floats]:
    """Return the component table, and effect and reliability averaged over components, shape (J,)."""
    of, shift = _shifts(series)
    readings = _shifted(view.readings, of, shift)
    n = len(series)
    frames, effect, reliability = [], np.zeros(n), np.zeros(n)
    for name, fit in ensemble.fits.items():
        population = fit.population
        prior = population.prior(view.cohorts, view.codes[of])
        sums = population.sums_of(population.settle(readings, prior))
        known = population.know(sums, prior)
        weight = _shift_weights(known.log_density, of, n)
        a, r = population.growth_effects(sums, prior)
        effect += ensemble.weights[name] * np.bincount(of, weights=weight * a, minlength=n)
        reliability += ensemble.weights[name] * np.bincount(of, weights=weight * r, minlength=n)
        frames.append(_line_table(fit, known, of, shift, weight * ensemble.weights[name]))
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
    return ReadingArrays(
        component,
        readings.distance[source] + shift[component],
        readings.play[source],
        readings.variance_ratio[source],
        len(of),
    )


def _shift_weights(log_marginal: Floats, of: Integers, n: int) -> Floats:
    """Return the posterior weight of each shift within its series."""
    highest = np.full(n, -np.inf)
    np.maximum.at(highest, of, log_marginal)
    likelihood = np.exp(log_marginal - highest[of])
    return np.asarray(likelihood / np.bincount(of, weights=likelihood, minlength=n)[of])


def _line_table(fit: WearResults, known: LifePosterior, of: Integers, shift: Floats, weight: Floats) -> pd.DataFrame:
    """Return the components as rows in the columns of ``Knowledge.lines``, those of no weight left out."""
    H = fit.population.to_user()
    mean = known.lines.mean @ H.T
    cov = np.einsum("ij,njk,lk->nil", H, known.lines.cov, H)
    shape = fit.population.shape
    row, component = np.divmod(np.arange(known.shares.size), known.shares.shape[1])
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
            "pace": fit.population.paces[component],
            "onset_km": fit.population.onsets[component],
            "residual_variance": fit.residual_variance,
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
    mean, second = np.zeros(len(life)), np.zeros(len(life))
    for name, fit in ensemble.fits.items():
        population = fit.population
        prior = population.prior(view.cohorts, view.codes)
        past = population.know(population.sums_of(population.settle(before_last, prior)), prior)
        m, v = _moments(*past.at(population.coordinates(readings.distance[last]), life))
        v = v + population.residual_variance * readings.variance_ratio[last]
        mean += ensemble.weights[name] * m
        second += ensemble.weights[name] * (v + m * m)
    sd = np.sqrt(np.maximum(second - mean**2, 1e-12))
    has_earlier = np.bincount(before_last.life, minlength=n)[life] > 0
    expected[life] = np.where(has_earlier, mean, np.nan)
    z[life] = np.where(has_earlier, (readings.play[last] - mean) / sd, np.nan)
    return expected, z


def _moments(mean: Floats, variance: Floats, shares: Floats) -> tuple[Floats, Floats]:
    """Return mean and variance of mixtures, shape (n,), from components of shape (n, C)."""
    middle = (shares * mean).sum(axis=1)
    return middle, (shares * (variance + (mean - middle[:, None]) ** 2)).sum(axis=1)
