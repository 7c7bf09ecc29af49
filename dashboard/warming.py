"""What pages need, made ready before anybody asks: programs at the start, and each snapshot once it is published."""

from __future__ import annotations

import logging
import threading
import time
from typing import TYPE_CHECKING

from fleetwear.errors import FleetwearError

if TYPE_CHECKING:
    from collections.abc import Callable

_LOOK_EVERY_S = 5.0
_LARGE = 20_000
"""Vehicles of a fleet of which only the flags are made ready: the plan of a larger one takes minutes."""

_QUIET = ("streamlit.runtime.scriptrunner_utils.script_run_context", "streamlit.runtime.caching.cache_utils")
"""Loggers that would say at every step that no page is being written, which is so."""


def import_all() -> None:
    """Import what pages import at their first view, and draw a chart, so that nobody waits for it."""
    from dashboard.pictures import spec_of
    from dashboard.tasks import (  # noqa: F401  pages that are imported to be there
        consistency,
        model_check,
        next_service,
        one_vehicle,
        reading_study,
        record_visit,
        taking_away,
        trends,
        weeks_ahead,
    )
    from fleetwear.reports.charts import key_chart
    from fleetwear.reports.looks import LIGHT
    from fleetwear.units import factor

    factor("mi", "km")
    spec_of(key_chart(look=LIGHT))


def start() -> threading.Thread:
    """Import all, then begin to make snapshots ready beside the server; the thread ends with the program."""
    for name in _QUIET:
        logging.getLogger(name).setLevel(logging.ERROR)
    import_all()
    thread = threading.Thread(target=_keep_ready, name="warming", daemon=True)
    thread.start()
    return thread


def _keep_ready() -> None:
    """Make the published snapshot ready, and every later one, as soon as it is there."""
    from dashboard import snapshot

    ready = None
    while True:
        try:
            now = snapshot.current()
            if now != ready:
                make_ready(*now)
                ready = now
        except FleetwearError:
            pass  # nothing is published yet, or it is of an earlier program: pages say so
        except Exception:
            logging.getLogger(__name__).exception("a snapshot could not be made ready; pages read it themselves")
            ready = now
        time.sleep(_LOOK_EVERY_S)


def make_ready(folder: str, number: int) -> None:
    """Read what pages show of a snapshot into the caches that they share, the first page's first."""
    from dashboard import snapshot
    from fleetwear.planning.ahead import PlanSettings
    from fleetwear.reports.trend_tables import HEADS

    fleet = snapshot.flags(folder, number, accepted_risk=None)
    if len(fleet.vehicles):
        snapshot.vehicle(folder, number, str(fleet.vehicles["unit"].iloc[0]))
    if len(fleet.vehicles) > _LARGE:
        return
    readers: list[Callable[[], object]] = [
        lambda: snapshot.model_check(folder, number),
        lambda: snapshot.learnt(folder, number),
        lambda: snapshot.consistency(folder, number),
        lambda: snapshot.trend_answer(folder, number, by=next(iter(HEADS)), kind=None),
        lambda: snapshot.plan(folder, number, PlanSettings()),
    ]
    for read in readers:
        if snapshot.current() != (folder, number):
            return  # a later one is there: it comes first
        read()
