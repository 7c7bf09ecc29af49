"""Every row that the store has of one vehicle, with what it superseded and what became of it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.planning.named_vehicle import find_vehicle
from fleetwear.store import sql

if TYPE_CHECKING:
    import duckdb

_CALLED = {
    "vehicles": "vehicle",
    "limits": "limit",
    "services": "service",
    "parts": "part",
    "visits": "visit",
    "readings": "reading",
}


def read_history(con: duckdb.DuckDBPyConnection, name: str) -> pd.DataFrame:
    """Return the rows of a vehicle named by unit number, VIN or plate, and the limits that may hold for it, by date.

    Parameters
    ----------
    con
        A connection to the store or a snapshot.
    name
        The vehicle.

    Returns
    -------
    DataFrame
        row (such as "reading", as `fleetwear correct` takes it), number, date, says (a dict of the filled cells),
        state in words, supersedes (a number or missing), changes, by, at and why (of the correction that took the row
        out, or else of the one that brought it), file, file_row, loaded_at.

    Raises
    ------
    InputError
        If there is no such vehicle.
    """
    key = {"table_name": None, "row_id": None, "vehicle_id": find_vehicle(con, name).vehicle_id}
    rows = con.execute(sql("history/rows"), key).df()
    called = rows["table_name"].map(lambda table: _CALLED.get(table, table))
    gone = rows["became"].notna()
    return pd.DataFrame(
        {
            "row": called,
            "number": rows["row_id"],
            "date": pd.to_datetime(rows["on_date"]).dt.strftime("%Y-%m-%d").fillna(""),
            "says": [
                {head: cell for head, cell in json.loads(cells).items() if cell is not None} for cells in rows["cells"]
            ],
            "state": [
                _say_state(became, new, what, aside=aside)
                for became, new, what, aside in zip(
                    rows["became"], rows["new_row_id"], called, rows["is_set_aside"], strict=True
                )
            ],
            "supersedes": rows["supersedes"].astype("Int64").astype(object).where(rows["supersedes"].notna(), None),
            "changes": rows["changes"].fillna(""),
            "by": rows["became_by"].where(gone, rows["said_by"]).fillna(""),
            "at": _moment(rows["became_at"].where(gone, rows["said_at"])),
            "why": rows["became_why"].where(gone, rows["why"]).fillna(""),
            "file": rows["file_name"],
            "file_row": rows["source_row"],
            "loaded_at": _moment(rows["loaded_at"]),
        }
    )


def _say_state(became: object, new_row_id: object, called: str, *, aside: bool) -> str:
    if isinstance(became, str):
        return "withdrawn" if became == "withdrawn" else f"superseded by {called} {int(new_row_id):d}"  # type: ignore[call-overload]
    return "set aside" if aside else "stands"


def _moment(values: pd.Series) -> pd.Series:
    return pd.to_datetime(values).dt.strftime("%Y-%m-%d %H:%M:%S").fillna("")
