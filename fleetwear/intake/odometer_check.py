"""The odometer entries of a sheet against those on record: which rows contradict the rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.intake.odometer_order import (
    GRID_KM,
    MAX_KM_PER_DAY,
    contradicted,
    largest_chain,
    run_on,
)
from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    from collections.abc import Hashable

    import duckdb
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Contradictions:
    """What contradicts the largest set of entries that can all be true.

    Attributes
    ----------
    refused
        Rows of the sheet: n, reason, vehicle_id, on_date, odometer_km.
    found_out
        Rows in the store: table_name, row_id, reason, vehicle_id, on_date, odometer_km.
    """

    refused: pd.DataFrame
    found_out: pd.DataFrame


_REFUSED = ["n", "reason", "vehicle_id", "on_date", "odometer_km"]
_FOUND_OUT = ["table_name", "row_id", "reason", "vehicle_id", "on_date", "odometer_km"]


def find_contradictions(con: duckdb.DuckDBPyConnection, *, table: str) -> Contradictions:
    """Return what the entries of the tables ``checked`` and ``taken`` contradict, and what contradicts them.

    Parameters
    ----------
    con
        The writer; ``checked`` holds the sheet's rows and ``taken`` the good and new ones.
    table
        The name of the sheet's table; an odometer file may bring swaps.
    """
    con.execute(statement("vehicles_asked"))
    fresh = con.execute(statement("odometer_entries_of_sheet"), {"each_row": table == "odometer"}).df()
    nothing = Contradictions(pd.DataFrame(columns=_REFUSED), pd.DataFrame(columns=_FOUND_OUT))
    if fresh.empty:
        return nothing
    stored = con.execute(statement("odometer_entries")).df()
    swaps = con.execute(statement("odometer_swaps")).df()
    swaps["n"] = -1
    if table == "odometer":
        swaps = pd.concat([swaps, con.execute(statement("odometer_swaps_of_sheet")).df()], ignore_index=True)
    entries = pd.concat(
        [
            stored.assign(n=-1),
            fresh.assign(table_name=table, row_id=-1, is_voice=False),
        ],
        ignore_index=True,
    )
    entries["is_stored"] = (entries["n"] < 0) & ~entries["is_voice"].astype(bool)
    entries["day"] = _day_numbers(entries["on_date"])
    swaps["day"] = _day_numbers(swaps["on_date"])
    entries["running_km"] = _running(entries, swaps)
    wrong = contradicted(entries["vehicle_id"], entries["day"], entries["running_km"])
    if not len(wrong):
        return nothing
    judged = [
        _judge(group, swaps[swaps["vehicle_id"] == vehicle_id])
        for vehicle_id, group in entries[entries["vehicle_id"].isin(wrong)].groupby("vehicle_id", sort=True)
    ]
    out = pd.concat(judged, ignore_index=True)
    is_fresh = out["n"] >= 0
    return Contradictions(
        refused=out.loc[is_fresh, _REFUSED].reset_index(drop=True),
        found_out=out.loc[~is_fresh & out["is_stored"], _FOUND_OUT].reset_index(drop=True),
    )


def _day_numbers(dates: pd.Series) -> pd.Series:
    days = pd.to_datetime(dates).to_numpy().astype("datetime64[D]").astype(np.int64)
    return pd.Series(days, index=dates.index)


def _running(entries: pd.DataFrame, swaps: pd.DataFrame) -> NDArray[np.float64]:
    """Return the distances on the comparison grid, with swaps undone, aligned with the entries."""
    running = entries["odometer_km"].to_numpy(dtype=np.float64, copy=True)
    days = entries["day"].to_numpy()
    if len(swaps):
        own_rows = entries.groupby("vehicle_id").indices
    for vehicle_id, swapped in swaps.groupby("vehicle_id", sort=True):
        own = own_rows.get(vehicle_id, np.array([], dtype=np.int64))
        running[own] = run_on(
            days[own],
            running[own],
            swap_days=swapped["day"],
            swap_old_km=swapped["odometer_km"],
            swap_new_km=swapped["new_odometer_km"],
        )
    return np.asarray(np.round(running / GRID_KM) * GRID_KM)


def _judge(entries: pd.DataFrame, swaps: pd.DataFrame) -> pd.DataFrame:
    """Return the entries of one vehicle outside its largest chain, each with its reason.

    A swap that falls outside, or without which more entries can all be true, shifts nothing.
    """
    is_in, size = _largest_set(entries, swaps)
    while len(swaps):
        trials = [(_without_swap(entries, swaps, i), swaps.drop(swaps.index[i])) for i in range(len(swaps))]
        sets = [_largest_set(rest, kept) for rest, kept in trials]
        best = max(range(len(sets)), key=lambda i: sets[i][1])
        is_false = ~is_in[~entries.index.isin(trials[best][0].index)].any()
        if sets[best][1] < size or (sets[best][1] == size and not is_false):
            break
        swaps = trials[best][1]
        is_in = entries.index.isin(trials[best][0].index[sets[best][0]])
        size = sets[best][1]
    entries = entries.assign(running_km=_running(entries, swaps))
    believed = entries[is_in].drop_duplicates(["day", "running_km"]).sort_values(["day", "running_km"])
    out = entries[~is_in]
    believed_entries = believed.to_dict("records")
    reasons = [_reason(entry, believed_entries) for entry in out.to_dict("records")]
    return out.assign(reason=reasons)


def _largest_set(entries: pd.DataFrame, swaps: pd.DataFrame) -> tuple[NDArray[np.bool_], tuple[int, int]]:
    """Return which entries are in the largest chain, and its numbers of distinct and of stored ones."""
    entries = entries.assign(running_km=_running(entries, swaps))
    distinct = entries.groupby(["day", "running_km"], sort=True)["is_stored"].max().reset_index()
    chain = distinct[largest_chain(distinct["day"], distinct["running_km"], distinct["is_stored"])]
    kept = pd.MultiIndex.from_frame(chain[["day", "running_km"]])
    is_in = pd.MultiIndex.from_frame(entries[["day", "running_km"]]).isin(kept)
    return np.asarray(is_in), (len(chain), int(chain["is_stored"].sum()))


def _without_swap(entries: pd.DataFrame, swaps: pd.DataFrame, i: int) -> pd.DataFrame:
    """Return the entries without that of one swap."""
    swap = swaps.iloc[i]
    if swap["n"] >= 0:
        is_swap = entries["n"] == swap["n"]
    else:
        is_swap = (entries["table_name"] == "odometer") & (entries["row_id"] == swap["row_id"])
    rest: pd.DataFrame = entries.loc[~is_swap]
    return rest


def _reason(entry: dict[Hashable, Any], believed: list[dict[Hashable, Any]]) -> str:
    """Return in words what the entry contradicts: the nearest believed entry after or before it.

    Parameters
    ----------
    entry
        day, on_date, odometer_km and running_km of the entry.
    believed
        The same of the entries that are believed, by day and distance.
    """
    day, running = entry["day"], entry["running_km"]
    earlier = [other for other in believed if other["day"] <= day]
    later = [other for other in believed if other["day"] >= day]
    above = [other for other in later if other["running_km"] < running and other["day"] > day]
    below = [other for other in earlier if other["running_km"] > running and other["day"] < day]
    if above:
        against = f"lies above {_entry_words(above[0])}"
    elif below:
        against = f"lies below {_entry_words(below[-1])}"
    else:
        pace = f"would be more than {MAX_KM_PER_DAY:,.0f} km a day"
        too_fast_after = [
            other for other in earlier if running - other["running_km"] > MAX_KM_PER_DAY * max(day - other["day"], 1)
        ]
        if too_fast_after or not later:
            against = f"{pace} after {_entry_words((too_fast_after or earlier)[-1])}"
        else:
            against = f"{pace} before {_entry_words(later[0])}"
    mend = "correct it, or record a swap of the instrument in an odometer file"
    return f"odometer {_entry_words(entry)} {against}: {mend}"


def _entry_words(entry: dict[Hashable, Any]) -> str:
    return f"{entry['odometer_km']:,.0f} km on {entry['on_date'].date()}"
