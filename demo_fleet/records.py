"""The five years as they happened: visit by visit, joints read, replaced, adjusted and greased."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet import plans, readings, wear
from demo_fleet.catalogue import SUPPLIERS
from demo_fleet.readings import Readings
from fleetwear.vocabulary import Kind, Work

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_fleet.joints import Joints
    from demo_fleet.plans import Plan
    from demo_fleet.roster import Roster
    from demo_fleet.visits import Visits
    from demo_fleet.wear import Lives

COMPLAINTS = (
    "noise from the front over bumps", "steering wanders", "knock when braking", "vibration at speed",
    "uneven tyre wear",
)  # fmt: skip
_ADJUSTABLE = (Kind.WHEEL_BEARING, Kind.KINGPIN)
_ADJUSTING = {Kind.WHEEL_BEARING: "bearing set", Kind.KINGPIN: "shimmed"}
_GREASED = (Kind.KINGPIN, Kind.DRAG_LINK_END)
_READ_SHARE_LOAD = 0.64
_READ_SHARE_OTHER = 0.40
_READ_SHARE_COMPLAINT = 0.25
_SECOND_DIRECTION_SHARE = 0.9
_AT_ONCE_SHARE = 0.85
_CONFIRMED_SHARE = 0.35
_NOISE_REPLACED_SHARE = 1.0
_READ_AFTER_SHARE = 0.6
_GREASED_SHARE = 0.06


@dataclass(frozen=True)
class WorkDone:
    """Work on joints, one a row; every array of shape (jobs,)."""

    visit: NDArray[np.int64]
    joint: NDArray[np.int64]
    work: NDArray[np.str_]
    supplier: NDArray[np.str_]
    reason: NDArray[np.str_]


@dataclass(frozen=True)
class Records:
    """All that was written down.

    Attributes
    ----------
    readings, work
        In no particular order.
    complaint, confirmed, symptom_joint
        Of each visit: what was said ("" for none), whether it was confirmed, which joint it was (-1 for
        none); shape (visits,).
    """

    readings: Readings
    work: WorkDone
    complaint: NDArray[np.str_]
    confirmed: NDArray[np.bool_]
    symptom_joint: NDArray[np.int64]


class _Diary:
    """The state that goes from one round of visits to the next."""

    def __init__(self, roster: Roster, visits: Visits, lives: Lives, plan: Plan, rng: np.random.Generator) -> None:
        self.roster, self.visits, self.lives, self.plan, self.rng = roster, visits, lives, plan, rng
        self.joints: Joints = lives.joints
        n_visits = visits.vehicle.size
        self.complaint = np.full(n_visits, "", dtype="<U48")
        self.confirmed = np.zeros(n_visits, dtype=np.bool_)
        self.symptom_joint = np.full(n_visits, -1)
        self.ordered = np.zeros(self.joints.vehicle.size, dtype=np.bool_)
        self.readings: list[Readings] = []
        self.work: list[WorkDone] = []

    def hear_complaints(self, visit_of: NDArray[np.int64]) -> None:
        """Write down this round's complaints and, where confirmed, the joint that it was."""
        rng, joints, visits = self.rng, self.joints, self.visits
        complaining = visit_of[(visit_of >= 0)]
        complaining = complaining[~visits.is_service[complaining]]
        self.complaint[complaining] = rng.choice(COMPLAINTS, complaining.size)
        self.confirmed[complaining] = rng.random(complaining.size) < _CONFIRMED_SHARE
        visit = visit_of[joints.vehicle_of_series]
        series = np.flatnonzero((visit >= 0) & ~visits.is_service[visit])
        if series.size:
            visit = visit[series]
            limit = joints.limit_on(series, visits.day[visit])
            share = self.lives.play(series, visits.running_km[visit]) / np.where(np.isfinite(limit), limit, 1.2)
            order = np.lexsort((share * rng.random(series.size), visit))
            worst = np.append(visit[order][1:] != visit[order][:-1], True)
            self.symptom_joint[visit[order][worst]] = joints.joint[series[order][worst]]
        noisy = self.roster.roles["noise confirmed, joint under its limit"]
        last = visit_of[noisy]
        if last >= 0 and visits.is_last[last]:
            self.complaint[last], self.confirmed[last] = plans.NOISE_COMPLAINT, True
            self.symptom_joint[last] = joints.find(noisy, plans.NOISE_JOINT)

    def choose_series(self, visit_of: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the series that are read in this round."""
        rng, joints, visits = self.rng, self.joints, self.visits
        visit = visit_of[joints.vehicle]
        here = visit >= 0
        load = np.isin(joints.kind, [kind for kind in Kind if kind.carries_load])
        share = np.where(load, _READ_SHARE_LOAD, _READ_SHARE_OTHER)
        share = np.where(visits.is_service[visit], share, _READ_SHARE_COMPLAINT)
        symptom = self.symptom_joint[visit] == np.arange(joints.vehicle.size)
        forced = symptom | (self.plan.read_at_last & visits.is_last[visit])
        chosen = here & ((rng.random(here.size) < share) | forced)
        untouched = np.bincount(joints.vehicle[chosen], minlength=visit_of.size) == 0
        chosen |= here & untouched[joints.vehicle] & (joints.position == 0)
        both = rng.random(joints.joint.size) < _SECOND_DIRECTION_SHARE
        both |= forced[joints.joint]
        return np.flatnonzero(chosen[joints.joint] & (both | ~joints.is_second) & ~self.plan.never_read)

    def read(
        self, series: NDArray[np.int64], visit_of: NDArray[np.int64], timing: NDArray[np.int64]
    ) -> tuple[Readings, NDArray[np.float64]]:
        """Return the readings of series, and the mean of each of the fleet's series."""
        joints, visits = self.joints, self.visits
        joint = joints.joint[series]
        visit = visit_of[joints.vehicle[joint]]
        careful = self.plan.read_at_last[joint] & visits.is_last[visit]
        taken = readings.read(
            visit, series, self.lives.life_no[joint], joints.kind[joint], visits.depot[visit],
            self.lives.play(series, visits.running_km[visit]), careful=careful, timing=timing, rng=self.rng,
        )  # fmt: skip
        return taken, readings.mean_play(taken, joints.joint.size)

    def decide(self, visit_of: NDArray[np.int64], mean_mm: NDArray[np.float64]) -> WorkDone:
        """Return the replacements and adjustments of this round; what can be adjusted is so once."""
        rng, joints, visits = self.rng, self.joints, self.visits
        visit = visit_of[joints.vehicle]
        here = (visit >= 0) & ~self.plan.protected
        series = np.arange(joints.joint.size)
        over_series = mean_mm > joints.limit_on(series, visits.day[visit[joints.joint]])
        over = np.bincount(joints.joint[over_series], minlength=here.size) > 0
        at_once = (rng.random(here.size) < _AT_ONCE_SHARE) | visits.is_last[visit]
        noise = (self.symptom_joint[visit] == np.arange(here.size)) & self.confirmed[visit] & ~over
        noise &= rng.random(here.size) < _NOISE_REPLACED_SHARE
        had_come = here & self.ordered & ~over
        jobs = here & ((over & (at_once | self.ordered)) | had_come | noise)
        self.ordered = np.where(here, over & ~jobs, self.ordered)
        joint = np.flatnonzero(jobs)
        adjusted = np.isin(joints.kind[joint], _ADJUSTABLE) & ~noise[joint] & (self.lives.life_no[joint] == 1)
        second = (joints.kind[joint] == Kind.BALL_JOINT) & (rng.random(joint.size) < 0.4)
        reason = np.where(noise[joint], "noise on the road test", "over the limit")
        reason = np.where(
            had_come[joint] & ~noise[joint],
            "over the limit at the visit before; part had to be ordered",
            reason,
        )
        for kind, done in _ADJUSTING.items():
            reason = np.where(adjusted & (joints.kind[joint] == kind), done, reason)
        return WorkDone(
            visit[joint], joint, np.where(adjusted, Work.ADJUSTED, Work.REPLACED),
            np.where(adjusted, "", np.where(second, SUPPLIERS[1], SUPPLIERS[0])), reason,
        )  # fmt: skip

    def start_lives(self, done: WorkDone) -> None:
        """Begin the lives that this round's work began."""
        lives, visits = self.lives, self.visits
        for work, start, origin in (
            (Work.REPLACED, wear.start_part, "replacement"),
            (Work.ADJUSTED, None, "adjustment"),
        ):
            rows = done.work == work
            joint, visit = done.joint[rows], done.visit[rows]
            lives.started_by[joint] = origin
            if start is not None:
                lives.supplier[joint] = done.supplier[rows]
                start(lives, self.roster, joint, visits.running_km[visit], visits.day[visit], self.rng)
            elif joint.size:
                wear.start_life(lives, joint, visits.running_km[visit], visits.day[visit], self.rng)

    def grease(self, visit_of: NDArray[np.int64]) -> None:
        """Write down the joints that were greased at this round's services."""
        joints = self.joints
        visit = visit_of[joints.vehicle]
        fit = (visit >= 0) & self.visits.is_service[visit] & np.isin(joints.kind, _GREASED)
        joint = np.flatnonzero(fit & (self.rng.random(fit.size) < _GREASED_SHARE))
        text = np.full(joint.size, "")
        reason = np.full(joint.size, "at service")
        self.work.append(WorkDone(visit[joint], joint, np.full(joint.size, str(Work.GREASED)), text, reason))

    def keep_round(self, number: int) -> None:
        """Live through every vehicle's visit of that number."""
        joints = self.joints
        visit_of = self.visits.of_number(number, self.roster.size)
        self.hear_complaints(visit_of)
        series = self.choose_series(visit_of)
        taken, mean_mm = self.read(series, visit_of, np.zeros(series.size, dtype=np.int64))
        done = self.decide(visit_of, mean_mm)
        before = np.isin(joints.joint[taken.series], done.joint)
        taken.timing[before] = 1
        self.readings.append(taken)
        self.work.append(done)
        self.grease(visit_of)
        self.start_lives(done)
        again = done.joint[self.rng.random(done.joint.size) < _READ_AFTER_SHARE]
        series = np.flatnonzero(np.isin(joints.joint, again) & ~self.plan.never_read)
        self.readings.append(self.read(series, visit_of, np.full(series.size, 2))[0])


def keep_records(roster: Roster, visits: Visits, lives: Lives, plan: Plan, rng: np.random.Generator) -> Records:
    """Return what was written down over all visits; ``lives`` ends as the joints are at the last day."""
    diary = _Diary(roster, visits, lives, plan, rng)
    for number in range(int(visits.number.max()) + 1):
        diary.keep_round(number)
    work = WorkDone(**{name: np.concatenate([vars(part)[name] for part in diary.work]) for name in vars(diary.work[0])})
    symptom = np.where(diary.confirmed, diary.symptom_joint, -1)
    return Records(readings.join(diary.readings), work, diary.complaint, diary.confirmed, symptom)
