"""Tables of limits: of joints and of wheel checks, with basis, source and the way each is stated for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.planning.wording import is_known
from fleetwear.store import sql

if TYPE_CHECKING:
    import duckdb


def limit_table(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Return every limit on record, of joints first: what, subject, limit as written and in mm, basis, source, way."""
    rows = con.execute(sql("pages/limits")).df()
    written = rows["limit_written"].astype("object").where(rows["limit_mm"].notna(), "no number")
    unit = rows["limit_unit"].astype("object").where(rows["limit_mm"].notna(), "")
    table = rows[["what", "subject", "model", "place", "weight_class"]].copy()
    table["bead_inches"] = [
        _range(low, high) for low, high in zip(rows["bead_from_in"], rows["bead_to_in"], strict=True)
    ]
    table["limit"] = written.str.cat(unit, sep=" ").str.strip()
    table["limit_mm"] = rows["limit_mm"].round(4)
    for name in ("basis", "source", "direction", "method", "support", "read_at"):
        table[name] = rows[name]
    table["valid_from"] = pd.to_datetime(rows["valid_from"]).dt.strftime("%Y-%m-%d")
    table["note"] = rows["note"]
    text = table.select_dtypes(include=["object", "string"]).columns
    table[text] = table[text].astype("object").where(table[text].notna(), "")
    return table


def _range(low: object, high: object) -> str:
    if not is_known(low):
        return f"up to {_inches(high)}" if is_known(high) else ""
    return f"{_inches(low)} to {_inches(high)}" if is_known(high) else f"{_inches(low)} and over"


def _inches(value: object) -> str:
    return f"{float(str(value)):.2f}"
