"""The dashboard: one page a task, all of them reading the published snapshot and computing nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.messages import caution, told_calmly
from dashboard.style import lay_out, look
from dashboard.tasks import model_check, next_service, one_vehicle, reading_study, record_visit

if TYPE_CHECKING:
    from collections.abc import Callable


@dataclass(frozen=True)
class _Task:
    """A page: what it is called, where it lies, and what writes it."""

    title: str
    url_path: str
    show: Callable[[], None]

    def run(self) -> None:
        """Write the page; an error of fleetwear becomes a message."""
        with told_calmly():
            self.show()


_TASKS = [
    _Task("Next service", "next-service", next_service.show),
    _Task("Vehicle", "vehicle", one_vehicle.show),
    _Task("Record a visit", "record", record_visit.show),
    _Task("Model check", "model-check", model_check.show),
    _Task("How well a reading is known", "reading", reading_study.show),
]


def main() -> None:
    """Run the page that is asked for."""
    st.set_page_config(page_title="fleetwear", layout="wide", initial_sidebar_state="collapsed")
    lay_out(look())
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
        caution()


main()
