"""How joints wear: the processes, and the life that each joint is in.

The play of one joint in one load direction, x km after its life began, is

    initial + rate * x0 * (x / x0) ** exponent + rate * (k - 1) * max(x - onset, 0)

with x0 = 100,000 km. *Steady* wear has exponent 1 and no onset, *gathering pace* an exponent of 1.6,
*seal failure* exponent 1 and, from its onset on, wear k times as fast.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.catalogue import HARBOUR, MODELS
from fleetwear.vocabulary import Direction, Kind

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_fleet.joints import Joints
    from demo_fleet.roster import Roster

REFERENCE_KM = 100_000.0
PROCESSES = ("steady", "gathering pace", "seal failure")
STEADY, GATHERING_PACE, SEAL_FAILURE = range(3)
EXPONENT = 1.6
FAST_FACTOR = 5.0
HARBOUR_FACTOR = 1.3
SECOND_SUPPLIER_FACTOR = 1.25


@dataclass(frozen=True)
class KindOfWear:
    """How a kind of joint wears.

    Attributes
    ----------
    initial_mm
        Median play when installed.
    years_to_limit
        Years at the model's usual distance in which a median joint wears to ``worn_mm``, were there no
        seal failure.
    worn_mm
        Play at that time, for light and for heavy vehicles.
    gathers_pace
        Whether it does so with the exponent.
    share_sealed
        The share of lives in which a seal can fail.
    """

    initial_mm: float
    years_to_limit: float
    worn_mm: tuple[float, float]
    gathers_pace: bool = False
    share_sealed: float = 0.0


WEAR: dict[Kind, KindOfWear] = {
    Kind.BALL_JOINT: KindOfWear(0.10, 21.0, (0.78, 0.78), share_sealed=0.6),
    Kind.TIE_ROD_END: KindOfWear(0.09, 19.5, (0.75, 1.2)),
    Kind.CONTROL_ARM_BUSHING: KindOfWear(0.14, 15.5, (1.5, 1.5), gathers_pace=True),
    Kind.WHEEL_BEARING: KindOfWear(0.05, 21.5, (0.5, 0.5)),
    Kind.STABILIZER_LINK: KindOfWear(0.10, 8.0, (1.2, 1.2)),
    Kind.KINGPIN: KindOfWear(0.13, 17.0, (1.5, 1.5)),
    Kind.DRAG_LINK_END: KindOfWear(0.10, 17.5, (1.2, 1.2)),
    Kind.TORQUE_ROD_BUSHING: KindOfWear(0.15, 15.0, (3.0, 3.0), gathers_pace=True),
    Kind.SPRING_EYE_BUSHING: KindOfWear(0.15, 15.0, (2.5, 2.5), gathers_pace=True),
}

_SORTED_KINDS = np.array(sorted(WEAR))
_BY_KIND = [WEAR[Kind(kind)] for kind in _SORTED_KINDS]
_INITIAL_MM = np.array([wear.initial_mm for wear in _BY_KIND])
_YEARS_TO_LIMIT = np.array([wear.years_to_limit for wear in _BY_KIND])
_WORN_MM = np.array([wear.worn_mm for wear in _BY_KIND])
_GATHERS_PACE = np.array([wear.gathers_pace for wear in _BY_KIND])
_SHARE_SEALED = np.array([wear.share_sealed for wear in _BY_KIND])

_ONSET_SHAPE = 2.5
_ONSET_YEARS = 7.0
_LIFE_LOG_SD = 0.35
_DIRECTION_LOG_SD = 0.18
_INITIAL_LOG_SD = 0.25
_UP_DOWN_SHARE = 0.7


def play_mm(
    x_km: NDArray[np.float64],
    initial_mm: NDArray[np.float64],
    rate_mm_per_km: NDArray[np.float64],
    exponent: NDArray[np.float64],
    fast_factor: NDArray[np.float64],
    onset_km: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the play x km into a life, in mm; all arguments of one shape, an infinite onset for none."""
    ordinary = REFERENCE_KM * (x_km / REFERENCE_KM) ** exponent
    return initial_mm + rate_mm_per_km * (ordinary + (fast_factor - 1) * np.maximum(x_km - onset_km, 0))


@dataclass
class Lives:
    """The life that each joint is in now, and the record of every life that began.

    Attributes
    ----------
    life_no, start_km
        Of each joint: its life, from 1, and the running distance at which that began; shape (joints,).
    initial_mm, rate_mm_per_km, exponent, fast_factor, onset_km
        Of each series, as in ``play_mm``; shape (series,).
    begun
        One entry for each time that lives began: arrays by name, a row a series.
    """

    joints: Joints
    life_no: NDArray[np.int64]
    start_km: NDArray[np.float64]
    start_day: NDArray[np.int64]
    process: NDArray[np.int64]
    joint_rate: NDArray[np.float64]
    joint_onset_km: NDArray[np.float64]
    initial_mm: NDArray[np.float64]
    rate_mm_per_km: NDArray[np.float64]
    exponent: NDArray[np.float64]
    fast_factor: NDArray[np.float64]
    onset_km: NDArray[np.float64]
    started_by: NDArray[np.str_]
    supplier: NDArray[np.str_]
    begun: list[dict[str, NDArray[np.generic]]] = field(default_factory=list)

    def play(self, series: NDArray[np.int64], running_km: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the true play of series at running distances, in mm."""
        x = np.maximum(running_km - self.start_km[self.joints.joint[series]], 0)
        return play_mm(
            x, self.initial_mm[series], self.rate_mm_per_km[series], self.exponent[series],
            self.fast_factor[series], self.onset_km[series],
        )  # fmt: skip

    def record(self, joints: NDArray[np.int64]) -> None:
        """Write down the lives that joints are in, as they begin."""
        series = np.flatnonzero(np.isin(self.joints.joint, joints))
        joint = self.joints.joint[series]
        self.begun.append(
            {
                "series": series,
                "life": self.life_no[joint],
                "started_by": self.started_by[joint],
                "supplier": self.supplier[joint],
                "start_day": self.start_day[joint],
                "start_running_km": self.start_km[joint],
                "process": np.array(PROCESSES)[self.process[joint]],
                "initial_mm": self.initial_mm[series],
                "rate_mm_per_km": self.rate_mm_per_km[series],
                "exponent": self.exponent[series],
                "fast_factor": self.fast_factor[series],
                "onset_km": self.onset_km[series],
            }
        )


def first_lives(roster: Roster, joints: Joints, rng: np.random.Generator) -> Lives:
    """Return all joints as they were when their vehicles were new."""
    n_joints, n_series = joints.vehicle.size, joints.joint.size
    used = joints.vehicle == roster.roles["bought used"]
    lives = Lives(
        joints, np.zeros(n_joints, dtype=np.int64), np.zeros(n_joints), roster.in_service_day[joints.vehicle],
        np.zeros(n_joints, dtype=np.int64), np.zeros(n_joints), np.full(n_joints, np.inf), np.zeros(n_series),
        np.zeros(n_series), np.ones(n_series), np.ones(n_series), np.full(n_series, np.inf),
        np.where(used, "unknown", "in service").astype("<U12"), np.full(n_joints, "", dtype="<U12"),
    )  # fmt: skip
    everyone = np.arange(n_joints)
    start_part(lives, roster, everyone, lives.start_km, lives.start_day, rng)
    return lives


def start_part(
    lives: Lives,
    roster: Roster,
    joints: NDArray[np.int64],
    running_km: NDArray[np.float64],
    day: NDArray[np.int64],
    rng: np.random.Generator,
) -> None:
    """Put new parts into joints: new rates, new seals, and the small play of a new part."""
    if joints.size == 0:
        return
    kinds = lives.joints.kind[joints]
    vehicle = lives.joints.vehicle[joints]
    km_per_year = np.array([model.km_per_year for model in MODELS])[roster.model[vehicle]]
    of_kind = np.searchsorted(_SORTED_KINDS, kinds)
    worn_km = _YEARS_TO_LIMIT[of_kind] * km_per_year
    worn_mm = _WORN_MM[of_kind, (km_per_year > 50_000).astype(np.int64)]
    gathers = _GATHERS_PACE[of_kind]
    sealed = rng.random(joints.size) < _SHARE_SEALED[of_kind]
    exponent = np.where(gathers, EXPONENT, 1.0)
    ball = kinds == Kind.BALL_JOINT
    harbour = roster.depot_on(vehicle, day) == HARBOUR
    rate = worn_mm / (REFERENCE_KM * (worn_km / REFERENCE_KM) ** exponent)
    rate *= np.exp(rng.normal(0, _LIFE_LOG_SD, joints.size)) * roster.rough_route[vehicle]
    rate *= np.where(ball & harbour, HARBOUR_FACTOR, 1.0)
    rate *= np.where(lives.supplier[joints] == "Supplier B", SECOND_SUPPLIER_FACTOR, 1.0)
    onset = _ONSET_YEARS * km_per_year * rng.weibull(_ONSET_SHAPE, joints.size)

    lives.process[joints] = np.where(sealed, SEAL_FAILURE, np.where(gathers, GATHERING_PACE, STEADY))
    lives.joint_rate[joints] = rate
    lives.joint_onset_km[joints] = np.where(sealed, onset, np.inf)
    series = np.flatnonzero(np.isin(lives.joints.joint, joints))
    joint = lives.joints.joint[series]
    direction_share = np.where(lives.joints.direction[series] == Direction.UP_DOWN, _UP_DOWN_SHARE, 1.0)
    direction_share = np.where(lives.joints.kind[joint] == Kind.KINGPIN, direction_share, 1.0)
    spread = np.where(lives.joints.is_second[series], rng.normal(0, _DIRECTION_LOG_SD, series.size), 0.0)
    lives.rate_mm_per_km[series] = lives.joint_rate[joint] * direction_share * np.exp(spread)
    lives.exponent[series] = np.where(lives.process[joint] == GATHERING_PACE, EXPONENT, 1.0)
    lives.fast_factor[series] = np.where(lives.process[joint] == SEAL_FAILURE, FAST_FACTOR, 1.0)
    lives.onset_km[series] = lives.joint_onset_km[joint]
    start_life(lives, joints, running_km, day, rng)


def start_life(
    lives: Lives,
    joints: NDArray[np.int64],
    running_km: NDArray[np.float64],
    day: NDArray[np.int64],
    rng: np.random.Generator,
) -> None:
    """Begin a life in joints: the next number, distance from zero, a new initial play, rates as they are."""
    lives.life_no[joints] += 1
    lives.start_km[joints] = running_km
    lives.start_day[joints] = day
    series = np.flatnonzero(np.isin(lives.joints.joint, joints))
    kinds = lives.joints.kind[lives.joints.joint[series]]
    median = _INITIAL_MM[np.searchsorted(_SORTED_KINDS, kinds)]
    lives.initial_mm[series] = median * np.exp(rng.normal(0, _INITIAL_LOG_SD, series.size))
    lives.record(joints)
