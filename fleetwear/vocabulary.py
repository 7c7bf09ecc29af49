"""The trade's words that the project uses, as enumerations; imports nothing of the project.

Which load directions test a kind of joint, and which kinds carry load, are common practice without a
published source; the maker's procedure for a vehicle comes first.
"""

from __future__ import annotations

from enum import StrEnum

CAUTION = (
    "A forecast does not replace inspection and never clears a vehicle. "
    "The maker's procedure, local law and licensed practice come first."
)
"""Stands on every page and report, and under every list of flags."""

READING_CAUTION = (
    "A reading under a limit never clears a vehicle: a noise, a doubt or another joint can speak against it, and they "
    "win. The maker's procedure, local law and licensed practice come first."
)
"""Stands under every decision on one reading."""


BAY_CAUTIONS = (
    "Work under a raised vehicle can kill. Chock the wheels and set the parking brake before lifting; lift at the "
    "maker's points; lower onto stands at the maker's points and try them before anybody goes near. Never work on a "
    "jack alone.",
    "Clear people from the vehicle before it is lifted or lowered, and take tools and indicator away first.",
    "A levered wheel moves suddenly. Have the brakes held where the procedure says so, apply force steadily and no "
    "more than the procedure says, and keep hands and face clear of joints, wheel and bar.",
    "The maker's procedure for this vehicle, local law and licensed practice come before this page.",
)
"""Stand where readings are taken and recorded. Common practice, no source; the maker's procedure comes first."""


class Secured(StrEnum):
    """What was done so that the vehicle cannot move or fall; common practice, no source."""

    CHOCKS = "wheels chocked"
    PARKING_BRAKE = "parking brake set"
    BRAKES_HELD = "brakes held while levering"
    SUPPORTED = "supported at the maker's points"


class FreshReading(StrEnum):
    """What is said at once of a reading that has just been taken."""

    OVER_LIMIT = "over limit"
    WELL_ABOVE = "well above what was expected: measure again"
    WELL_BELOW = "well below what was expected: measure again"
    SEEN = "movement seen: measure it"
    IN_LINE = "in line with its history"
    NO_FORECAST = "nothing to compare it with yet"


class Direction(StrEnum):
    """The direction in which the wheel or joint is loaded, as seen at the wheel."""

    IN_OUT = "in-out"
    FORE_AFT = "fore-aft"
    UP_DOWN = "up-down"


class Kind(StrEnum):
    """What sort of joint stands at a position."""

    BALL_JOINT = "ball joint"
    TIE_ROD_END = "tie rod end"
    DRAG_LINK_END = "drag link end"
    IDLER_ARM = "idler arm"
    PITMAN_ARM = "pitman arm"
    KINGPIN = "kingpin"
    CONTROL_ARM_BUSHING = "control arm bushing"
    TRAILING_ARM_BUSHING = "trailing arm bushing"
    TORQUE_ROD_BUSHING = "torque rod bushing"
    SPRING_EYE_BUSHING = "spring eye bushing"
    STABILIZER_LINK = "stabilizer link"
    STRUT_MOUNT = "strut mount"
    WHEEL_BEARING = "wheel bearing"

    @property
    def carries_load(self) -> bool:
        """Whether the vehicle's weight or the wheel hangs on this kind of joint."""
        return self in _LOAD_CARRYING

    @property
    def test_directions(self) -> tuple[Direction, ...]:
        """The load directions that together test this kind; one alone does not clear it."""
        return _TEST_DIRECTIONS[self]


_LOAD_CARRYING = frozenset({Kind.BALL_JOINT, Kind.KINGPIN, Kind.WHEEL_BEARING, Kind.SPRING_EYE_BUSHING})

_TEST_DIRECTIONS: dict[Kind, tuple[Direction, ...]] = {
    Kind.BALL_JOINT: (Direction.IN_OUT, Direction.FORE_AFT),
    Kind.TIE_ROD_END: (Direction.IN_OUT,),
    Kind.DRAG_LINK_END: (Direction.FORE_AFT,),
    Kind.IDLER_ARM: (Direction.UP_DOWN,),
    Kind.PITMAN_ARM: (Direction.UP_DOWN,),
    Kind.KINGPIN: (Direction.IN_OUT, Direction.UP_DOWN),
    Kind.CONTROL_ARM_BUSHING: (Direction.IN_OUT, Direction.FORE_AFT),
    Kind.TRAILING_ARM_BUSHING: (Direction.FORE_AFT,),
    Kind.TORQUE_ROD_BUSHING: (Direction.FORE_AFT,),
    Kind.SPRING_EYE_BUSHING: (Direction.FORE_AFT,),
    Kind.STABILIZER_LINK: (Direction.UP_DOWN,),
    Kind.STRUT_MOUNT: (Direction.IN_OUT,),
    Kind.WHEEL_BEARING: (Direction.IN_OUT,),
}


class Side(StrEnum):
    """The side of the vehicle, seen from the driver's seat."""

    LEFT = "left"
    RIGHT = "right"
    CENTRE = "centre"


class Method(StrEnum):
    """How the joint was loaded to show its play."""

    LEVER_UNDER_TYRE = "lever under tyre"
    PRY_BAR = "pry bar"
    JACK_AND_UNLOAD = "jack and unload"
    HAND_ROCK = "hand rock"
    STEERING_ROCK = "steering rock"


class ReadAt(StrEnum):
    """Where the play was read."""

    JOINT = "joint"
    TYRE_TREAD = "tyre tread"
    TYRE_SIDEWALL = "tyre sidewall"
    RIM = "rim"


class Support(StrEnum):
    """Whether the joint carried the vehicle while it was tested."""

    LOADED = "loaded"
    HANGING = "hanging"


class WheelPart(StrEnum):
    """What a check of a whole wheel looks at."""

    STEERING_LINKAGE = "steering linkage"
    WHEEL_BEARING = "wheel bearing"
    STUB_AXLE = "stub axle"


class WeightClass(StrEnum):
    """Gross weight rating of a vehicle, as 49 CFR 570 divides vehicles by it."""

    LIGHT = "10,000 lb and under"
    HEAVY = "over 10,000 lb"


class WheelVerdict(StrEnum):
    """What a wheel check says against the limits that may apply to it, the most pressing first."""

    OVER = "over limit"
    UNDECIDED = "not decided"
    NO_LIMIT = "no limit on record"
    WITHIN = "within its limit"


class Indicator(StrEnum):
    """What the play was read with."""

    DIAL = "dial indicator"
    EYE = "eye"


class Result(StrEnum):
    """What a stroke showed."""

    MEASURED = "measured"
    NONE_SEEN = "none seen"
    SEEN = "seen, not measured"


class Timing(StrEnum):
    """Whether a reading was taken before or after work on the joint at the same visit."""

    BEFORE_WORK = "before work"
    AFTER_WORK = "after work"


class Work(StrEnum):
    """What was done to a joint. Replacing or adjusting starts a new life; greasing does not."""

    REPLACED = "replaced"
    ADJUSTED = "adjusted"
    GREASED = "greased"


class Action(StrEnum):
    """What was done about the flag of a joint; it tells what is under way and never softens an outcome."""

    ORDERED = "ordered"
    BOOKED = "booked"
    REPLACED = "replaced"
    FOUND_GOOD = "found good"
    DECLINED = "declined"
    HELD_OUT = "vehicle held out"


class OdometerEvent(StrEnum):
    """What a dated odometer entry says."""

    READING = "reading"
    SWAP = "swap"


class DistanceSource(StrEnum):
    """Where a vehicle's distance comes from; ``none`` has it estimated from dates."""

    ODOMETER = "odometer"
    HUB_METER = "hub meter"
    NONE = "none"


class Basis(StrEnum):
    """On whose authority a limit stands."""

    MAKER = "maker"
    STATUTE = "statute"
    SHOP = "shop"


class Origin(StrEnum):
    """What a life started with."""

    IN_SERVICE = "in service"
    REPLACEMENT = "replacement"
    ADJUSTMENT = "adjustment"
    UNKNOWN = "unknown"


class Outcome(StrEnum):
    """What is said of a joint or vehicle, the most pressing first."""

    OVER_LIMIT = "over limit"
    SYMPTOM_CONFIRMED = "symptom confirmed"
    CROSSES = "crosses before next service"
    RECHECK = "recheck"
    NOT_TESTED = "not tested"
    TOO_LITTLE_DATA = "too little data"
    NO_LIMIT = "no limit on record"
    NO_CROSSING = "no crossing forecast; inspect as scheduled"

    @property
    def rank(self) -> int:
        """The place in order of urgency; 0 is the most pressing."""
        return list(Outcome).index(self)


class Verdict(StrEnum):
    """What a reading says against an upper limit, its uncertainty counted."""

    BEYOND_DOUBT_OVER = "beyond doubt over"
    OVER = "over"
    TOO_CLOSE = "too close to call"
    UNDER = "under"
    BEYOND_DOUBT_UNDER = "beyond doubt under"


OUTCOME_RANKS: dict[str, int] = {str(outcome): outcome.rank for outcome in Outcome}
"""The place of each outcome's words in order of urgency; 0 is the most pressing."""


def joint_name(side: str | None, axle: str, place: str | None, kind: str) -> str:
    """Return the joint's place the way a technician says it: "left front lower ball joint"."""
    return " ".join(word for word in (side, axle, place, kind) if word)
