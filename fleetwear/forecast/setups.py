"""How well one visit's reading is known: setup and repeatability by method, shop and technician, from repeat visits.

A life's play is taken as a line of its own on the growth curve of the fitted shape; what its readings scatter about
that line, beyond what strokes of one setup do, is the setup (`measurement.setups`). Readings that probably slipped stay
out. The fit then counts each reading with the variance of its method and strokes, and with that of its shop or
technician where Akaike's criterion carries the split.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.measurement.repeats import repeats_of
from fleetwear.measurement.setups import Repeatability, Setups, estimate_setups, repeatability_of
from fleetwear.wear.fitting import fit_each
from fleetwear.wear.judging import judge

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fleetwear.measurement.repeats import Floats, Integers, Repeats
    from fleetwear.wear.population import Population
    from fleetwear.wear.results import WearResults
    from fleetwear.wear.sums import ReadingArrays

    Flags = NDArray[np.bool_]
    Texts = NDArray[np.object_]

SHAPES = ("straight", "power", "two-stage")
"""Shapes that are tried for the lives' lines before the fit; the one about which readings scatter least is taken. Their
order is that of the fit itself: a mixture begun from straight lines may run away where few lives were read."""
SLIPPED = 0.5
"""Probability of having slipped above which a reading stays out."""
GROUPINGS = ("method", "shop", "technician")
"""What setup may differ by; shop and technician within a method."""
VISIT_COLUMNS = ["life", "growth", "passed", "play_mm", "strokes", "setup_share", "squares", "degrees", "way", "shop",
                 "technician"]  # fmt: skip
_TURNS = 2
"""Times that readings are judged anew with what was found: a careful shop's slips show only beside its own scatter."""
_REACH = 3.0
"""Of the largest play read, what a mean line at the mean distance may come to."""
_FACTORS = (0.05, 20.0)
_NOBODY = ""


def lines_of(fit: WearResults, raw: ReadingArrays) -> pd.DataFrame:
    """Return what a fit says of its lives' readings: growth, passed, play_mm (offset of the method taken off), kept.

    Parameters
    ----------
    fit
        One shape, fitted to these lives.
    raw
        Their readings as they were taken.

    Returns
    -------
    DataFrame of n rows: growth and passed as in `growth_at`; kept whether it was measured and did not slip.
    """
    population = fit.population
    assert population.errors is not None
    prior = population.prior(fit.cohort_labels, fit.cohort_codes)
    judged = judge(population, population.errors, raw, prior)
    shares = population.know(population.sums_of(judged.settled), prior).shares
    growth, passed = growth_at(population, raw, shares)
    return pd.DataFrame(
        {
            "growth": growth,
            "passed": passed,
            "play_mm": raw.play - population.errors.methods.of(raw).offset,
            "kept": _measured(raw) & (judged.slipped <= SLIPPED) & np.isfinite(growth + passed),
        }
    )


def growth_at(population: Population, readings: ReadingArrays, shares: Floats) -> tuple[Floats, Floats]:
    """Return the growth curve of each life at each reading, of order one, and whether its onset has passed (n,) both.

    Both are averaged over the components of the life by their probabilities, shares (J, C); an onset that the shape
    does not have has never passed.
    """
    of_reading = shares[readings.life]
    growth = (of_reading * population.coordinates(readings.distance)).sum(axis=1)
    if shares.shape[1] == 1:
        return growth, np.zeros(len(growth))
    return growth, (of_reading * (readings.distance[:, None] > population.onsets[None, :])).sum(axis=1)


def _measured(readings: ReadingArrays) -> Flags:
    return np.ones(len(readings.life), dtype=bool) if readings.seen is None else readings.seen == 0


@dataclass(frozen=True)
class Findings:
    """What repeat visits say, by method, by shop and by technician.

    Attributes
    ----------
    tables
        By grouping: one row a way of reading and name (empty by method): way, name, readings, enough, degrees, setup_mm
        with lower_mm and upper_mm (standard deviations), counts_as_mm, repeatability_mm (nan where it is not known),
        stroke_degrees.
    akaike
        Akaike's criterion of each grouping less that by method; below nought where the data carry the split.
    scatter
        Mean square of readings about their lives' lines, by method.
    level
        The level of intervals.
    """

    tables: Mapping[str, pd.DataFrame]
    akaike: Mapping[str, float]
    scatter: float
    level: float

    @property
    def carried(self) -> str:
        """The grouping of least Akaike's criterion: what readings count by."""
        return min(self.akaike, key=lambda name: self.akaike[name]) if self.akaike else GROUPINGS[0]


def find_setups(
    visits: pd.DataFrame,
    *,
    known: Mapping[str, float] | None = None,
    level: float = 0.95,
    groupings: tuple[str, ...] = GROUPINGS,
) -> Findings:
    """Return what repeat visits say of setup and repeatability.

    Parameters
    ----------
    visits
        One row a reading that counts: the columns VISIT_COLUMNS; squares and degrees are of its strokes about the means
        of their setups. Shop and technician may be empty.
    known
        Repeatability of ways of reading as a standard deviation in mm, or of "way: name" of a group, from a study; it
        takes the place of what strokes say.
    level
        The level of intervals.
    groupings
        Which of GROUPINGS; "method" always.
    """
    ways = sorted(visits["way"].unique())
    way = pd.Index(ways).get_indexer(pd.Index(visits["way"])).astype(np.int64)
    repeats, kept = repeats_of(
        visits["life"].to_numpy(dtype=np.int64),
        np.column_stack([np.ones(len(visits)), visits["growth"].to_numpy(float), visits["passed"].to_numpy(float)]),
        visits["play_mm"].to_numpy(float),
        strokes=visits["strokes"].to_numpy(float),
        setup_share=visits["setup_share"].to_numpy(float),
    )
    squares, degrees = visits["squares"].to_numpy(float), visits["degrees"].to_numpy(float)
    given = known or {}
    whole_strokes = _given(_strokes(squares, degrees, way, len(ways), None), ways, given)
    whole = estimate_setups(repeats.grouped(way[kept]), whole_strokes, level=level)
    tables = {GROUPINGS[0]: _table(ways, [_NOBODY] * len(ways), whole)}
    akaike = {GROUPINGS[0]: 0.0}
    for by in groupings:
        if by == GROUPINGS[0]:
            continue
        names = visits[by].fillna(_NOBODY).astype(str).to_numpy(dtype=object)
        cells, code = _cells(way, names)
        parent = np.array([cell[0] for cell in cells], dtype=np.int64)
        labels = [f"{ways[one]}: {name}" for one, name in cells]
        strokes = _strokes(squares, degrees, code, len(cells), parent)
        strokes = _given(_given(strokes, [ways[one] for one in parent], given), labels, given)
        found = estimate_setups(repeats.grouped(code[kept]), strokes, whole=whole, parent=parent, level=level)
        tables[by] = _table([ways[one] for one in parent], [name for _, name in cells], found)
        akaike[by] = found.akaike - whole.akaike
    return Findings(tables, akaike, _mean_square(repeats), level)


def _cells(way: Integers, names: Texts) -> tuple[list[tuple[int, str]], Integers]:
    cells = sorted(set(zip(way.tolist(), names.tolist(), strict=True)))
    place = {cell: at for at, cell in enumerate(cells)}
    code = np.array([place[cell] for cell in zip(way.tolist(), names.tolist(), strict=True)], dtype=np.int64)
    return cells, code


def _strokes(squares: Floats, degrees: Floats, code: Integers, n: int, parent: Integers | None) -> Repeatability:
    total = (np.bincount(code, weights=values, minlength=n).astype(np.float64) for values in (squares, degrees))
    return repeatability_of(*total, parent=parent)


def _given(strokes: Repeatability, labels: list[str], known: Mapping[str, float]) -> Repeatability:
    """Return repeatability with what is known in its place."""
    variance, degrees = strokes.variance.copy(), strokes.degrees.copy()
    for at, label in enumerate(labels):
        if label in known:
            variance[at], degrees[at] = known[label] ** 2, np.inf
    return Repeatability(variance, degrees)


def _mean_square(repeats: Repeats) -> float:
    whole = np.zeros(len(repeats.play), dtype=np.int64)
    nothing = Repeatability(np.zeros(1), np.zeros(1))
    found = estimate_setups(repeats.grouped(whole), nothing)
    return float(found.setup[0])


def _table(ways: list[str], names: list[str], found: Setups) -> pd.DataFrame:
    strokes = found.repeatability
    return pd.DataFrame(
        {
            "way": ways,
            "name": names,
            "readings": found.readings,
            "enough": found.enough,
            "degrees": found.degrees,
            "setup_mm": np.sqrt(found.setup),
            "lower_mm": np.sqrt(found.lower),
            "upper_mm": np.sqrt(found.upper),
            "counts_as_mm": np.sqrt(found.counts_as),
            "repeatability_mm": np.where(strokes.known, np.sqrt(strokes.variance), np.nan),
            "stroke_degrees": strokes.degrees,
        }
    )


def variance_factors(
    findings: Findings, way: pd.Series[str], name: pd.Series[str], strokes: Floats, setup_share: Floats
) -> Floats:
    """Return the variance of readings over that of one stroke of their way of reading, as the data carry it (n,).

    Parameters
    ----------
    findings
        What repeat visits say.
    way, name
        How each reading was taken, and its shop or technician, whichever `Findings.carried` says (n,).
    strokes, setup_share
        As in `measurement.repeats.Repeats` (n,).
    """
    by = findings.carried
    of_way = findings.tables[GROUPINGS[0]].set_index("way")[["counts_as_mm", "repeatability_mm"]].fillna(
        {"repeatability_mm": 0.0}) ** 2  # fmt: skip
    base = of_way.reindex(way).to_numpy(float)
    own = base
    if by != GROUPINGS[0]:
        table = findings.tables[by].set_index(["way", "name"])[["counts_as_mm", "repeatability_mm"]]
        keys = pd.MultiIndex.from_arrays([way, name.fillna(_NOBODY).astype(str)])
        found = table.fillna({"repeatability_mm": 0.0}).reindex(keys).to_numpy(float) ** 2
        own = np.where(np.isfinite(found).all(axis=1)[:, None], found, base)
    one = base.sum(axis=1)
    told = np.isfinite(one) & (one > 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        factor = (own[:, 0] * setup_share + own[:, 1] / strokes) / one
    return np.where(told, np.clip(np.where(told, factor, 1.0), *_FACTORS), _at_least(findings, way, strokes))


def _at_least(findings: Findings, way: pd.Series[str], strokes: Floats) -> Floats:
    """Return the variance of readings whose way was too seldom read again, over that of the most frequent way (n,).

    Repeatability from a study bounds it from below; without one it is 1, what the fit learns by itself apart.
    """
    table = findings.tables[GROUPINGS[0]]
    sure = table[table["enough"]]
    if sure.empty:
        return np.ones(len(strokes))
    usual = sure.iloc[int(sure["readings"].argmax())]
    one = float(usual["counts_as_mm"]) ** 2 + float(np.nan_to_num(usual["repeatability_mm"])) ** 2
    by_way = table.set_index("way")
    study = by_way["repeatability_mm"].where(np.isinf(by_way["stroke_degrees"]))
    least = np.nan_to_num(study.reindex(way).to_numpy(float)) ** 2 / strokes
    return np.asarray(np.clip(least / one, 1.0, _FACTORS[1]), dtype=np.float64)


def learn_setups(
    raw: ReadingArrays,
    lives: pd.Index,
    cohorts: list[str],
    cohort_codes: Integers,
    sources: pd.DataFrame,
    *,
    methods: list[str] | None = None,
    reference_method: str | None = None,
    detection: tuple[float, float] | None = None,
    known: Mapping[str, float] | None = None,
) -> Findings:
    """Return what the repeat visits of lives say of setup, before the shapes of their wear are weighed.

    Each of `SHAPES` is fitted, and the one about whose lines readings scatter least is taken.

    Parameters
    ----------
    raw, lives, cohorts, cohort_codes, methods, reference_method, detection
        As in `wear.fitting.fit_readings`.
    sources
        One row a reading, in the same order: way, shop, technician, strokes, setup_share, squares, degrees.
    known
        As in `find_setups`.

    Raises
    ------
    FitError
        If a shape cannot be fitted.
    """

    def found_with(shapes: tuple[str, ...], readings: ReadingArrays) -> dict[str, Findings]:
        fits = fit_each(
            readings, lives, cohorts, cohort_codes, shapes=shapes, methods=methods,
            reference_method=reference_method, detection=detection,
        )  # fmt: skip
        seen = {
            shape: sources.assign(life=readings.life, **lines_of(fit, readings))
            for shape, fit in fits.items()
            if shape == SHAPES[0] or _within_reach(fit, readings)
        }
        return {shape: find_setups(visits[visits["kept"]], known=known) for shape, visits in seen.items()}

    tried = found_with(SHAPES, raw)
    best = min(tried, key=lambda name: tried[name].scatter)
    found = tried[best]
    for _ in range(_TURNS):
        if found.carried == GROUPINGS[0]:
            break
        ratio = raw.variance_ratio * factors_of(found, sources)
        again = found_with(SHAPES[: SHAPES.index(best) + 1], replace(raw, variance_ratio=ratio))
        found = again.get(best, again[SHAPES[0]])
    return found


def _within_reach(fit: WearResults, readings: ReadingArrays) -> bool:
    """Return whether the mean lines of a fit lie among what was read; a mixture of few lives may run away."""
    prior = fit.population.prior(fit.cohort_labels, fit.cohort_codes)
    return bool((np.abs(prior.mean[:, 0]) <= _REACH * np.abs(readings.play).max()).all())


def factors_of(findings: Findings, sources: pd.DataFrame) -> Floats:
    """Return the variance of each row of ``sources`` over that of one stroke of its way, as the data carry it (n,)."""
    by = findings.carried
    name = sources["shop" if by == GROUPINGS[0] else by]
    return variance_factors(
        findings, sources["way"], name, sources["strokes"].to_numpy(float), sources["setup_share"].to_numpy(float)
    )
