"""Forecast every vehicle from the latest fit of a moment, and store what is said of it."""

from __future__ import annotations

import time
import warnings
from functools import partial
from typing import TYPE_CHECKING

from fleetwear.errors import DoubtfulFitWarning
from fleetwear.forecast import prepare_series
from fleetwear.forecast.forecasting import forecast_fleet
from fleetwear.forecast.horizon import look_ahead
from fleetwear.forecast.records import Run, facts_of, latest_fit, prepare_facts, save_forecast
from fleetwear.planning.outcomes import classify, judge_vehicles
from fleetwear.store import Store, sql
from fleetwear.store.apart import apart
from fleetwear.store.frames import frames_on_disk
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

    As in the fit, the store is open to others while vehicles are forecast. Parameters are those of
    ``pipelines.fit.run``; settings default to those of the fit.

    Raises
    ------
    StoreError
        If there is no fit of that moment.
    """
    store = Store(folder)
    began = time.perf_counter()
    with apart(store) as own, frames_on_disk(folder) as joints, frames_on_disk(folder) as vehicles:
        fit = latest_fit(own.con, as_of=as_of, known_by=known_by)
        chosen = settings or fit.settings
        prepare(own.con, as_of=as_of, known_by=known_by)
        prepare_series(own.con)
        prepare_facts(own.con, fit)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DoubtfulFitWarning)
            outlook = look_ahead(own.con, as_of=as_of, settings=chosen)
        symptoms = dict(own.con.execute(sql("forecast/vehicle_symptoms")).fetchall())
        own.let_go(keep=[])
        known = partial(facts_of, own.con)
        for part in forecast_fleet(known, fit.sharing, outlook, chosen, on_progress=on_progress):
            said = classify(part.joints, settings=chosen)
            with_symptom = part.vehicles.assign(symptom=[symptoms.get(n, "") for n in part.vehicles["vehicle_id"]])
            joints.keep(said)
            vehicles.keep(judge_vehicles(with_symptom, said))
        made = Run(as_of, known_by, made_at, time.perf_counter() - began)
        with store.writer() as con:
            return save_forecast(con, joints, vehicles, fit.fit_id, made, chosen)
