"""What pages need, made ready before anybody asks: libraries at the start, and each snapshot once it is published."""

from __future__ import annotations

import gc
import logging
import threading
import time
from typing import TYPE_CHECKING

from fleetwear.errors import FleetwearError

if TYPE_CHECKING:
    from collections.abc import Callable

_LOOK_EVERY_S = 5.0
_SEARCH_EVERY = 60
"""Looks after pages were written, so five minutes of reading, from one search for all garbage to the next."""

_LARGE = 20_000
"""Vehicles of a fleet of which only the first page is made ready: the plan of a larger one takes minutes."""

_NO_PAGE = "missing ScriptRunContext"
"""What Streamlit logs at every step of work that writes no page, which is so here."""


def import_libraries() -> None:
    """Import what pages lean on and draw a chart, so that nobody waits; pages are imported once the server runs."""
    import fleetwear.intake
    import fleetwear.planning.ahead
    import fleetwear.reports.trend_tables  # noqa: F401
    from fleetwear.reports.charts import key_chart
    from fleetwear.reports.looks import LIGHT
    from fleetwear.units import factor

    factor("mi", "km")
    key_chart(look=LIGHT)


def start() -> threading.Thread:
    """Import libraries, then begin to make snapshots ready while the server runs; the thread ends with the program."""
    from dashboard import beside

    beside.begin()
    import_libraries()
    settle()
    thread = threading.Thread(target=_keep_ready, name="warming", daemon=True)
    thread.start()
    return thread


def _keep_ready() -> None:
    """Make each published snapshot ready as soon as it is there, and keep searches for garbage short."""
    from streamlit import runtime

    while not runtime.exists():
        time.sleep(0.1)
    from dashboard import snapshot, turns

    logger = logging.getLogger("streamlit.runtime.scriptrunner_utils.script_run_context")
    logger.addFilter(lambda record: _NO_PAGE not in record.getMessage())
    ready = None
    written = looks = 0
    while True:
        try:
            now = snapshot.current()
            if now != ready:
                make_ready(*now)
                settle()
                ready = now
        except FleetwearError:
            pass  # nothing is published yet, or it is of an earlier program: pages say so
        except Exception:
            logging.getLogger(__name__).exception("a snapshot could not be made ready; pages read it themselves")
            ready = now
        if turns.pages_written() != written:
            written, looks = turns.pages_written(), looks + 1
            settle(search=looks % _SEARCH_EVERY == 0)
        time.sleep(_LOOK_EVERY_S)


def settle(*, search: bool = True) -> None:
    """Leave what is there now out of the searches for garbage, of which the server makes one after every page.

    With all libraries, records and pictures to search each takes longer than most pages do. What nothing refers to any
    longer is freed all the same; what refers to itself is found when all is searched, as now if ``search``.
    """
    if search:
        gc.unfreeze()
        gc.collect()
    gc.freeze()


def make_ready(folder: str, number: int) -> None:
    """Read what pages show of a snapshot into the caches that they share, the first page's first."""
    from dashboard import snapshot
    from dashboard.tasks import next_service
    from fleetwear.planning.ahead import PlanSettings
    from fleetwear.reports.trend_tables import HEADS

    fleet = snapshot.fleet(folder, number)
    next_service.first_page(folder, number)
    for unit in fleet.first_units[:1]:
        snapshot.vehicle(folder, number, unit)
    if fleet.vehicles > _LARGE:
        return
    readers: list[Callable[[], object]] = [
        lambda: snapshot.model_check(folder, number),
        lambda: snapshot.learnt(folder, number),
        lambda: snapshot.consistency(folder, number),
        lambda: snapshot.trend_answer(folder, number, by=next(iter(HEADS)), kind=None),
        lambda: snapshot.plan(folder, number, PlanSettings()),
        lambda: snapshot.setups(folder, number, kind=None, people=True),
        lambda: snapshot.setups(folder, number, kind=None, people=False),
    ]
    for read in readers:
        if snapshot.current() != (folder, number):
            return  # a later one is there: it comes first
        read()
