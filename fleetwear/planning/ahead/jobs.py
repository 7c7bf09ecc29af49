"""Jobs: joints that are replaced together because their part is ordered in pairs, or one alone, draw by draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.planning.ahead.gathering import any_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Integers


@dataclass(frozen=True)
class Jobs:
    """G jobs of V vehicles; ``needed`` and ``week`` say draw by draw whether and when each is done."""

    table: pd.DataFrame
    """One row a job: vehicle (row of the draws), vehicle_id, depot, part_number, lead_days, pieces, hours,
    alignment_after, at_once, joints (how many it replaces)."""
    needed: NDArray[np.bool_]
    """(G, K)"""
    week: NDArray[np.int64]
    """(G, K) the week in which it is done, 0 the first."""


def make_jobs(joints: pd.DataFrame, over: NDArray[np.bool_], service_week: Integers) -> Jobs:
    """Return the jobs of some joints.

    A job is needed where one of its joints is over its limit when its vehicle is in, in any load direction; at once,
    whatever the draw, where a joint is measured over its limit or a symptom is confirmed.

    Parameters
    ----------
    joints
        One row a joint with a part, in the order of ``over``: vehicle, vehicle_id, position_id, depot, axle, kind,
        place, at_once and the columns of ``fit_parts``.
    over
        Whether the joint is over when its vehicle is next in, (joints, K).
    service_week
        The week of each vehicle's next service, (V, K).
    """
    frame = joints.reset_index(drop=True)
    paired = frame["ordered_in_pairs"].to_numpy(dtype=bool)
    keys = pd.DataFrame(
        {
            "vehicle": frame["vehicle"],
            "part": frame["part_number"].astype(str),
            "axle": np.where(paired, frame["axle"].fillna("").astype(str), ""),
            "place": np.where(paired, frame["place"].fillna("").astype(str), ""),
            "alone": np.where(paired, -1, frame["position_id"]),
        }
    )
    code = pd.MultiIndex.from_frame(keys).factorize()[0].astype(np.int64)
    first = frame.groupby(code).first()
    counted = np.bincount(code, minlength=len(first))
    together = first["ordered_in_pairs"].to_numpy(dtype=bool)
    count = np.where(together, np.maximum(counted, 2), counted)
    at_once = any_of(frame["at_once"].to_numpy(dtype=bool)[:, None], code, len(first))[:, 0]
    needed = any_of(over, code, len(first)) | at_once[:, None]
    week = np.where(at_once[:, None], 0, service_week[first["vehicle"].to_numpy(dtype=np.int64)])
    table = pd.DataFrame(
        {
            "vehicle": first["vehicle"].to_numpy(dtype=np.int64),
            "vehicle_id": first["vehicle_id"],
            "depot": first["depot"],
            "part_number": first["part_number"],
            "lead_days": first["lead_days"],
            "pieces": first["pieces_per_joint"].to_numpy(dtype=float) * count,
            "hours": first["labour_hours"].to_numpy(dtype=float) * count,
            "alignment_after": first["alignment_after"].to_numpy(dtype=bool),
            "at_once": at_once,
            "joints": count,
        }
    )
    return Jobs(table, needed, week.astype(np.int64))
