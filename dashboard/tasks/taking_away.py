"""Take the data away: the tables behind the pages, for a spreadsheet, a notebook or a statistics program."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard import snapshot
from dashboard.downloads import download_button
from dashboard.listing import Column, Markup, listing
from dashboard.people import may
from fleetwear.planning.tidy_tables import depots, describe_tables, read_dictionary, read_tidy, table_names
from fleetwear.reports.inert import file_name
from fleetwear.reports.sheet_text import HOW
from fleetwear.reports.tidy_files import archive, tidy_files

if TYPE_CHECKING:
    from fleetwear.planning.tidy_tables import Tidy
    from fleetwear.reports.tidy_files import Kind

_EVERY_DEPOT = "every depot"
_TABLES = [Column("Table", tight=True, bare=True), Column("What it holds", bare=True)]
_COLUMNS = [
    Column("Column", bare=True),
    Column("Unit or type", tight=True),
    Column("What it means", bare=True),
    Column("Comes from"),
]
_KINDS: dict[str, Kind] = {"XLSX workbook": "xlsx", "CSV files in a ZIP": "csv", "Parquet files in a ZIP": "parquet"}
_MIME = {"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}


def show() -> None:
    """Write the page."""
    folder, number = snapshot.current()
    st.title("Take the data away")
    con = snapshot.cursor(folder, number)
    described = describe_tables(con)
    st.markdown(
        "The tables behind the other pages, each with what its columns mean, their units, and the as-of date, "
        "forecast, fit and version that it rests on. The command fleetwear export writes the same."
    )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        depot = st.selectbox("Depot", [_EVERY_DEPOT, *depots(con)], key="export_depot", width=200)
        kind = _KINDS[st.selectbox("As", list(_KINDS), key="export_kind", width=240)]
    chosen = st.multiselect(
        "Only these tables",
        table_names(),
        key="export_tables",
        placeholder="all of them",
        help="None chosen means all of them.",
    )
    people = may("people")
    stem = "fleetwear" if depot == _EVERY_DEPOT else f"fleetwear_{file_name(depot)}"
    download_button(
        "Download",
        lambda: _made(
            read_tidy(
                snapshot.cursor(folder, number),
                names=chosen or None,
                depot=None if depot == _EVERY_DEPOT else depot,
                people=people,
            ),
            kind,
        ),
        f"{stem}.{'xlsx' if kind == 'xlsx' else 'zip'}",
        _MIME.get(kind, "application/zip"),
        key="export",
        type="primary",
        on_click="ignore",
    )
    if depot != _EVERY_DEPOT:
        st.html('<p class="fw-quiet" style="margin:0">Limits and what the fit has learnt stay those of the fleet.</p>')
    if not people:
        st.html(
            '<p class="fw-quiet" style="margin:0">Names of technicians are left out: they need the role people.</p>'
        )
    st.subheader("Tables")
    listing(
        _TABLES,
        [[Markup(f"<b>{name}</b>"), described[name]] for name in table_names()],
        caption="Tables that can be taken away",
    )
    st.subheader("What the columns mean")
    asked = st.selectbox("Of the table", table_names(), key="export_asked", width=240)
    meanings = read_dictionary(con, [asked])
    unit = meanings["unit"].where(meanings["unit"].notna(), meanings["type"])
    shown = meanings.assign(unit=unit)[["column_name", "unit", "meaning", "comes_from"]]
    listing(_COLUMNS, shown.to_numpy().tolist(), caption=f"Columns of the table {asked}")
    st.html(f'<p class="fw-quiet">{HOW}</p>')


def _made(tidy: Tidy, kind: Kind) -> bytes:
    return next(iter(tidy_files(tidy, kind).values())) if kind == "xlsx" else archive(tidy, kind)
