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
from fleetwear.forecast.mates import mate_notes, tie_mates
from fleetwear.forecast.records import Run, facts_of, latest_fit, prepare_facts, save_forecast
from fleetwear.forecast.taken_over import base_forecast, forecast_states, only_series_to_forecast
from fleetwear.planning.coverage import mark_tested, vehicle_coverage
from fleetwear.planning.outcomes import classify, judge_vehicles
from fleetwear.planning.wheel_checks import judge_wheels
from fleetwear.store import Store, sql
from fleetwear.store.apart import apart
from fleetwear.store.frames import frames_on_disk
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

    As in the fit, the store is open to others while vehicles are forecast. Parameters are those of
    ``pipelines.fit.run``; settings default to those of the fit.

    Raises
    ------
    StoreError
        If there is no fit of that moment.
    """
    store = Store(folder)
    began = time.perf_counter()
    with (
        running(folder, "forecast", settings={"as_of": as_of, "known_by": known_by}) as run_note,
        apart(store) as own,
        frames_on_disk(folder) as joints,
        frames_on_disk(folder) as vehicles,
    ):
        fit = latest_fit(own.con, as_of=as_of, known_by=known_by)
        chosen = settings or fit.settings
        run_note.settings = run_settings(chosen, as_of=as_of, known_by=known_by)
        counted = {"vehicles": 0, "joints": 0}
        prepare(own.con, as_of=as_of, known_by=known_by)
        prepare_series(own.con)
        base = base_forecast(own.con, fit_id=fit.fit_id, as_of=as_of, known_by=known_by, settings=chosen)
        states = forecast_states(own.con, fit_id=fit.fit_id, base=base, as_of=as_of)
        only_series_to_forecast(own.con)
        prepare_facts(own.con, fit)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DoubtfulFitWarning)
            outlook = look_ahead(own.con, as_of=as_of, settings=chosen)
        outlook = outlook.of(states.loc[states["is_new"], "vehicle_id"])
        symptoms = dict(own.con.execute(sql("forecast/vehicle_symptoms")).fetchall())
        read = {
            name: own.con.execute(sql(f"forecast/{name}")).df()
            for name in ("mate_positions", "wheel_checks", "wheel_limits")
        }
        for name in ("tested", "mates"):
            own.con.execute(sql(f"forecast/{name}")).fetchall()
        methods = own.con.execute(sql("fit/stored_offsets"), {"fit_id": fit.fit_id}).df()
        own.let_go(keep=[])
        kinds = own.con.execute("select distinct kind from forecast_looks order by kind").fetchall()
        looks = (own.con.execute(sql("forecast/looks_of_kind"), {"kind": kind}).df() for (kind,) in kinds)
        ties, wheels = tie_mates(looks), judge_wheels(read["wheel_checks"], read["wheel_limits"])
        for part in forecast_fleet(
            partial(facts_of, own.con),
            fit.sharing,
            outlook,
            chosen,
            methods=methods,
            on_progress=on_progress,
        ):
            asked = {"vehicles": part.vehicles["vehicle_id"].tolist()}
            tested = own.con.execute(sql("forecast/tested_of_vehicles"), asked).df()
            noted = part.joints.assign(mate_note=mate_notes(part.joints, read["mate_positions"], ties))
            said = classify(mark_tested(noted, tested), settings=chosen)
            whole = part.vehicles.assign(symptom=[symptoms.get(number, "") for number in part.vehicles["vehicle_id"]])
            whole = whole.join(vehicle_coverage(said, tested), on="vehicle_id")
            joints.keep(said)
            own_wheels = wheels[wheels["vehicle_id"].isin(asked["vehicles"])] if len(wheels) else wheels
            vehicles.keep(judge_vehicles(whole, said, own_wheels))
            counted = {"vehicles": counted["vehicles"] + len(whole), "joints": counted["joints"] + len(said)}
        own.done()
        made = Run(as_of, known_by, made_at, time.perf_counter() - began)
        with store.writer() as con:
            forecast_id = save_forecast(
                con, joints, vehicles, wheels, fit.fit_id, made, chosen, states=states, base=base
            )
            run_note.record(con, forecast=forecast_id, fit=fit.fit_id, **counted)
    return forecast_id
