"""Pressing joints: those to act on before the next service, each in its worst load direction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.vocabulary import OUTCOME_RANKS, Outcome

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.planning.flags import Flags

PRESSING = (Outcome.OVER_LIMIT, Outcome.SYMPTOM_CONFIRMED, Outcome.CROSSES)
"""Outcomes that call for work before or at the next service."""

_SERVICE = ["next_service_date_05", "next_service_date_50", "next_service_date_95", "overdue"]


def pressing_joints(flags: Flags) -> pd.DataFrame:
    """Return one row a joint that presses, the most pressing first, soonest service first among equals.

    A joint is as bad as its worst load direction, so only that one's row stands for it.

    Parameters
    ----------
    flags
        The flags of the vehicles in question.

    Returns
    -------
    The columns of ``Flags.joints`` with the vehicle's next_service_date_05, _50, _95 and overdue.
    """
    own = [name for name in flags.joints.columns if name not in _SERVICE]
    joints = flags.joints.loc[flags.joints["outcome"].isin([str(o) for o in PRESSING]), own]
    joints = joints.merge(flags.vehicles[["vehicle_id", *_SERVICE]], on="vehicle_id")
    ordered = joints.assign(rank=joints["outcome"].map(OUTCOME_RANKS), chance=joints["p_over_next"].fillna(-1.0))
    worst = ordered.sort_values(
        ["rank", "chance", "position_id", "direction"], ascending=[True, False, True, True]
    ).drop_duplicates(["vehicle_id", "position_id"])
    return (
        worst.sort_values(
            ["rank", "next_service_date_50", "unit", "chance", "position_id"],
            ascending=[True, True, True, False, True],
        )
        .drop(columns=["rank", "chance"])
        .reset_index(drop=True)
    )
