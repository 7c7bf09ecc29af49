"""Joints worth doing together: the other side of an axle that is apart already, now or at a visit of its own later.

Doing it now costs part and labour; the alignment that the first side calls for is paid anyway. Later it costs part,
labour, the alignment once more and another day off the road, with the probability that the joint is over its limit by
the service after the next. Doing it now is worth it where that is dearer. What a joint is worth that would have
outlasted that service is left out, which speaks for later; so is what a joint costs that fails unseen, which speaks
for now.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from fleetwear.planning.ahead.settings import PlanSettings


def worth_together(joints: pd.DataFrame, settings: PlanSettings) -> pd.DataFrame:
    """Return one row a joint that is the other side of a pressing one, the most worth doing first.

    Parameters
    ----------
    joints
        One row a joint: unit, depot, vehicle_id, position_id, joint, axle, side, place, kind, presses (whether it is
        to be replaced), p_after_next (probability of being over its limit by the service after the next; nan if not
        known), and the columns of ``fit_parts``.
    settings
        Costs.

    Returns
    -------
    unit, depot, joint (the other side), done_with (the pressing joint), p_after_next, cost_now, cost_later, now
    (whether doing it now is the cheaper), note. Costs are nan where cost or labour hours are not on record. Parts
    that are ordered in pairs are not listed: both sides are done anyway.
    """
    frame = joints.assign(place=joints["place"].fillna(""))
    keys = ["vehicle_id", "axle", "place", "kind"]
    sided = frame[frame["side"].isin(["left", "right"]) & ~frame["ordered_in_pairs"]]
    first = sided.loc[sided["presses"], [*keys, "position_id", "joint"]].rename(
        columns={"position_id": "first_id", "joint": "done_with"}
    )
    pairs = sided[~sided["presses"]].merge(first, on=keys)
    part = pairs["cost"] * pairs["pieces_per_joint"] + pairs["labour_hours"] * settings.hour_cost
    again = np.where(pairs["alignment_after"], settings.alignment_hours * settings.hour_cost, 0.0)
    later = pairs["p_after_next"] * (part + again + settings.visit_cost)
    missing = np.where(
        pairs["part_number"].isna(),
        "no part on record",
        np.where(
            part.isna(),
            "cost or labour hours not on record",
            np.where(pairs["p_after_next"].isna(), "no probability: no limit or no model", ""),
        ),
    )
    table = pd.DataFrame(
        {
            "unit": pairs["unit"], "depot": pairs["depot"], "joint": pairs["joint"], "done_with": pairs["done_with"],
            "p_after_next": pairs["p_after_next"], "cost_now": part, "cost_later": later,
            "now": (later > part).to_numpy(dtype=bool), "note": missing,
        }
    )  # fmt: skip
    gain = table["cost_later"] - table["cost_now"]
    return (
        table.assign(gain=gain)
        .sort_values(["gain", "unit"], ascending=[False, True])
        .drop(columns="gain")
        .reset_index(drop=True)
    )
