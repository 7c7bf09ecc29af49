"""Next checks: by which odometer and day each joint is to be looked at again, at the accepted risk."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.planning.ahead.moving import presses
from fleetwear.planning.pressing import PRESSING
from fleetwear.vocabulary import Outcome

if TYPE_CHECKING:
    from fleetwear.planning.ahead.material import Material
    from fleetwear.planning.ahead.moving import Moved

_AT_ONCE = (Outcome.OVER_LIMIT, Outcome.SYMPTOM_CONFIRMED, Outcome.RECHECK, Outcome.NOT_TESTED)
_LONGEST_DAYS = 36_525.0


def next_checks(material: Material, moved: Moved, joints: pd.DataFrame) -> pd.DataFrame:
    """Return one row a joint, the earliest check first.

    The odometer is the one at which the probability of being over the limit, from the stored posterior of the load
    direction that gets there first, reaches the accepted risk; where the joint draws, which also know the vehicle's
    other joints, reach it by the next service, as forecast or as moved, no later than that service. It never takes the
    place of an inspection that is due anyway.

    Columns: vehicle_id, unit, depot, joint, outcome, accepted_risk, distance_unit, check_odometer (km; nan without
    an odometer), check_date, before_service, and when: "now", "by odometer and date", "beyond the horizon", or
    "not known" where there is no limit or no model.

    Parameters
    ----------
    material, moved
        What the plan is made of, and the services as they are moved.
    joints
        The joints asked about, rows of ``Material.joints``.
    """
    draws = material.draws
    now = np.median(draws.ahead.now_km, axis=1)
    rate = np.median(draws.ahead.rate, axis=1)
    service = np.median(moved.service.km, axis=1)
    series_over = pd.Series(material.check_km).fillna(np.inf)
    first = series_over.groupby(material.joint_of.to_numpy()).min()
    keyed = pd.MultiIndex.from_frame(material.joints[["vehicle_id", "position_id"]])
    km = pd.Series(first.reindex(range(len(keyed))).to_numpy(), index=keyed)
    own = joints.reset_index(drop=True)
    at = pd.MultiIndex.from_frame(own[["vehicle_id", "position_id"]])
    vehicle = own["vehicle"].to_numpy(dtype=np.int64)
    check = km.reindex(at).to_numpy(dtype=float)
    as_forecast = np.median(draws.ahead.service_km, axis=1)
    check = np.where(own["presses"], np.fmin(check, service[vehicle]), check)
    pressed = presses(own, material.flags, [str(outcome) for outcome in PRESSING])
    check = np.where(pressed, np.fmin(check, as_forecast[vehicle]), check)
    at_once = own["outcome"].isin([str(outcome) for outcome in _AT_ONCE]).to_numpy()
    reached = at_once | (check <= now[vehicle])
    check = np.where(reached, now[vehicle], check)
    days = np.clip((check - now[vehicle]) / np.maximum(rate[vehicle], 1e-9), 0.0, _LONGEST_DAYS)
    outlook = draws.outlook.vehicles
    hidden = ((outlook["distance_source"] == "none") | outlook["bare"]).to_numpy()[vehicle]
    finite = np.isfinite(check)
    when = np.select(
        [reached, finite, np.isinf(check)], ["now", "by odometer and date", "beyond the horizon"], "not known"
    )
    as_of = material.flags.run.as_of
    table = pd.DataFrame(
        {
            "vehicle_id": own["vehicle_id"],
            "unit": own["unit"],
            "depot": own["depot"],
            "joint": own["joint"],
            "outcome": own["outcome"],
            "accepted_risk": own["accepted_risk"],
            "distance_unit": own["distance_unit"],
            "check_odometer": np.where(finite & ~hidden, check - outlook["shift_km"].to_numpy()[vehicle], np.nan),
            "check_date": [
                as_of + timedelta(days=int(ahead)) if known else None for ahead, known in zip(days, finite, strict=True)
            ],
            "when": when,
            "before_service": finite & (check < service[vehicle]),
        }
    )
    order = np.where(finite, days, np.where(np.isinf(check), 2 * _LONGEST_DAYS, 3 * _LONGEST_DAYS))
    return table.iloc[np.lexsort((own["unit"].to_numpy(dtype=str), order))].reset_index(drop=True)
