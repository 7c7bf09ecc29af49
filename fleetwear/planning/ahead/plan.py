"""The plan of the weeks ahead, made from its material by one function, for any shift of the services."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import InputError
from fleetwear.planning.ahead.bays import bay_hours
from fleetwear.planning.ahead.checks import next_checks
from fleetwear.planning.ahead.gaps import what_is_missing
from fleetwear.planning.ahead.jobs import make_jobs
from fleetwear.planning.ahead.material import Material, read_material
from fleetwear.planning.ahead.moving import Moved, move, presses
from fleetwear.planning.ahead.orders import parts_to_order
from fleetwear.planning.ahead.together import worth_together
from fleetwear.planning.ahead.weeks import AT_ONCE, crossing_by_week, week_numbers, week_starts
from fleetwear.planning.flags import narrow
from fleetwear.planning.pressing import PRESSING

if TYPE_CHECKING:
    from fleetwear.planning.ahead.settings import PlanSettings
    from fleetwear.planning.flags import Flags

__all__ = ["Material", "Plan", "make_plan", "read_material"]


@dataclass(frozen=True)
class Plan:
    """The weeks ahead."""

    settings: PlanSettings
    flags: Flags
    """What is said of the vehicles of the plan once their services are moved."""
    starts: list[date]
    """Mondays of its weeks."""
    crossing: pd.DataFrame
    """See ``weeks.crossing_by_week``."""
    later: int
    """Joints that press whose vehicle is in only after the last week."""
    expected_over: float
    """Expected number of joints over their limit when their vehicle is next in, whenever that is."""
    orders: pd.DataFrame
    """See ``orders.parts_to_order``."""
    bays: pd.DataFrame
    """See ``bays.bay_hours``."""
    together: pd.DataFrame
    """See ``together.worth_together``."""
    checks: pd.DataFrame
    """See ``checks.next_checks``."""
    gaps: pd.DataFrame
    """See ``gaps.what_is_missing``."""


def make_plan(material: Material, settings: PlanSettings) -> Plan:
    """Return the plan.

    Parameters
    ----------
    material
        What `read_material` gives; it is left as it is.
    settings
        Weeks, depot, shift, cover and costs.

    Raises
    ------
    InputError
        If the depot is unknown, or the shift is out of range.
    """
    moved = move(material, shift_days=settings.shift_days, stretch=settings.stretch)
    flags = narrow(moved.flags, depot=settings.depot)
    as_of = flags.run.as_of
    starts = week_starts(as_of, settings.weeks)
    joints = _joints(material, moved)
    chosen = joints["vehicle_id"].isin(flags.vehicles["vehicle_id"]).to_numpy()
    service_week = week_numbers(as_of, moved.service.days)
    with_part = chosen & joints["part_number"].notna().to_numpy()
    jobs = make_jobs(joints[with_part], moved.over[with_part], service_week)
    crossing, later = crossing_by_week(flags, weeks=settings.weeks)
    own = joints[chosen].reset_index(drop=True)
    return Plan(
        settings=settings,
        flags=flags,
        starts=starts,
        crossing=crossing,
        later=later,
        expected_over=float(moved.over[chosen].mean(axis=1).sum()),
        orders=parts_to_order(
            jobs, material.stock, material.superseded, starts=starts, as_of=as_of, cover=settings.cover
        ),
        bays=bay_hours(jobs, starts=starts, alignment_hours=settings.alignment_hours, cover=settings.cover),
        together=worth_together(own, settings),
        checks=next_checks(material, moved, own),
        gaps=what_is_missing(own, moved.over[chosen], flags, material.stock),
    )


def _joints(material: Material, moved: Moved) -> pd.DataFrame:
    """Return the joints with at_once, presses, p_after_next and what is said of them now."""
    joints = material.joints
    frame = joints.assign(
        at_once=presses(joints, moved.flags, [str(outcome) for outcome in AT_ONCE]),
        presses=presses(joints, moved.flags, [str(outcome) for outcome in PRESSING]),
        p_after_next=moved.p_after_next,
    )
    if not np.isfinite(frame["vehicle"].to_numpy(dtype=float)).all():
        raise InputError("a joint of the forecast belongs to no vehicle", mend="Run `fleetwear forecast` again.")
    return frame
