"""Fit the growth of play over the fleet; store what the fit knows of every series, and how growth compares."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING

from fleetwear.forecast import Settings, fit_fleet, prepare_series
from fleetwear.forecast.effects import compare_growth, save_effects
from fleetwear.forecast.growth import know_anew
from fleetwear.forecast.records import Run, save_fit
from fleetwear.forecast.taken_over import base_fit, fit_states, only_series_to_know
from fleetwear.store import Store
from fleetwear.store.apart import apart
from fleetwear.store.frames import frames_on_disk
from fleetwear.store.known import prepare
from fleetwear.store.runs import running

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime
    from pathlib import Path

    from fleetwear.forecast.knowledge import Knowledge


def run(
    folder: Path,
    *,
    as_of: date,
    made_at: datetime,
    known_by: datetime | None = None,
    settings: Settings | None = None,
    refit_days: int = 0,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> int:
    """Fit with what was known, and return the fit_id.

    What is known is copied out of the store first, which then is open to others until the results are written.

    Parameters
    ----------
    folder
        The store.
    as_of, known_by
        The moment: events up to that day, rows loaded by then (None: all).
    made_at
        When the run is made.
    settings
        Defaults where None.
    refit_days
        Go by the populations of a fit that is not yet so many days old, if there is one of these settings, and look
        anew only at vehicles whose record is another since; 0 fits anew.
    on_progress
        Called with the kind of joint, kinds done and kinds in all.
    """
    chosen = settings or Settings()
    store = Store(folder)
    began = time.perf_counter()
    with (
        running(folder, "fit", settings=run_settings(chosen, as_of=as_of, known_by=known_by)) as run_note,
        apart(store) as known,
        frames_on_disk(folder) as lines,
        frames_on_disk(folder) as residuals,
    ):
        prepare(known.con, as_of=as_of, known_by=known_by)
        series = prepare_series(known.con)
        base = base_fit(known.con, as_of=as_of, known_by=known_by, settings=chosen, days=refit_days)
        states = fit_states(known.con, base)
        if base is not None:
            series = only_series_to_know(known.con)
        known.let_go(keep=["vehicles", "positions", "parts"])

        def keep(block: Knowledge) -> None:
            lines.keep(block.lines)
            residuals.keep(block.residuals)

        if base is None:
            fitted = fit_fleet(known.con, series, chosen, keep=keep, on_progress=on_progress)
            effects = compare_growth(known.con)
        else:
            fitted = know_anew(known.con, series, base, keep=keep, on_progress=on_progress)
        known.done()
        made = Run(as_of, known_by, made_at, time.perf_counter() - began)
        with store.writer() as con:
            fit_id = save_fit(
                con, fitted, series, made, chosen, lines=lines, residuals=residuals, states=states, base=base
            )
            if base is None:
                save_effects(con, fit_id, effects)
            run_note.record(con, fit=fit_id, series=len(series), vehicles=int(states["is_new"].sum()))
    return fit_id


def run_settings(settings: Settings, *, as_of: date, known_by: datetime | None) -> dict[str, object]:
    """Return what a run was asked to do, as its record keeps it."""
    return {"as_of": as_of, "known_by": known_by, **json.loads(settings.to_json())}
