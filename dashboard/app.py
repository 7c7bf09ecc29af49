"""The dashboard: one page a task, reading the published snapshot; what was done about a flag goes to the inbox."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.messages import caution, told_calmly
from dashboard.people import Refused, require, sign_out_line
from dashboard.style import follow, lay_out, look
from dashboard.tasks import (
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
from dashboard.turns import turn

if TYPE_CHECKING:
    from collections.abc import Callable


@dataclass(frozen=True)
class _Task:
    """A page: what it is called, where it lies, and what writes it."""

    title: str
    url_path: str
    show: Callable[[], None]

    def run(self) -> None:
        """Write the page for who may read; an error of fleetwear becomes a message."""
        with suppress(Refused), told_calmly():
            require("read")
            self.show()


_TASKS = [
    _Task("Next service", "next-service", next_service.show),
    _Task("Weeks ahead", "weeks-ahead", weeks_ahead.show),
    _Task("Vehicle", "vehicle", one_vehicle.show),
    _Task("Record a visit", "record", record_visit.show),
    _Task("Trends", "trends", trends.show),
    _Task("Model check", "model-check", model_check.show),
    _Task("How well a reading is known", "reading", reading_study.show),
    _Task("Do readings agree", "readings-agree", consistency.show),
    _Task("Take the data away", "data", taking_away.show),
]


def main() -> None:
    """Run the page that is asked for."""
    st.set_page_config(page_title="fleetwear", layout="wide", initial_sidebar_state="collapsed")
    chosen = look()
    lay_out(chosen)
    page = st.navigation(
        [
            st.Page(task.run, title=task.title, url_path=task.url_path, default=number == 0)
            for number, task in enumerate(_TASKS)
        ],
        position="top",
    )
    try:
        page.run()
    finally:
        sign_out_line()
        caution()
        follow(chosen)


with turn():
    main()
