"""The part of "How well a reading is known" that repeat visits on record tell: setup beside repeatability."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import streamlit as st

from dashboard import snapshot
from dashboard.people import may
from fleetwear.errors import StoreError
from fleetwear.planning.setups import HOW_TOLD
from fleetwear.reports.inert import html_text, markdown_text
from fleetwear.reports.setup_tables import setup_source, setup_table, setup_words

if TYPE_CHECKING:
    from collections.abc import Hashable

    import pandas as pd

    from fleetwear.planning.setups import SetupRecord

_ALL_KINDS = "all kinds together"


class Listed(Protocol):
    """Writes a table with a caption."""

    def __call__(self, table: pd.DataFrame, *, caption: str) -> None:
        """Write it."""


@dataclass(frozen=True)
class OfVisits:
    """Setup and repeatability of one group, mm, and where they come from in words."""

    setup_mm: float
    repeatability_mm: float
    source: str


@dataclass(frozen=True)
class Choices:
    """The groups whose setup can go into a budget, by name."""

    rows: dict[str, dict[Hashable, Any]] = field(default_factory=dict)
    by: str = "method"
    level: float = 0.95

    @property
    def names(self) -> list[str]:
        """Their names."""
        return list(self.rows)

    def chosen(self, name: str | None, unit: str) -> OfVisits | None:
        """Return one of them, its source in the unit; None where another name is given."""
        row = self.rows.get(name or "")
        if row is None:
            return None
        stroke = float(np.nan_to_num(row["repeatability_mm"]))
        return OfVisits(float(row["counts_as_mm"]), stroke, setup_source(row, self.by, unit, level=self.level))


def show(*, listed: Listed) -> Choices:
    """Write what repeat visits say, and return what a budget may take from it; nothing without a forecast."""
    st.subheader("Setup, from repeat visits")
    try:
        folder, number = snapshot.current()
        people = may("people")
        first = snapshot.setups(folder, number, kind=None, people=people)
        with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
            kind = st.selectbox("Kind of joint", [_ALL_KINDS, *first.kinds], key="setup_kind", width=260)
            by = st.selectbox("Within a method, by", list(first.findings.tables), key="setup_by", width=220)
        own = kind if kind != _ALL_KINDS else None
        record = first if own is None else snapshot.setups(folder, number, kind=own, people=people)
    except StoreError as error:
        st.markdown(f"Once there is a forecast, repeat visits tell the setup here ({markdown_text(error.what)}).")
        return Choices()
    return _written(record, by or "method", listed)


def _written(record: SetupRecord, by: str, listed: Listed) -> Choices:
    unit = record.play_unit
    listed(setup_table(record, by, unit), caption=f"Setup and repeatability by {by}, as standard deviations")
    for text in setup_words(record, unit):
        st.markdown(markdown_text(text))
    st.html(f'<p class="fw-quiet">{html_text(HOW_TOLD)}</p>')
    rows = {
        f"{row['way']}{', ' + row['name'] if by != 'method' else ''}": row
        for row in record.findings.tables[by].to_dict("records")
        if np.isfinite(row["counts_as_mm"])
    }
    return Choices(rows, by, record.findings.level)
