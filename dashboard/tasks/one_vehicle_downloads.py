"""What can be taken away from a vehicle's page: the page itself, its maintenance record, its readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard import snapshot
from dashboard.downloads import download_button
from dashboard.people import may
from fleetwear.errors import FleetwearError
from fleetwear.planning.retention import RULE
from fleetwear.reports.flag_files import to_csv
from fleetwear.reports.inert import file_name
from fleetwear.reports.maintenance_files import record_csv, record_pdf
from fleetwear.reports.reading_file import reading_file
from fleetwear.reports.vehicle_pdf import Paper, vehicle_pdf

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fleetwear.planning.maintenance import MaintenanceRecord
    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory

_PAPERS: dict[str, Paper] = {"A4": "a4", "Letter": "letter"}
_PDF, _CSV = "application/pdf", "text/csv"


def offer_page(record: VehicleRecord, histories: Sequence[JointHistory]) -> None:
    """Write a button that downloads the vehicle's page, and the choice of its paper."""
    with st.container(horizontal=True, vertical_alignment="bottom"):
        chosen = st.selectbox("Paper", list(_PAPERS), key="paper", width=120)
        download_button(
            "Download one page, PDF",
            lambda: vehicle_pdf(record, paper=_PAPERS[chosen], histories=histories),
            f"vehicle_{file_name(record.vehicle['unit'])}.pdf",
            _PDF,
            key="page",
            on_click="ignore",
        )


def offer_readings(record: VehicleRecord) -> None:
    """Write a button that downloads the vehicle's readings."""
    download_button(
        "Download readings, CSV",
        lambda: to_csv(reading_file(record)),
        f"readings_{file_name(record.vehicle['unit'])}.csv",
        _CSV,
        on_click="ignore",
    )


def offer_maintenance_record(folder: str, number: int, unit: str) -> None:
    """Write the buttons that download the maintenance record of 49 CFR 396.3(b), and ask when the vehicle left."""
    st.subheader("Maintenance record")
    st.markdown(
        "What 49 CFR 396.3(b) names, as far as it is kept here: identification, what is due and when, what was done "
        "and when, and how long to keep it. An aid, not legal advice, and not the report of a periodic inspection."
    )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        left: date | None = st.date_input(
            "Left your control on, if it has", value=None, key=f"left-{unit}", format="YYYY-MM-DD", width=240, help=RULE
        )
        paper = _PAPERS[str(st.session_state.get("paper", "A4"))]
        named = snapshot.vehicle(folder, number, unit).vehicle["unit"]
        people = may("people")

        def record() -> MaintenanceRecord:
            return snapshot.maintenance(folder, number, unit, left, people=people)

        try:
            if left is not None:  # otherwise the record is made when it is taken away
                record()
        except FleetwearError as error:
            st.markdown(f"{error.what[:1].upper()}{error.what[1:]}. {error.mend}")
            return
        download_button(
            "Download record, PDF",
            lambda: record_pdf(record(), paper=paper),
            f"maintenance_record_{file_name(named)}.pdf",
            _PDF,
            key="record_pdf",
            on_click="ignore",
        )
        download_button(
            "Download record, CSV",
            lambda: record_csv(record()),
            f"maintenance_record_{file_name(named)}.csv",
            _CSV,
            key="record_csv",
            on_click="ignore",
        )
