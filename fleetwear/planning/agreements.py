"""What a person agreed about sources of readings: recorded, counted in later fits, taken back; nothing is altered."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.store import sql

if TYPE_CHECKING:
    from datetime import date, datetime

    import duckdb

    from fleetwear.planning.consistency import Consistency


def agree(
    con: duckdb.DuckDBPyConnection,
    found: Consistency,
    source: str,
    name: str,
    *,
    agreed_at: datetime,
    until: date | None = None,
    why: str | None = None,
    by: str | None = None,
) -> tuple[date, float]:
    """Record that a person agrees with what stands out; return since when, and what variance its readings count with.

    Readings of the source from then on (to ``until``) count in later fits as if their variance were larger by the
    square of the shift; returned is the variance over that of others. No number is altered.

    Raises
    ------
    InputError
        If nothing stands out about that source, or ``until`` is before the step.
    """
    chosen = found.named[(found.named["source"] == source) & (found.named["name"] == name)]
    if chosen.empty:
        others = "; ".join(
            f"{row.source} {row.name_}" for row in found.named.rename(columns={"name": "name_"}).itertuples()
        )
        raise InputError(
            f"nothing stands out about {source} {name!r}",
            mend=f"What stands out: {others}." if others else "Nothing stands out at all; see `fleetwear consistency`.",
        )
    row = chosen.iloc[0]
    since, shift = pd.Timestamp(row["since"]).date(), float(row["shift_mm"])
    if until is not None and until < since:
        raise InputError(f"it cannot end on {until}, before it began on {since}", mend="Give a later day.")
    own = found.points[(found.points["source"] == source) & (found.points["name"] == name)]
    variance = float((own["variance_mm2"] * own["n_readings"]).median())
    ratio = 1.0 + shift**2 / variance
    _record(con, source, name, since, until, shift, ratio, stands=True, why=why, by=by, agreed_at=agreed_at)
    return since, ratio


def take_back(
    con: duckdb.DuckDBPyConnection,
    source: str,
    name: str,
    *,
    agreed_at: datetime,
    why: str | None = None,
    by: str | None = None,
) -> int:
    """Record that what was agreed about a source no longer stands, and return how many agreements that ends.

    Raises
    ------
    InputError
        If nothing that was agreed about it stands.
    """
    every = con.execute(sql("consistency/agreements")).df()
    standing = every[every["stands"] & (every["source"] == source) & (every["name"] == name)]
    if standing.empty:
        raise InputError(f"nothing that was agreed about {source} {name!r} stands", mend="See `fleetwear consistency`.")
    for row in standing.to_dict("records"):
        until = None if pd.isna(row["until"]) else pd.Timestamp(row["until"]).date()
        since = pd.Timestamp(row["since"]).date()
        ratio, shift = float(row["variance_ratio"]), float(row["shift_mm"])
        _record(con, source, name, since, until, shift, ratio, stands=False, why=why, by=by, agreed_at=agreed_at)
    return len(standing)


def _record(
    con: duckdb.DuckDBPyConnection,
    source: str,
    name: str,
    since: date,
    until: date | None,
    shift_mm: float,
    variance_ratio: float,
    *,
    stands: bool,
    why: str | None,
    by: str | None,
    agreed_at: datetime,
) -> None:
    con.execute(
        sql("consistency/agree"),
        {
            "source": source, "name": name, "since": since, "until": until, "shift_mm": shift_mm,
            "variance_ratio": variance_ratio, "stands": stands, "why": why, "agreed_by": by, "agreed_at": agreed_at,
        },
    ).fetchall()  # fmt: skip
