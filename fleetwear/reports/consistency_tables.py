"""Tables of how consistently sources of readings read."""

from __future__ import annotations

import pandas as pd


def source_table(sources: pd.DataFrame, *, short: bool) -> pd.DataFrame:
    """Return one row a source: what it is, how much it has read, and what stands out; ``short`` for a terminal.

    Plays are in mm, with three decimals.
    """
    frame = pd.DataFrame(
        {
            "source": sources["source"],
            "name": sources["name"],
            "days": sources["n_days"],
            "readings": sources["n_readings"],
            "stands out": ["yes" if named else "no" for named in sources["named"]],
            "since": pd.to_datetime(sources["since"]).dt.strftime("%Y-%m-%d"),
            "shift_mm": sources["shift_mm"].round(3),
            "shift_lower_mm": sources["shift_lower"].round(3),
            "shift_upper_mm": sources["shift_upper"].round(3),
            "p_adjusted": sources["p_value"],
            "says": sources["says"],
        }
    )
    ordered = frame.sort_values(["stands out", "source", "name"], ascending=[False, True, True], ignore_index=True)
    return ordered.drop(columns=["shift_lower_mm", "shift_upper_mm", "p_adjusted", "says"]) if short else ordered
