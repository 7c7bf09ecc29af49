"""What is arranged beforehand for the special cases: joints with a play to reach, or to be left alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.wear import SEAL_FAILURE, STEADY

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_fleet.joints import Joints
    from demo_fleet.roster import Roster
    from demo_fleet.visits import Visits
    from demo_fleet.wear import Lives

OVER_LIMIT_JOINTS = {
    "over limit, not replaced 1": "left front lower ball joint",
    "over limit, not replaced 2": "right front upper ball joint",
    "over limit, not replaced 3": "right steer kingpin",
}
ADJUSTED_JOINTS = {"kingpin shimmed": "right steer kingpin", "wheel bearing set": "left steer wheel bearing"}
NOISE_JOINT = "right front lower ball joint"
ONE_DIRECTION_JOINT = "left steer kingpin"
IMPLAUSIBLE_JOINT = "left front lower ball joint"
IMPLAUSIBLE_THOU = 18
NOISE_COMPLAINT = "clunk from the right front over bumps"


@dataclass(frozen=True)
class Plan:
    """What the readings have to keep to.

    Attributes
    ----------
    protected
        Joints on which no work is done, shape (joints,).
    read_at_last
        Joints that are read by dial, without a slip, at their vehicle's last visit; shape (joints,).
    never_read
        Series that are never read, shape (series,).
    """

    protected: NDArray[np.bool_]
    read_at_last: NDArray[np.bool_]
    never_read: NDArray[np.bool_]


def arrange(roster: Roster, visits: Visits, joints: Joints, lives: Lives) -> Plan:
    """Return the plan, after setting the wear of the joints that have a play to reach."""
    protected = np.zeros(joints.vehicle.size, dtype=np.bool_)
    read_at_last = protected.copy()
    never_read = np.zeros(joints.joint.size, dtype=np.bool_)
    for role, name in OVER_LIMIT_JOINTS.items():
        joint = joints.find(roster.roles[role], name)
        protected[joint] = read_at_last[joint] = True
        _fail_seal(visits, joints, lives, joint)
    noisy = joints.find(roster.roles["noise confirmed, joint under its limit"], NOISE_JOINT)
    odd = joints.find(roster.roles["implausible reading"], IMPLAUSIBLE_JOINT)
    for joint, last_mm in ((noisy, 0.35), (odd, IMPLAUSIBLE_THOU * 0.0254)):
        protected[joint] = read_at_last[joint] = True
        _wear_steadily(visits, joints, lives, joint, last_mm)
    for role, name in ADJUSTED_JOINTS.items():
        _wear_out(visits, joints, lives, joints.find(roster.roles[role], name))
    one_way = joints.find(roster.roles["one direction only"], ONE_DIRECTION_JOINT)
    never_read[joints.series_of(one_way)[1]] = True
    read_at_last[one_way] = True
    lives.begun.clear()
    lives.record(np.arange(joints.vehicle.size))
    return Plan(protected, read_at_last, never_read)


def _fail_seal(visits: Visits, joints: Joints, lives: Lives, joint: int) -> None:
    """Let a seal fail just after the last visit but one: 0.75 of the limit there, 1.25 of it at the last."""
    before, last = visits.running_km[visits.vehicle == joints.vehicle[joint]][-2:]
    lives.process[joint] = SEAL_FAILURE
    series = joints.series_of(joint)
    growth = 0.75 * joints.later_limit_mm[series] - lives.initial_mm[series]
    rate = growth / before
    lives.rate_mm_per_km[series] = rate
    lives.onset_km[series] = before
    rise = 0.5 * joints.later_limit_mm[series]
    lives.fast_factor[series] = rise / (rate * (last - before))


def _wear_steadily(visits: Visits, joints: Joints, lives: Lives, joint: int, last_mm: float) -> None:
    """Let a joint wear steadily to a play at its vehicle's last visit."""
    last = visits.running_km[visits.vehicle == joints.vehicle[joint]][-1]
    lives.process[joint] = STEADY
    series = joints.series_of(joint)
    lives.rate_mm_per_km[series] = (last_mm - lives.initial_mm[series]) / last
    lives.exponent[series] = lives.fast_factor[series] = 1.0
    lives.onset_km[series] = np.inf


def _wear_out(visits: Visits, joints: Joints, lives: Lives, joint: int) -> None:
    """Let a joint wear steadily to 1.1 of its limit halfway through its vehicle's visits."""
    distances = visits.running_km[visits.vehicle == joints.vehicle[joint]]
    series = joints.series_of(joint)
    growth = 1.1 * joints.limit_mm[series] - lives.initial_mm[series]
    lives.rate_mm_per_km[series] = growth / distances[distances.size // 2]
