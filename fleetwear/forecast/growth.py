"""Fitting the fleet: one mixed model a kind of joint, and what it knows of every series.

Lives of one kind share the covariance of their lines and the residual variance, whatever their load
direction, model and duty, unless the evidence carries a split by load direction: then the restricted
likelihoods of the parts, four covariance parameters each, beat that of the whole by Akaike's criterion.
Mean lines are the cohort's own (kind / direction / model / duty), shrunk toward its parents'.
Before that, repeat visits tell how surely readings of each shop or technician are known (see ``setups``).
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import DoubtfulFitWarning, FitError, InputError
from fleetwear.forecast.group_readings import GroupReadings
from fleetwear.forecast.knowledge import Knowledge, know_series
from fleetwear.forecast.settings import Settings
from fleetwear.forecast.setups import Findings, factors_of, learn_setups
from fleetwear.store import sql
from fleetwear.vocabulary import Kind
from fleetwear.wear import EnsembleResults, fit_readings
from fleetwear.wear.problem import sampled_lives
from fleetwear.wear.shared import Sharing, estimate_sharing
from fleetwear.wear.stacking import FOLDS

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

    from fleetwear.forecast.taken_over import FitBase
    from fleetwear.wear import WearResults
    from fleetwear.wear.learnt import Learnt

_COVARIANCE_PARAMETERS = 4
_LIVES_TO_SPLIT = 20
"""Lives that each load direction needs before a covariance of its own is considered."""


@dataclass(frozen=True)
class FleetFit:
    """The fits of a fleet, and what they know of each series."""

    groups: dict[str, EnsembleResults]
    """By group: a kind, or "kind/direction" where the direction has a covariance of its own. Empty in a fit that goes
    by the populations of an earlier one."""
    learnt: dict[str, Learnt]
    """What each group has learnt."""
    knowledge: Knowledge
    sharing: Sharing
    unfitted: dict[str, str]
    """Kinds without a model, and why."""
    setups: dict[str, Findings] = field(default_factory=dict)
    """What repeat visits say of setup, by kind; what readings count by."""


def prepare_series(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Make the input tables of the fit on ``con`` (after ``store.known.prepare``); return the series.

    One row a series, in order: series, vehicle_id, position_id, life_no, direction, kind, cohort, origin,
    is_current, earlier_km_at_most (an upper bound of what a part of unknown origin had run before).
    """
    wanted = pd.DataFrame(
        [(str(kind), str(direction)) for kind in Kind for direction in kind.test_directions],
        columns=["kind", "direction"],
    )
    con.register("wanted_directions", wanted)
    con.execute(sql("fit/series")).fetchall()
    con.execute(sql("fit/readings")).fetchall()
    con.unregister("wanted_directions")
    return con.execute("select * from fit_input_series order by series").df()


def fit_fleet(
    con: duckdb.DuckDBPyConnection,
    series: pd.DataFrame,
    settings: Settings | None = None,
    *,
    keep: Callable[[Knowledge], None] | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> FleetFit:
    """Return the fits of all kinds in ``series``, from the tables that :func:`prepare_series` made.

    ``keep`` takes what is known block by block, lines and residuals with it, which ``knowledge`` then lacks; the fits
    lack their lives.
    ``on_progress`` is called with a kind or other words, how many are done and how many there are.

    Raises
    ------
    InputError
        If a repeatability is given of a way in which nothing was read.
    """
    chosen = settings or Settings()
    _check_known(con, chosen)
    groups: dict[str, EnsembleResults] = {}
    unfitted: dict[str, str] = {}
    setups: dict[str, Findings] = {}
    kinds = sorted(series["kind"].unique())
    for done, kind in enumerate(kinds):
        if on_progress is not None:
            on_progress(kind, done, len(kinds))
        directions = sorted(series.loc[series["kind"] == kind, "direction"].unique())
        try:
            found = count_by_setups(con, kind, chosen)
            if found is not None:
                setups[kind] = found
            for name, direction in _parts(con, kind, directions, chosen):
                fitted = _fit(GroupReadings.of(con, kind=kind, direction=direction), chosen)
                groups[name] = fitted if keep is None else fitted.without_lives()
        except FitError as error:
            unfitted[kind] = error.what
    if on_progress is not None:
        on_progress("", len(kinds), len(kinds))
    learnt = {name: one.learnt for name, one in groups.items()}
    knowledge = know_series(con, series, learnt, keep=keep, on_progress=on_progress)
    joint = pd.factorize(pd.MultiIndex.from_frame(series[["vehicle_id", "position_id"]]))[0]
    current = series["is_current"].to_numpy(dtype=bool)
    sharing = estimate_sharing(
        knowledge.effect[current],
        knowledge.reliability[current],
        pd.factorize(series["vehicle_id"])[0][current].astype(np.int64),
        joint[current].astype(np.int64),
    )
    return FleetFit(groups, learnt, knowledge, sharing, unfitted, setups)


def know_anew(
    con: duckdb.DuckDBPyConnection,
    series: pd.DataFrame,
    base: FitBase,
    *,
    keep: Callable[[Knowledge], None] | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> FleetFit:
    """Return what the populations of an earlier fit know of ``series``; parameters as in :func:`fit_fleet`."""
    for kind, found in base.setups.items():
        _count_by(con, kind, found)
    knowledge = know_series(con, series, base.groups, keep=keep, on_progress=on_progress)
    return FleetFit({}, base.groups, knowledge, base.sharing, base.unfitted, base.setups)


def _check_known(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    if not settings.repeatability_mm:
        return
    names = [str(row[0]) for row in con.execute(sql("fit/ways")).fetchall()]
    for way, _ in settings.repeatability_mm:
        if way not in names:
            ways = "; ".join(name for name in names if ": " not in name)
            raise InputError(
                f"nothing was read as {way!r}, of which a repeatability is given",
                mend=f'Choose one of: {ways}; with ": " and a shop or technician behind it if it is theirs.',
            )


def count_by_setups(con: duckdb.DuckDBPyConnection, kind: str, settings: Settings) -> Findings | None:
    """Return what repeat visits of a kind say of setup, and have its readings count so; None where nothing differs.

    Of many lives a sample tells it.
    """
    readings = GroupReadings.of(con, kind=kind)
    sources, known = readings.sources, dict(settings.repeatability_mm)
    alike = (sources["strokes"] == 1.0).all() and sources[["shop", "technician"]].nunique().max() <= 1
    if readings.n_lives == 0 or (alike and not known):
        return None
    codes, cohorts = pd.factorize(readings.lives["cohort"])
    codes = codes.astype(np.int64)
    raw, sample = readings.arrays(), sampled_lives(codes)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DoubtfulFitWarning)
        try:
            found = learn_setups(
                raw.only(sample),
                pd.Index(readings.lives["series"])[sample],
                [str(cohort) for cohort in cohorts],
                codes[sample],
                sources[sample[raw.life]].reset_index(drop=True),
                methods=readings.ways,
                reference_method=readings.reference_way,
                detection=(settings.none_seen_mm, settings.none_seen_softness_mm),
                known=known,
            )
        except FitError:
            return None  # the fit itself says why
    _count_by(con, kind, found)
    return found


def _count_by(con: duckdb.DuckDBPyConnection, kind: str, found: Findings) -> None:
    """Have the readings of a kind count by what repeat visits say of where they come from."""
    every = con.execute(sql("fit/sources_of_kind"), {"kind": kind}).df()
    factor = np.where(every["is_measured"], factors_of(found, every), 1.0)
    con.register("reading_factors", every[["series", "visit_id", "timing"]].assign(factor=factor))
    con.execute(sql("fit/count_readings")).fetchall()
    con.unregister("reading_factors")


def _parts(
    con: duckdb.DuckDBPyConnection, kind: str, directions: list[str], settings: Settings
) -> list[tuple[str, str]]:
    """Return the groups that a kind is fitted in: the whole, or one a direction where evidence carries it."""
    whole = [(kind, "")]
    if len(directions) < 2:
        return whole
    readings = GroupReadings.of(con, kind=kind)
    of_direction = readings.lives["cohort"].str.split("/").str[1]
    if of_direction.value_counts().reindex(directions, fill_value=0).min() < _LIVES_TO_SPLIT:
        return whole
    together = _fit(readings, settings, shape="straight").loglik
    try:
        apart = sum(
            _fit(GroupReadings.of(con, kind=kind, direction=direction), settings, shape="straight").loglik
            for direction in directions
        )
    except FitError:
        return whole
    gained = 2.0 * (apart - together) - 2.0 * _COVARIANCE_PARAMETERS * (len(directions) - 1)
    return [(f"{kind}/{direction}", direction) for direction in directions] if gained > 0.0 else whole


def _fit(readings: GroupReadings, settings: Settings, *, shape: str = "auto") -> EnsembleResults:
    """Return the fit of a group, slipped setups discounted unless one shape is asked for.

    Its doubts are kept in the results and said where they are shown.
    """
    codes, cohorts = pd.factorize(readings.lives["cohort"])
    vehicle = pd.factorize(readings.lives["vehicle_id"])[0]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DoubtfulFitWarning)
        fitted: WearResults | EnsembleResults = fit_readings(
            readings,
            pd.Index(readings.lives["series"]),
            [str(cohort) for cohort in cohorts],
            codes.astype(np.int64),
            shape=shape,
            slips=shape == "auto",
            methods=readings.ways,
            reference_method=readings.reference_way,
            detection=(settings.none_seen_mm, settings.none_seen_softness_mm),
            folds=vehicle.astype(np.int64) % FOLDS,
        )
    if isinstance(fitted, EnsembleResults):
        return fitted
    return EnsembleResults.of_one(fitted)
