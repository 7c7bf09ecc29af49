"""The dashboard: one page a task, all of them reading the published snapshot and computing nothing."""

from __future__ import annotations

import streamlit as st

from dashboard.messages import caution, told_calmly
from dashboard.style import lay_out, look
from dashboard.tasks import model_check, next_service, one_vehicle, reading_study


def _next_service() -> None:
    with told_calmly():
        next_service.show()


def _one_vehicle() -> None:
    with told_calmly():
        one_vehicle.show()


def _model_check() -> None:
    with told_calmly():
        model_check.show()


def _reading_study() -> None:
    with told_calmly():
        reading_study.show()


def main() -> None:
    """Run the page that is asked for."""
    st.set_page_config(page_title="fleetwear", layout="wide", initial_sidebar_state="collapsed")
    lay_out(look())
    page = st.navigation(
        [
            st.Page(_next_service, title="Next service", url_path="next-service", default=True),
            st.Page(_one_vehicle, title="Vehicle", url_path="vehicle"),
            st.Page(_model_check, title="Model check", url_path="model-check"),
            st.Page(_reading_study, title="How well a reading is known", url_path="reading"),
        ],
        position="top",
    )
    try:
        page.run()
    finally:
        caution()


main()
