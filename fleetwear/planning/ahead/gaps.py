"""What a plan does not cover, counted and named, so that nothing is guessed in silence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.planning.flags import Flags

_NAMED = 5
_LIKELY = 0.01
"""Mean number of crossings in all draws below which a joint's gap is not worth naming."""


def what_is_missing(joints: pd.DataFrame, over: NDArray[np.bool_], flags: Flags, stock: pd.DataFrame) -> pd.DataFrame:
    """Return one row a gap: what is missing, how many there are, the first of them by name, and what it means.

    Joints without part, lead days, labour hours or cost are counted where they press or may cross.

    Parameters
    ----------
    joints
        The joints of the plan: unit, joint, presses, p_after_next, the columns of ``fit_parts``.
    over
        Whether each is over at its service, draw by draw.
    flags
        What is said of the plan's vehicles.
    stock
        Rows of ``ahead/stock.sql``.
    """
    live = joints["presses"].to_numpy(dtype=bool) | (over.mean(axis=1) >= _LIKELY)
    part = joints["part_number"].notna().to_numpy()
    named = joints["unit"].astype(str) + " " + joints["joint"].astype(str)
    rows = [
        _gap("no limit or no model", joints["p_after_next"].isna().to_numpy(), named,
             "in no number of parts or hours unless measured over the limit or with a symptom"),
        _gap("no part on record", live & ~part, named, "in no order and no bay hours; load a row of a parts file"),
        _gap("no lead days of the part", live & part & joints["lead_days"].isna().to_numpy(), named,
             "no order-by date"),
        _gap("no labour hours of the part", live & part & joints["labour_hours"].isna().to_numpy(), named,
             "left out of bay hours"),
        _gap("no cost of the part", live & part & joints["cost"].isna().to_numpy(), named, "no costs compared"),
    ]  # fmt: skip
    notes = flags.vehicles["distance_note"].fillna("").to_numpy(dtype=str)
    units = flags.vehicles["unit"].astype(str)
    rows.append(
        _gap("service or odometer assumed", notes != "", units, "their week rests on an assumption; see the vehicle")
    )
    depots = set(joints["depot"].str.lower())
    elsewhere = ~stock["depot"].str.lower().isin(depots).to_numpy(dtype=bool)
    shelf = stock["part_number"].astype(str) + " at " + stock["depot"].astype(str)
    rows.append(_gap("stock at a depot without such vehicles", elsewhere, shelf, "not counted"))
    frame = pd.DataFrame(rows, columns=["missing", "count", "first", "means"])
    return frame[frame["count"] > 0].reset_index(drop=True)


def _gap(missing: str, which: NDArray[np.bool_], named: pd.Series, means: str) -> dict[str, object]:
    first = ", ".join(str(name) for name in named[which].head(_NAMED))
    return {"missing": missing, "count": int(which.sum()), "first": first, "means": means}
