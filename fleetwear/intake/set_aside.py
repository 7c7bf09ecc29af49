"""Rows in the store that later entries found out as mistaken: set aside, with a copy in quarantine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

_QUARANTINE = (
    "insert into quarantine "
    "(quarantine_id, load_id, file_name, sheet, table_name, source_row, cells, reasons) "
    "values (?, ?, ?, ?, ?, ?, ?::json, ?)"
)
_VOICE = "insert into refused_odometer (quarantine_id, vehicle_id, entry_date, odometer_km) values (?, ?, ?, ?)"
_ASIDE = "insert into set_aside (table_name, row_id, quarantine_id) values (?, ?, ?)"


def set_aside(
    con: duckdb.DuckDBPyConnection,
    found_out: pd.DataFrame,
    *,
    load_id: int,
    next_id: Callable[[], int],
) -> int:
    """Set stored rows aside and return how many rows of files that were.

    With a visit go its readings and what else was said of it, each to be corrected in its own file.

    Parameters
    ----------
    con
        The writer.
    found_out
        table_name, row_id, reason, vehicle_id, on_date, odometer_km of the rows.
    load_id
        The load whose entries found them out.
    next_id
        Returns the next quarantine number.
    """
    if found_out.empty:
        return 0
    con.register("found_out", found_out[["table_name", "row_id"]].astype({"row_id": "int64"}))
    of_visits = con.execute(statement("stored_visits")).df()
    others = con.execute(statement("stored_others")).df()
    con.unregister("found_out")
    said = {(row["table_name"], row["row_id"]): row for row in _records(found_out)}
    voiced: set[tuple[str, int]] = set()
    for row in [*_records(of_visits), *_records(others)]:
        is_of_visit = "visit_id" in row
        key = ("visits", row["visit_id"]) if is_of_visit else (row["table_name"], row["row_id"])
        entry = said[key]
        quarantine_id = next_id()
        place = [row["file_name"], row["sheet"], row["file_table"], row["source_row"]]
        con.execute(_QUARANTINE, [quarantine_id, load_id, *place, row["cells"], [entry["reason"]]])
        con.execute(_ASIDE, [row["table_name"], row["row_id"], quarantine_id])
        if key in voiced or (is_of_visit and not row["brought_visit"]):
            continue
        voiced.add(key)
        if is_of_visit:
            con.execute(_ASIDE, [*key, quarantine_id])
        con.execute(_VOICE, [quarantine_id, entry["vehicle_id"], entry["on_date"].date(), entry["odometer_km"]])
    return len(of_visits) + len(others)


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a frame's rows with plain values, and None where there is none."""
    return [
        {str(name): None if pd.isna(value) else value for name, value in row.items()}
        for row in frame.to_dict("records")
    ]
