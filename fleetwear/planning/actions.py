"""Actions: what was done about a flag, which the flag follows until a later reading or replacement settles it.

An action tells what is under way. It never changes an outcome, not even "found good": only a reading does.
"""

from __future__ import annotations

import csv
import difflib
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.intake import take_files
from fleetwear.intake.words import word_form
from fleetwear.planning.wording import is_known, say_date
from fleetwear.store import Store, sql
from fleetwear.vocabulary import Action

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    import duckdb
    import pandas as pd

COLUMNS = ["action", "action_date", "action_by", "action_note"]
"""What a row of the flags has of its joint's action; nothing where none is open."""


def read_actions(con: duckdb.DuckDBPyConnection, forecast_id: int) -> pd.DataFrame:
    """Return the latest action of each joint: action_id, vehicle_id, position_id, ``COLUMNS`` and settled_on.

    ``settled_on`` is the day of the reading or replacement that has settled it, or nothing.
    """
    return con.execute(sql("pages/actions"), {"forecast_id": forecast_id}).df()


def read_latest_actions(folder: Path, forecast_id: int, *, wait_seconds: float = 2.0) -> pd.DataFrame:
    """Return what `read_actions` does, from the store itself, with what was recorded since it was published.

    Raises
    ------
    StoreError
        If the store is held by another program for longer than ``wait_seconds``.
    """
    with Store(folder).reader(wait_seconds=wait_seconds) as con:
        return read_actions(con, forecast_id)


def with_actions(joints: pd.DataFrame, actions: pd.DataFrame) -> pd.DataFrame:
    """Return rows of joints with ``COLUMNS`` of their open actions; whatever is said of them stays."""
    own = joints[[name for name in joints.columns if name not in COLUMNS]]
    keys = ["vehicle_id", "position_id"]
    open_ = actions.loc[actions["settled_on"].isna(), [*keys, *COLUMNS]]
    return own.merge(open_, on=keys, how="left")


def latest_of_vehicles(joints: pd.DataFrame) -> pd.DataFrame:
    """Return the latest open action of each vehicle that has one: vehicle_id, ``COLUMNS``, action_joint."""
    acted = joints[joints["action"].notna()].sort_values(["action_date", "position_id"], ascending=[False, True])
    return (
        acted.drop_duplicates("vehicle_id")[["vehicle_id", *COLUMNS, "joint"]]
        .rename(columns={"joint": "action_joint"})
        .reset_index(drop=True)
    )


def find_joint(con: duckdb.DuckDBPyConnection, unit: str, name: str) -> str:
    """Return the joint of a vehicle that a name in words means, in the store's own words.

    Raises
    ------
    InputError
        If the vehicle's model has no such joint, naming the nearest.
    """
    rows = con.execute(
        "select distinct p.joint from positions as p join vehicles as v on v.model = p.model "
        "where v.unit = ? order by p.joint",
        [unit],
    ).fetchall()
    known = {word_form(str(row[0])): str(row[0]) for row in rows}
    if word_form(name) in known:
        return known[word_form(name)]
    near = difflib.get_close_matches(word_form(name), list(known), n=3, cutoff=0.3)
    hint = f"The nearest are: {', '.join(known[word] for word in near)}." if near else "Load a positions file first."
    raise InputError(f"vehicle {unit} has no joint {name!r}", mend=hint)


def say_action(row: Mapping[str, object] | pd.Series, *, joint: object = None) -> str:
    """Return an open action in words, "ordered on 2026-11-20 (left front ball joint)"; empty where there is none."""
    if not is_known(row.get("action")):
        return ""
    of = f" ({joint})" if is_known(joint) else ""
    return f"{row['action']} on {say_date(row['action_date'])}{of}"


def record_action(
    folder: Path,
    *,
    unit: str,
    joint: str,
    action: str,
    on: date,
    today: date,
    by: str = "",
    note: str = "",
    recorded_at: datetime | None = None,
    wait_seconds: float = 30.0,
) -> bool:
    """Record what was done about a joint's flag, by way of the inbox, and return whether it is new to the store.

    Parameters
    ----------
    folder
        The store's folder.
    unit, joint
        The vehicle's unit number, and the joint in words, such as "left front lower ball joint".
    action
        One of ``vocabulary.Action``.
    on, today
        The day of the action; not after today.
    by, note
        Who did it, and whatever else is to be known.
    recorded_at, wait_seconds
        As in ``take_files``.

    Raises
    ------
    InputError
        If the store knows no such vehicle, joint or action, or the day lies ahead; nothing is recorded as done then,
        and the row stands in quarantine with the reason.
    StoreError
        If the store stays locked; the inbox keeps the action, and the next load takes it.
    """
    words = {word_form(word): word for word in Action}
    if word_form(action) not in words:
        raise InputError(f"action {action!r} is not known", mend=f"Write one of: {', '.join(Action)}.")
    row = {"unit": unit, "joint": joint, "action date": on.isoformat(), "action": words[word_form(action)],
           "done by": by, "note": note}  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "action.csv"
        with path.open("w", newline="", encoding="utf-8") as out:
            writer = csv.DictWriter(out, list(row))
            writer.writeheader()
            writer.writerow(row)
        summaries = take_files(
            folder, [path], today=today, loaded_at=recorded_at, by="fleetwear act", wait_seconds=wait_seconds
        )
    own = [one for one in summaries if one.file == path.name and one.table == "actions"]
    reasons = [reason for one in own for reason in one.reasons]
    if reasons or any(one.rows_quarantined_before for one in own):
        raise InputError(
            "; ".join(reasons) or "the same row was refused before",
            where=f"{unit}, {joint}",
            mend="Nothing was recorded as done; `fleetwear quarantine` shows the row.",
        )
    return any(one.rows_in for one in own)
