"""The printed page of a vehicle, offered for download and made only when it is asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fleetwear.reports.inert import file_name
from fleetwear.reports.vehicle_pdf import Paper, vehicle_pdf

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory

_PAPERS: dict[str, Paper] = {"A4": "a4", "Letter": "letter"}


def offer_page(record: VehicleRecord, histories: Sequence[JointHistory]) -> None:
    """Write a button that downloads the vehicle's page, and the choice of its paper."""
    with st.container(horizontal=True, vertical_alignment="bottom"):
        chosen = st.selectbox("Paper", list(_PAPERS), key="paper", width=120)
        st.download_button(
            "Download one page, PDF",
            lambda: vehicle_pdf(record, paper=_PAPERS[chosen], histories=histories),
            f"vehicle_{file_name(record.vehicle['unit'])}.pdf",
            "application/pdf",
            key="page",
            on_click="ignore",
        )
