"""Forecast every vehicle from the latest fit of a moment, and store what is said of it."""

from __future__ import annotations

import time
import warnings
from typing import TYPE_CHECKING

from fleetwear.errors import DoubtfulFitWarning
from fleetwear.forecast import prepare_series
from fleetwear.forecast.forecasting import FleetForecast, forecast_fleet
from fleetwear.forecast.horizon import look_ahead
from fleetwear.forecast.records import Run, latest_fit, read_facts, save_forecast
from fleetwear.planning.outcomes import classify, judge_vehicles
from fleetwear.store import Store, sql
from fleetwear.store.known import prepare
from fleetwear.store.runs import running
from pipelines.fit import run_settings

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
    asked = {"as_of": as_of, "known_by": known_by}
    with running(folder, "forecast", settings=asked) as run_note:
        store = Store(folder)
        began = time.perf_counter()
        with store.reader() as con:
            fit = latest_fit(con, as_of=as_of, known_by=known_by)
            chosen = settings or fit.settings
            run_note.settings = run_settings(chosen, as_of=as_of, known_by=known_by)
            prepare(con, as_of=as_of, known_by=known_by)
            prepare_series(con)
            facts, lines = read_facts(con, fit)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DoubtfulFitWarning)
                outlook = look_ahead(con, as_of=as_of, settings=chosen)
            symptoms = dict(con.execute(sql("forecast/vehicle_symptoms")).fetchall())
        drawn = forecast_fleet(facts, lines, fit.sharing, outlook, chosen, on_progress=on_progress)
        joints = classify(drawn.joints, settings=chosen)
        vehicles = drawn.vehicles.assign(symptom=[symptoms.get(number, "") for number in drawn.vehicles["vehicle_id"]])
        said = FleetForecast(joints, judge_vehicles(vehicles, joints))
        with store.writer() as con:
            made = Run(as_of, known_by, made_at, time.perf_counter() - began)
            forecast_id = save_forecast(con, said, fit.fit_id, made, chosen)
            run_note.record(con, forecast=forecast_id, fit=fit.fit_id, vehicles=len(said.vehicles), joints=len(joints))
    return forecast_id
