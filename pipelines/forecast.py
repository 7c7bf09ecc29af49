"""Forecast every vehicle from the latest fit of a moment, and store what is said of it."""

from __future__ import annotations

import time
import warnings
from typing import TYPE_CHECKING

from fleetwear.errors import DoubtfulFitWarning
from fleetwear.forecast import prepare_series
from fleetwear.forecast.forecasting import FleetForecast, forecast_fleet
from fleetwear.forecast.horizon import look_ahead
from fleetwear.forecast.mates import mate_notes, tie_mates
from fleetwear.forecast.records import Run, latest_fit, read_facts, save_forecast
from fleetwear.planning.coverage import mark_tested, vehicle_coverage
from fleetwear.planning.outcomes import classify, judge_vehicles
from fleetwear.planning.wheel_checks import judge_wheels
from fleetwear.store import Store, sql
from fleetwear.store.known import prepare

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime
    from pathlib import Path

    from fleetwear.forecast import Settings


def run(
    folder: Path,
    *,
    as_of: date,
    made_at: datetime,
    known_by: datetime | None = None,
    settings: Settings | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> int:
    """Forecast from the latest fit of that moment, and return the forecast_id.

    Parameters are those of ``pipelines.fit.run``; settings default to those of the fit.

    Raises
    ------
    StoreError
        If there is no fit of that moment.
    """
    store = Store(folder)
    began = time.perf_counter()
    with store.reader() as con:
        fit = latest_fit(con, as_of=as_of, known_by=known_by)
        chosen = settings or fit.settings
        prepare(con, as_of=as_of, known_by=known_by)
        prepare_series(con)
        facts, lines = read_facts(con, fit)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DoubtfulFitWarning)
            outlook = look_ahead(con, as_of=as_of, settings=chosen)
        symptoms = dict(con.execute(sql("forecast/vehicle_symptoms")).fetchall())
        read = {
            name: con.execute(sql(f"forecast/{name}")).df()
            for name in ("limits", "tested", "mates", "mate_positions", "wheel_checks", "wheel_limits")
        }
        methods = con.execute(sql("fit/stored_offsets"), {"fit_id": fit.fit_id}).df()
    drawn = forecast_fleet(
        facts, lines, fit.sharing, outlook, chosen, limits=read["limits"], methods=methods, on_progress=on_progress
    )
    notes = mate_notes(drawn.joints, read["mate_positions"], tie_mates(read["mates"]))
    joints = classify(mark_tested(drawn.joints.assign(mate_note=notes), read["tested"]), settings=chosen)
    wheels = judge_wheels(read["wheel_checks"], read["wheel_limits"])
    vehicles = drawn.vehicles.assign(symptom=[symptoms.get(number, "") for number in drawn.vehicles["vehicle_id"]])
    vehicles = vehicles.join(vehicle_coverage(joints, read["tested"]), on="vehicle_id")
    said = FleetForecast(joints, judge_vehicles(vehicles, joints, wheels), wheels)
    with store.writer() as con:
        return save_forecast(con, said, fit.fit_id, Run(as_of, known_by, made_at, time.perf_counter() - began), chosen)
