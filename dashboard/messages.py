"""Messages: what a page says when there is nothing to show, and the caution that stands on every page."""

from __future__ import annotations

import os
from contextlib import contextmanager
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.serve import SIGN_IN_VARIABLE
from fleetwear.errors import FleetwearError, StoreError
from fleetwear.reports.blank_files import WORKBOOK, workbook
from fleetwear.reports.inert import html_text
from fleetwear.store import Store, default_store_dir, snapshot_number
from fleetwear.vocabulary import CAUTION

if TYPE_CHECKING:
    from collections.abc import Iterator


_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@contextmanager
def told_calmly() -> Iterator[None]:
    """Turn an error of fleetwear into a message: what is wrong, where, and how to mend it."""
    try:
        yield
    except StoreError as error:
        if snapshot_number(default_store_dir()) is None or "no forecast" in error.what:
            nothing_yet()
        else:
            show(error)
    except FleetwearError as error:
        show(error)


def show(error: FleetwearError) -> None:
    """Write an error as a message."""
    what = f"{error.what[:1].upper()}{error.what[1:]}".rstrip(".")
    where = f'<br><span class="fw-quiet">Where: {html_text(outward(error.where))}</span>' if error.where else ""
    mend = f"<br>{html_text(outward(error.mend))}" if error.mend else ""
    st.html(f'<p class="fw-said" role="status"><b>{html_text(outward(what))}.</b>{where}{mend}</p>')


def outward(text: object) -> str:
    """Return a text that does not tell where the store lies on the server, unless its own user is who reads."""
    said = str(text)
    return said.replace(str(default_store_dir()), "the store's folder") if os.environ.get(SIGN_IN_VARIABLE) else said


def nothing_yet() -> None:
    """Write what to do where there is no store or no forecast: the next step first."""
    st.subheader("There is no forecast to show yet")
    if Store(default_store_dir()).exists:
        st.markdown("Files are loaded. Make the first forecast, in a terminal:")
        st.code("fleetwear forecast", language=None)
        st.markdown("If something is still missing, fill it in and load it first:")
    else:
        st.markdown("1. Take the templates, and fill in what you know of your fleet. A sheet explains every column:")
    st.download_button("Download templates (XLSX)", workbook, WORKBOOK, _XLSX, key="templates", on_click="ignore")
    if not Store(default_store_dir()).exists:
        st.markdown("2. In a terminal, load the file and make the first forecast:")
        st.code(f"fleetwear load {WORKBOOK}\nfleetwear forecast", language=None)
        st.markdown("3. Load this page again.")
    st.markdown("Or try it first with an invented fleet, in a store of its own:")
    st.code("fleetwear demo", language=None)
    st.markdown("This page looks for the store in:")
    st.code(outward(default_store_dir()), language=None)


def caution() -> None:
    """Write the caution."""
    st.html(f'<p class="fw-caution">{html_text(CAUTION)}</p>')
