"""Fits and forecasts as rows of the store: each is written whole, with its settings, and read back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

import fleetwear
from fleetwear.errors import StoreError
from fleetwear.forecast.forecasting import KnownSeries
from fleetwear.forecast.learnt_text import write_learnt
from fleetwear.forecast.settings import Settings
from fleetwear.forecast.taken_over import take_over_fit, take_over_forecast
from fleetwear.store import sql
from fleetwear.wear.shared import Sharing

if TYPE_CHECKING:
    from datetime import date, datetime

    import duckdb

    from fleetwear.forecast.growth import FleetFit
    from fleetwear.forecast.taken_over import FitBase
    from fleetwear.store.frames import FramesOnDisk


@dataclass(frozen=True)
class Run:
    """When a fit or forecast was made, and from what."""

    as_of: date
    known_by: datetime | None
    made_at: datetime
    elapsed_seconds: float


@dataclass(frozen=True)
class StoredFit:
    """The latest fit of a moment."""

    fit_id: int
    as_of: date
    known_by: datetime | None
    settings: Settings
    sharing: Sharing


def insert_frame(con: duckdb.DuckDBPyConnection, table: str, frame: pd.DataFrame) -> None:
    """Insert a frame whose columns have the names of the table's columns; other columns are left out."""
    columns = [row[0] for row in con.execute(
        "select column_name from duckdb_columns() where table_name = ? and database_name = current_database() "
        "order by column_index", [table]).fetchall()]  # fmt: skip
    given = [column for column in columns if column in frame.columns]
    con.register("frame_to_insert", frame[given])
    names = ", ".join(given)
    con.execute(f"insert into {table} ({names}) select {names} from frame_to_insert").fetchall()
    con.unregister("frame_to_insert")


def save_fit(
    con: duckdb.DuckDBPyConnection,
    fit: FleetFit,
    series: pd.DataFrame,
    run: Run,
    settings: Settings,
    *,
    lines: FramesOnDisk,
    residuals: FramesOnDisk,
    states: pd.DataFrame,
    base: FitBase | None = None,
) -> int:
    """Write a fit in one transaction and return its fit_id; lines and residuals are those of its knowledge.

    ``states`` is what ``taken_over.fit_states`` gave; ``base`` the fit that it takes over from.
    """
    sharing = {"vehicle": fit.sharing.vehicle, "joint": fit.sharing.joint, "note": fit.sharing.note}
    stored = json.loads(settings.to_json()) | {
        "sharing": sharing,
        "unfitted": fit.unfitted,
        "setups": {kind: found.carried for kind, found in fit.setups.items()},
    }
    con.begin()
    try:
        fit_id = _new_run(con, "fits", run, {"settings": json.dumps(stored, sort_keys=True)})
        insert_frame(con, "fit_models", _models(fit).assign(fit_id=fit_id))
        insert_frame(con, "fit_cohorts", _cohorts(fit).assign(fit_id=fit_id))
        known = fit.knowledge
        doubts = {name: one.doubt for name, one in fit.learnt.items()}
        insert_frame(con, "fit_methods", _methods(fit).assign(fit_id=fit_id))
        insert_frame(con, "fit_weights", _weights(fit).assign(fit_id=fit_id))
        rows = series.assign(
            fit_id=fit_id,
            model_group=known.group,
            whose_line=known.whose_line,
            n_visits=known.n_visits,
            effect=known.effect,
            reliability=known.reliability,
            last_expected_mm=known.last_expected_mm,
            last_z=known.last_z,
            doubt=[doubts.get(str(name), fit.unfitted.get(kind, "")) for name, kind in zip(
                known.group, series["kind"], strict=True)],
        )  # fmt: skip
        insert_frame(con, "own_fit_series", rows.merge(known.falls, on="series", how="left"))
        keys = series[["series", "vehicle_id", "position_id", "life_no", "direction"]]
        insert_frame(con, "own_fit_slips", known.slips.merge(keys, on="series").assign(fit_id=fit_id))
        con.register("fitted_series", keys)
        for name, files in (("fit/insert_posteriors", lines), ("fit/insert_residuals", residuals)):
            for file in files:
                con.execute(sql(name), {"fit_id": fit_id, "file": str(file)}).fetchall()
        con.unregister("fitted_series")
        if base is None:
            learnt = [{"model_group": name, "content": write_learnt(one)} for name, one in fit.learnt.items()]
            setups = [{"kind": kind, "content": write_learnt(found)} for kind, found in fit.setups.items()]
            for table, rows_of in (("fit_learnt", learnt), ("fit_setups", setups)):
                if rows_of:
                    insert_frame(con, table, pd.DataFrame(rows_of).assign(fit_id=fit_id))
        take_over_fit(con, fit_id, base, states)
        con.commit()
    except BaseException:
        con.rollback()
        raise
    return fit_id


def _new_run(con: duckdb.DuckDBPyConnection, table: str, run: Run, extra: dict[str, object]) -> int:
    values = {
        "as_of": run.as_of,
        "known_by": run.known_by,
        "made_at": run.made_at,
        "elapsed_seconds": run.elapsed_seconds,
        "version": fleetwear.__version__,
        **extra,
    }
    names, marks = ", ".join(values), ", ".join("?" for _ in values)
    key = "fit_id" if table == "fits" else "forecast_id"
    rows = con.execute(
        f"insert into {table} ({names}) values ({marks}) returning {key}", list(values.values())
    ).fetchall()
    return int(rows[0][0])


def _models(fit: FleetFit) -> pd.DataFrame:
    rows = []
    for group, ensemble in fit.groups.items():
        for shape, one in ensemble.fits.items():
            errors = one.population.errors
            cov, slips = one.cov_re.to_numpy(), errors.slips if errors else None
            rows.append(
                {
                    "model_group": group,
                    "shape": shape,
                    "weight": ensemble.weights[shape],
                    "exponent": one.exponent,
                    "reference_km": one.reference_distance,
                    "pace": float(one.population.paces.max()),
                    "n_lives": one.n_groups,
                    "n_readings": one.n_obs,
                    "residual_variance": one.residual_variance,
                    "slip_share": slips.share if slips else None,
                    "slip_shift_mm": slips.shift if slips else None,
                    "slip_variance": slips.variance if slips else None,
                    "wander_mm2_per_km": one.population.wander_variance,
                    "spread": ensemble.spread,
                    "evidence": ensemble.evidence,
                    "cov_intercept": cov[0, 0],
                    "cov_cross": cov[0, 1],
                    "cov_growth": cov[1, 1],
                    "loglik": one.loglik,
                    "converged": one.converged,
                    "doubt": one.doubt,
                }
            )
    return pd.DataFrame(rows)


def _methods(fit: FleetFit) -> pd.DataFrame:
    frames = [
        pd.DataFrame(
            {
                "model_group": group,
                "shape": shape,
                "method": methods.names,
                "is_reference": np.arange(len(methods.names)) == methods.reference,
                "n_readings": methods.readings.astype(np.int64),
                "offset_mm": methods.offset,
                "offset_se": methods.offset_se,
                "variance_ratio": methods.ratio,
                "threshold_mm": methods.threshold,
                "softness_mm": methods.softness,
            }
        )
        for group, ensemble in fit.groups.items()
        for shape, one in ensemble.fits.items()
        if one.population.errors is not None
        for methods in (one.population.errors.methods,)
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame({"model_group": []})


def _weights(fit: FleetFit) -> pd.DataFrame:
    frames = []
    for group, ensemble in fit.groups.items():
        own = ensemble.cohort_weights.reset_index()
        long = own.melt(id_vars=["cohort", "n_scored"], var_name="shape", value_name="weight")
        frames.append(long.assign(model_group=group))
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame({"model_group": []})


def _cohorts(fit: FleetFit) -> pd.DataFrame:
    parts = [
        one.cohorts.reset_index().assign(model_group=group, shape=shape)
        for group, ensemble in fit.groups.items()
        for shape, one in ensemble.fits.items()
    ]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


def latest_fit(con: duckdb.DuckDBPyConnection, *, as_of: date, known_by: datetime | None) -> StoredFit:
    """Return the latest fit made for a moment.

    Raises
    ------
    StoreError
        If there is none.
    """
    rows = con.execute(
        "select fit_id, as_of, known_by, settings from fits "
        "where as_of = ? and known_by is not distinct from ?::timestamp order by fit_id desc limit 1",
        [as_of, known_by],
    ).fetchall()
    if not rows:
        raise StoreError(
            f"there is no fit as of {as_of}", mend="Run `fleetwear forecast --as-of DATE`, which fits first."
        )
    return _stored_fit(rows[0])


def numbered_fit(con: duckdb.DuckDBPyConnection, fit_id: int) -> StoredFit:
    """Return the fit of a number.

    Raises
    ------
    StoreError
        If there is none.
    """
    rows = con.execute("select fit_id, as_of, known_by, settings from fits where fit_id = ?", [fit_id]).fetchall()
    if not rows:
        raise StoreError(f"there is no fit number {fit_id}", mend="Run `fleetwear forecast` again.")
    return _stored_fit(rows[0])


def _stored_fit(row: tuple[Any, ...]) -> StoredFit:
    fit_id, as_of, known_by, settings = row
    sharing = Sharing(**json.loads(str(settings))["sharing"])
    return StoredFit(int(fit_id), as_of, known_by, Settings.from_json(str(settings)), sharing)


def prepare_facts(con: duckdb.DuckDBPyConnection, fit: StoredFit) -> None:
    """Make the tables that `facts_of` reads, on this connection.

    Needs the tables of ``store.known.prepare`` and ``prepare_series`` on ``con``.
    """
    for name in ("forecast/facts", "forecast/limits"):
        con.execute(sql(name)).fetchall()
    for name in ("forecast/series", "forecast/lines"):
        con.execute(sql(name), {"fit_id": fit.fit_id}).fetchall()


def facts_of(con: duckdb.DuckDBPyConnection, vehicles: list[int]) -> KnownSeries:
    """Return what is known of these vehicles' current series, with what the fit says of them."""
    asked = {"vehicles": vehicles}
    facts = con.execute(sql("forecast/facts_of_vehicles"), asked).df()
    lines = con.execute(sql("forecast/lines_of_vehicles"), asked).df()
    for column, empty in (
        ("effect", 0.0), ("reliability", 0.0), ("whose_line", ""), ("doubt", ""), ("model_group", ""),
    ):  # fmt: skip
        facts[column] = facts[column].fillna(empty)
    borrowed = (facts["whose_line"] != facts["cohort"]) & (facts["whose_line"] != "")
    word = "growth borrowed from " + facts["whose_line"]
    facts["doubt"] = np.where(borrowed, (facts["doubt"] + "; " + word).str.strip("; "), facts["doubt"])
    return KnownSeries(facts, lines, con.execute(sql("forecast/limits_of_vehicles"), asked).df())


def save_forecast(
    con: duckdb.DuckDBPyConnection,
    joints: FramesOnDisk,
    vehicles: FramesOnDisk,
    wheels: pd.DataFrame,
    fit_id: int,
    run: Run,
    settings: Settings,
    *,
    states: pd.DataFrame,
    base: int | None = None,
) -> int:
    """Write a forecast in one transaction and return its forecast_id; ``wheels`` has a row a judged wheel check.

    ``states`` is what ``taken_over.forecast_states`` gave; ``base`` the forecast that it takes over from.
    """
    con.begin()
    try:
        forecast_id = _new_run(con, "forecasts", run, {"fit_id": fit_id, "settings": settings.to_json()})
        for table, parts in (("own_forecast_joints", joints), ("own_forecast_vehicles", vehicles)):
            for frame in parts.frames():
                insert_frame(con, table, frame.assign(forecast_id=forecast_id))
        if len(wheels):
            insert_frame(con, "forecast_wheels", wheels.assign(forecast_id=forecast_id))
        take_over_forecast(con, forecast_id, base, states, run.as_of)
        con.commit()
    except BaseException:
        con.rollback()
        raise
    return forecast_id
