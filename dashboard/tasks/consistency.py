"""Do readings agree: which instruments, methods and shops have begun to read high or low."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

import streamlit as st

from dashboard import pictures, snapshot
from dashboard.listing import Column, listing
from dashboard.people import may
from dashboard.style import look
from fleetwear.planning.consistency import CANNOT_TELL, LEAST_DAYS
from fleetwear.planning.wording import say_count, say_date, say_small_play
from fleetwear.reports.inert import html_text, markdown_text, on_screen

if TYPE_CHECKING:
    from collections.abc import Hashable
    from typing import Any

    from fleetwear.planning.consistency import Consistency

_COLUMNS = [
    Column("Source", bare=True),
    Column("Readings", tight=True),
    Column("Days", tight=True),
    Column("Last read", tight=True),
    Column("What is seen", broad=True),
]
_HOW_TO_READ = (
    "Each point is a day: how far the readings of this source lay from what the other readings of the same joints "
    "say, as an exponentially weighted moving average (each new day counts a fifth). The band is where it stays by "
    "chance in all but one of 500 days. Rings lie beyond it. One ring is no finding: a source is named when, beside "
    "that, a step in its points is beyond doubt (p below 0.01, adjusted for every place it might be and every source "
    "looked at)."
)


def show() -> None:
    """Write the page."""
    folder, number = snapshot.current()
    found = snapshot.consistency(folder, number)
    st.title("Do readings agree")
    st.markdown(
        "Whether an instrument, a method or a shop has begun to read high or low, told by the other readings of the "
        "same joints."
    )
    _named(found)
    st.subheader("Every source")
    rows = found.sources.sort_values(["named", "source", "name"], ascending=[False, True, True])
    listing(_COLUMNS, [_cells(row) for row in rows.to_dict("records")], caption="Sources of readings")
    st.subheader("One source over time")
    enough = rows[rows["n_days"] >= LEAST_DAYS]
    if enough.empty:
        st.markdown(f"No source has readings on {LEAST_DAYS} days yet.")
        return
    labels = (enough["source"] + ": " + enough["name"]).tolist()
    chosen = enough.iloc[labels.index(st.selectbox("Source", labels, key="source"))]
    spec = pictures.consistency_spec(folder, number, chosen["source"], chosen["name"], look().name)
    pictures.write(spec, alt=f"Control chart of {chosen['source']} {chosen['name']}: {chosen['says']}")
    for text in (_HOW_TO_READ, CANNOT_TELL):
        st.html(f'<p class="fw-quiet">{html_text(text)}</p>')


def _named(found: Consistency) -> None:
    """Write what stands out, and what was agreed."""
    if found.named.empty:
        st.markdown("**Nothing stands out.**")
    for row in found.named.to_dict("records"):
        st.markdown(f"**{markdown_text(str(row['says']))}**")
    if not found.named.empty:
        st.markdown("Once a person agrees, its readings count for less from the next forecast on:")
        first = found.named.iloc[0]
        name = shlex.quote(on_screen(first["name"]))  # whoever copies this into a shell runs no part of a name
        st.code(f'fleetwear agree {first["source"]} {name} --why "..." --by ...', language=None)
    for row in found.agreements[found.agreements["stands"]].to_dict("records"):
        until = f" to {say_date(row['until'])}" if row["until"] is not None and row["until"] == row["until"] else " on"
        by = f", agreed by {row['agreed_by']}" if row["agreed_by"] and may("people") else ""
        st.markdown(
            markdown_text(
                f"{row['source'].capitalize()} {row['name']} counts for less from {say_date(row['since'])}{until}: "
                f"{row['variance_ratio']:.1f} times the variance of other readings{by}."
            )
        )


def _cells(row: dict[Hashable, Any]) -> list[str]:
    if row["named"]:
        which = "high" if row["shift_mm"] > 0 else "low"
        seen = f"{say_small_play(abs(row['shift_mm']))} {which} since {say_date(row['since'])}"
    elif row["n_days"] < LEAST_DAYS:
        seen = f"{say_count(row['n_days'], 'day', 'days')}: too few to tell"
    else:
        seen = "nothing stands out"
    return [
        f"{str(row['source']).capitalize()} {row['name']}",
        f"{row['n_readings']:,}",
        f"{row['n_days']:,}",
        say_date(row["last_day"]),
        seen,
    ]
