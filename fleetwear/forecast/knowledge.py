"""What the fitted populations know of every series: posterior lines, growth effects, odd readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.forecast.left_out import unexplained_falls
from fleetwear.forecast.posterior_lines import LINE_COLUMNS, View, components_of, whole_lines
from fleetwear.forecast.setups import SLIPPED, growth_at
from fleetwear.store import sql
from fleetwear.wear.judging import judge
from fleetwear.wear.stacking import by_evidence

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb
    from numpy.typing import NDArray

    from fleetwear.wear.judging import Judged
    from fleetwear.wear.learnt import Learnt
    from fleetwear.wear.sums import Floats, Integers

_BLOCK = 20_000
"""Series looked at together."""

_RESIDUAL_COLUMNS = [
    "series", "visit_id", "timing", "residual_mm", "sd_mm", "way", "play_mm", "p_slipped", "growth", "passed",
    "strokes", "setup_share", "squares_mm2", "stroke_degrees",
]  # fmt: skip


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
    residuals: pd.DataFrame
    """How far each measured reading of a series of known origin lay from what the others of its series say of it:
    series, visit_id, timing, residual_mm (offset of the method taken off), sd_mm (its standard deviation), and what
    setups are told from: model_group, way, play_mm (offset taken off), p_slipped, growth and passed
    (``setups.growth_at``), strokes, setup_share, squares_mm2, stroke_degrees."""
    falls: pd.DataFrame
    """Falls of play that unrecorded work would explain: series, fell_after, fell_on, fell_from_mm, fell_to_mm."""


def know_series(
    con: duckdb.DuckDBPyConnection,
    series: pd.DataFrame,
    groups: dict[str, Learnt],
    *,
    block: int = _BLOCK,
    keep: Callable[[Knowledge], None] | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> Knowledge:
    """Return what the groups' populations know of each series, its own readings taken in.

    Parameters
    ----------
    con
        A connection with ``fit_input_readings``.
    series
        One row a series, numbered from 0 in order.
    groups
        What each group has learnt, by its name.
    block
        Series looked at together; it bounds the memory, and changes nothing else.
    keep
        Takes what is known of each block; lines and residuals of the whole are then empty, since those of a large
        fleet may be more than memory holds.
    on_progress
        Called with words, series done and series in all.
    """
    parts: list[Knowledge] = []
    for first in range(0, len(series), block):
        last = min(first + block, len(series))
        part = _know_block(con, series.iloc[first:last], groups)
        if keep is not None:
            keep(part)
            # copies, since a part of a frame holds on to the whole
            part = replace(part, lines=part.lines.iloc[:0].copy(), residuals=part.residuals.iloc[:0].copy())
        parts.append(part)
        if on_progress is not None:
            on_progress("series known", last, len(series))
    return _joined(parts)


def _joined(parts: list[Knowledge]) -> Knowledge:
    """Return the knowledge of blocks of series as one."""
    if not parts:
        nothing, none = np.zeros(0), np.zeros(0, dtype=object)
        empty = pd.DataFrame(columns=["series"])
        return Knowledge(
            pd.DataFrame(columns=LINE_COLUMNS), nothing, nothing, none, none, nothing.astype(np.int64), nothing,
            nothing, empty, empty, empty,
        )  # fmt: skip

    def arrays(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(part, name) for part in parts])

    def frames(name: str) -> pd.DataFrame:
        return _stacked([getattr(part, name) for part in parts])

    return Knowledge(
        frames("lines"),
        arrays("effect"), arrays("reliability"), arrays("group"), arrays("whose_line"), arrays("n_visits"),
        arrays("last_expected_mm"), arrays("last_z"), frames("slips"), frames("residuals"), frames("falls"),
    )  # fmt: skip


def _stacked(frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Return frames one below the other; an empty one among others tells no types."""
    filled = [frame for frame in frames if len(frame)]
    return pd.concat(filled, ignore_index=True) if filled else frames[0]


def _know_block(con: duckdb.DuckDBPyConnection, series: pd.DataFrame, groups: dict[str, Learnt]) -> Knowledge:
    """Return what is known of some series that are numbered one after the other, as in ``series``."""
    n, begin = len(series), int(series["series"].iloc[0])
    asked = {"first": begin, "last": begin + n - 1}
    taken = con.execute(sql("fit/readings_of_series"), asked).df()
    taken["series"] -= begin
    visits = np.bincount(taken["series"], minlength=n).astype(np.int64)
    effect, reliability = np.zeros(n), np.zeros(n)
    expected, z = np.full(n, np.nan), np.full(n, np.nan)
    group = np.full(n, "", dtype=object)
    whose = np.full(n, "", dtype=object)
    parts, slips, residuals, falls = [], [], [], []
    for name, learnt in groups.items():
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
        view = View.of(table, rows, [str(cohort) for cohort in cohorts], codes.astype(np.int64), learnt)
        whose[rows] = np.array([learnt.best.mean_line(c)[1] for c in view.cohorts], dtype=object)[codes]
        lines, effect[rows], reliability[rows] = components_of(learnt, view, series.iloc[rows])
        lines["series"] = rows[lines["series"]]
        parts.append(lines)
        foretold, distance = _odd_last(learnt, view)
        sure = series["origin"].to_numpy()[rows] != "unknown"
        expected[rows], z[rows] = np.where(sure, foretold, np.nan), np.where(sure, distance, np.nan)
        judged = _judged(learnt, view)
        if judged is not None:
            slips.append(_slipped(judged, view, table, sure))
            residuals.append(_residuals(learnt, judged, view, table, sure).assign(model_group=name))
        falls.append(_fallen(learnt, view, table, sure))
    lines = whole_lines(parts)
    for frame in (lines, *slips, *residuals, *falls):
        frame["series"] = frame["series"] + begin
    return Knowledge(
        lines, effect, reliability, group, whose, visits, expected, z,
        pd.concat(slips, ignore_index=True) if slips else pd.DataFrame(columns=["series"]),
        _stacked(residuals) if residuals else pd.DataFrame(columns=["series"]),
        pd.concat(falls, ignore_index=True) if falls else pd.DataFrame(columns=["series"]),
    )  # fmt: skip


def _odd_last(learnt: Learnt, view: View) -> tuple[Floats, Floats]:
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
    for population in learnt.populations.values():
        prior = population.prior(view.cohorts, view.codes)
        past = population.know(population.sums_of(population.settle(before_last, prior)), prior)
        m, v = _moments(*past.at(population.coordinates(own.distance), life))
        assert population.errors is not None
        of = population.errors.methods.of(own)
        m, v = m + of.offset, learnt.spread * v + population.residual_variance * own.variance_ratio * of.ratio
        means.append(m)
        seconds.append(v + m * m)
        evidence.append(past.log_density[life])
    weights = learnt.weights_of(view.cohorts)[view.codes][life]
    weights = by_evidence(weights, np.stack(evidence, axis=1), learnt.evidence)
    mean, second = (weights * np.stack(means, axis=1)).sum(axis=1), (weights * np.stack(seconds, axis=1)).sum(axis=1)
    sd = np.sqrt(np.maximum(second - mean**2, 1e-12))
    told = np.bincount(before_last.life, minlength=n)[life] > 0
    told &= True if own.seen is None else own.seen == 0
    expected[life] = np.where(told, mean, np.nan)
    z[life] = np.where(told, (own.play - mean) / sd, np.nan)
    return expected, z


def _judged(learnt: Learnt, view: View) -> Judged | None:
    """Return the readings of the view judged by the others of their series; None without any."""
    population = learnt.best
    if population.errors is None or not len(view.readings.life):
        return None
    return judge(population, population.errors, view.readings, population.prior(view.cohorts, view.codes))


def _slipped(judged: Judged, view: View, table: pd.DataFrame, sure: NDArray[np.bool_]) -> pd.DataFrame:
    """Return the readings of series of known origin that do not fit the rest of their history."""
    named = (judged.slipped > SLIPPED) & sure[view.readings.life]
    said = table.assign(expected_mm=view.readings.play - judged.gap, p_slipped=judged.slipped)
    return said.loc[named, ["series", "visit_id", "timing", "play_mm", "expected_mm", "p_slipped"]]


def _residuals(
    learnt: Learnt, judged: Judged, view: View, table: pd.DataFrame, sure: NDArray[np.bool_]
) -> pd.DataFrame:
    """Return how far measured readings of series of known origin lie from what the others say, where others are."""
    population, readings = learnt.best, view.readings
    assert population.errors is not None
    of = population.errors.methods.of(readings)
    ratio = readings.variance_ratio * of.ratio
    variance = learnt.spread * judged.spread + population.residual_variance * ratio
    others = np.bincount(readings.life, minlength=readings.n_lives)[readings.life] > 1
    measured = np.ones(len(others), dtype=bool) if readings.seen is None else readings.seen == 0
    prior = population.prior(view.cohorts, view.codes)
    shares = population.know(population.sums_of(judged.settled), prior).shares
    growth, passed = growth_at(population, readings, shares)
    said = table.assign(
        residual_mm=judged.gap, sd_mm=np.sqrt(variance), p_slipped=judged.slipped, growth=growth, passed=passed,
        play_mm=readings.play - of.offset, squares_mm2=table["squares"], stroke_degrees=table["degrees"],
    )  # fmt: skip
    return said.loc[measured & others & sure[readings.life], _RESIDUAL_COLUMNS]


def _fallen(learnt: Learnt, view: View, table: pd.DataFrame, sure: NDArray[np.bool_]) -> pd.DataFrame:
    """Return falls of play in series of known origin that unrecorded work would explain."""
    falls = unexplained_falls(learnt.best, view.cohorts, view.codes, view.readings)
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
