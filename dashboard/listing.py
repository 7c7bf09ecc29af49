"""Listings: tables that wrap, can be read aloud and printed, and fold into a list on a narrow screen."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

import streamlit as st

from fleetwear.planning.wording import is_known, say_probability
from fleetwear.reports.inert import html_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fleetwear.reports.looks import Look


@dataclass(frozen=True)
class Markup:
    """A cell that is HTML already; every other cell is escaped."""

    html: str


Cell = str | Markup


@dataclass(frozen=True)
class Column:
    """A column of a listing."""

    name: str
    tight: bool = False
    """Whether it is kept on one line."""
    broad: bool = False
    """Whether it is kept from growing narrow."""
    bare: bool = False
    """Whether a narrow screen shows its cells without its name."""


def vehicle_link(unit: str) -> Markup:
    """Return a link to a vehicle's page."""
    return Markup(
        f'<a href="vehicle?unit={quote(unit, safe="", errors="replace")}" target="_self">{html_text(unit)}</a>'
    )


def vehicle_list_link() -> Markup:
    """Return a link back to the list of all vehicles."""
    return Markup('<a class="fw-back" href="./" target="_self">All vehicles</a>')


def probability(value: object, look: Look, *, otherwise: str = "no limit") -> Markup:
    """Return a probability as a number beside its shade."""
    if not is_known(value):
        return Markup(f'<span class="fw-quiet">{html_text(otherwise)}</span>')
    shade = look.shade(float(str(value)))
    swatch = f'<span class="fw-swatch" style="background:{shade}"></span>'
    return Markup(f'<span class="fw-span">{swatch}{say_probability(value)}</span>')


def window(words: str) -> Markup:
    """Return a value with its window, "a (b to c)", that breaks after a comma, before "(" and "to" only."""
    parts = re.split(r"(?<=,) | (?=\(|to )", words)
    return Markup(" ".join(f'<span class="fw-span">{html_text(part)}</span>' for part in parts))


def listing(columns: Sequence[Column], rows: Iterable[Sequence[Cell]], *, caption: str) -> None:
    """Write a table; ``caption`` says what it lists, for those who have it read aloud."""
    head = "".join(f'<th scope="col"{_tight(column)}>{html_text(column.name)}</th>' for column in columns)
    body = "".join(
        "<tr>" + "".join(_cell(column, cell) for column, cell in zip(columns, row, strict=True)) + "</tr>"
        for row in rows
    )
    st.html(
        f'<table class="fw-table" aria-label="{html_text(caption)}">'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )


ROWS = 25
"""Rows of a page of a long listing."""
_PAGES_TO_CHOOSE = 40
"""Pages that are chosen from a list; of more, one is asked for by its number."""


def page_of(total: int, *, key: str, of: str = "Rows") -> slice:
    """Ask for a page of a long listing and return which rows it has; a short one is shown whole, and nothing asked.

    ``of`` says what the rows are, ``key`` tells the question from others on the page.
    """
    if total <= ROWS:
        return slice(0, total)
    pages = -(-total // ROWS)
    if pages <= _PAGES_TO_CHOOSE:
        starts = list(range(0, total, ROWS))
        first: int = st.selectbox(
            of, starts, format_func=lambda at: f"{at + 1} to {min(at + ROWS, total)} of {total:,}", width=170, key=key
        )
        # a choice made for a longer listing may lie beyond this one
        return slice(first, first + ROWS) if first < total else slice(0, ROWS)
    page = st.number_input(
        f"{of}: page 1 to {pages:,}", min_value=1, max_value=pages, step=1, width=220, key=f"{key}_page"
    )
    return slice((int(page) - 1) * ROWS, int(page) * ROWS)


def facts(pairs: Iterable[tuple[str, Cell]]) -> None:
    """Write names with their values, as many side by side as there is room for."""
    items = "".join(f"<div><dt>{html_text(name)}</dt><dd>{_inner(value)}</dd></div>" for name, value in pairs)
    st.html(f'<dl class="fw-facts">{items}</dl>')


def said(outcome: str, reason: str) -> None:
    """Write what is said of a vehicle: the outcome, and the reason under it."""
    head = html_text(outcome[:1].upper() + outcome[1:])
    st.html(f'<p class="fw-said"><b>{head}</b><br>{html_text(reason)}</p>')


def _tight(column: Column) -> str:
    if column.broad:
        return ' class="fw-broad"'
    return ' class="fw-tight"' if column.tight else ""


def _cell(column: Column, cell: Cell) -> str:
    inner = _inner(cell)
    if not inner:
        return "<td></td>"
    label = "" if column.bare else f'<span class="fw-label">{html_text(column.name)}: </span>'
    return f"<td{_tight(column)}>{label}{inner}</td>"


def _inner(cell: Cell) -> str:
    return cell.html if isinstance(cell, Markup) else html_text(cell)
