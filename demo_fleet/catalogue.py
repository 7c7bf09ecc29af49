"""What the invented fleet is made of: models and their joints, limits, parts and depots.

Every make, model, part number and depot here is made up.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from fleetwear.units import factor
from fleetwear.vocabulary import Direction, DistanceSource, Kind, Method, ReadAt, Side, joint_name


@dataclass(frozen=True)
class Position:
    """A joint position on a model."""

    axle: str
    side: Side | None
    place: str | None
    kind: Kind

    @property
    def joint(self) -> str:
        """The joint's place as a technician says it."""
        return joint_name(self.side, self.axle, self.place, self.kind)


@dataclass(frozen=True)
class Model:
    """A model: how many of the fleet it is, how it is used, and when it is serviced."""

    name: str
    make: str
    letter: str
    """The first letter of its unit numbers."""
    share: float
    """Its share of the powered vehicles; 0 for a trailer."""
    tyre_size: str
    duties: tuple[str, ...]
    km_per_year: float
    interval_km: float
    """The service interval where the depot counts in km; 0 for none."""
    interval_miles: float
    interval_months: float
    distance_source: DistanceSource
    positions: tuple[Position, ...]


@dataclass(frozen=True)
class Limit:
    """A limit as it stands in the fleet's file; an empty model, direction, method or place read is any."""

    model: str
    kind: Kind
    value: float
    unit: str
    basis: str
    source: str
    valid_from: str = "2020-01-01"
    direction: Direction | None = None
    method: Method | None = None
    read_at: ReadAt | None = None

    @property
    def limit_mm(self) -> float:
        """The limit in mm."""
        return self.value * factor(self.unit, "mm")


@dataclass(frozen=True)
class Part:
    """A part that fits a kind of joint of a model."""

    number: str
    model: str
    kind: Kind
    place: str
    supplier: str
    cost: float
    lead_days: int
    labour_hours: float
    alignment_after: bool


@dataclass(frozen=True)
class Depot:
    """A depot with its own shop, and the units in which that shop writes."""

    name: str
    shop: str
    play_unit: str
    distance_unit: str
    resolution_mm: float
    technicians: tuple[str, ...]


DEPOTS = (
    Depot("North yard", "North yard shop", "thou", "mi", 0.0254, ("T1", "T2")),
    Depot("Harbour", "Harbour shop", "mm", "km", 0.01, ("T3", "T4")),
    Depot("Hill", "Hill shop", "in", "mi", 0.0254, ("T5", "T6")),
)

NORTH_YARD, HARBOUR, HILL = range(3)


def _pairs(axle: str, place: str | None, kind: Kind) -> tuple[Position, ...]:
    return tuple(Position(axle, side, place, kind) for side in (Side.LEFT, Side.RIGHT))


MODELS = (
    Model(
        "L2 van", "Kestrow", "V", 0.35, "205/75 R16", ("parcels", "tools"),
        30_000, 16_000, 10_000, 6, DistanceSource.ODOMETER,
        (
            *_pairs("front", "lower", Kind.BALL_JOINT),
            *_pairs("front", "outer", Kind.TIE_ROD_END),
            *_pairs("front", "lower", Kind.CONTROL_ARM_BUSHING),
            *_pairs("front", None, Kind.WHEEL_BEARING),
        ),
    ),
    Model(
        "M16 minibus", "Kestrow", "B", 0.20, "215/75 R16", ("school run", "shuttle"),
        27_000, 16_000, 10_000, 6, DistanceSource.ODOMETER,
        (
            *_pairs("front", "upper", Kind.BALL_JOINT),
            *_pairs("front", "lower", Kind.BALL_JOINT),
            *_pairs("front", "outer", Kind.TIE_ROD_END),
            *_pairs("front", None, Kind.STABILIZER_LINK),
            *_pairs("front", None, Kind.WHEEL_BEARING),
        ),
    ),
    Model(
        "H40 truck", "Halvorn", "H", 0.25, "315/80 R22.5", ("regional", "quarry"),
        68_000, 30_000, 19_000, 6, DistanceSource.ODOMETER,
        (
            *_pairs("steer", None, Kind.KINGPIN),
            Position("steer", Side.LEFT, "front", Kind.DRAG_LINK_END),
            Position("steer", Side.LEFT, "rear", Kind.DRAG_LINK_END),
            *_pairs("steer", None, Kind.TIE_ROD_END),
            *_pairs("steer", "front", Kind.SPRING_EYE_BUSHING),
            *_pairs("steer", None, Kind.WHEEL_BEARING),
            *_pairs("drive", "lower", Kind.TORQUE_ROD_BUSHING),
        ),
    ),
    Model(
        "H60 truck", "Halvorn", "K", 0.20, "385/65 R22.5", ("long haul", "regional"),
        80_000, 30_000, 19_000, 6, DistanceSource.HUB_METER,
        (
            *_pairs("steer", None, Kind.KINGPIN),
            Position("steer", Side.LEFT, "front", Kind.DRAG_LINK_END),
            *_pairs("steer", None, Kind.TIE_ROD_END),
            *_pairs("steer", "front", Kind.SPRING_EYE_BUSHING),
            *_pairs("steer", None, Kind.WHEEL_BEARING),
            *_pairs("first drive", "lower", Kind.TORQUE_ROD_BUSHING),
            *_pairs("second drive", "lower", Kind.TORQUE_ROD_BUSHING),
        ),
    ),
    Model(
        "T3 trailer", "Trennel", "T", 0.0, "385/65 R22.5", ("long haul",),
        62_000, 0, 0, 6, DistanceSource.NONE,
        tuple(
            position
            for axle, kind in product(("first", "second"), (Kind.SPRING_EYE_BUSHING, Kind.WHEEL_BEARING))
            for position in _pairs(axle, "front" if kind is Kind.SPRING_EYE_BUSHING else None, kind)
        ),
    ),
)  # fmt: skip

VAN, MINIBUS, TRUCK, LONG_TRUCK, TRAILER = range(5)

LIMITS = (
    Limit(
        "L2 van", Kind.BALL_JOINT, 30, "thou", "maker", "workshop manual, front suspension",
        method=Method.LEVER_UNDER_TYRE, read_at=ReadAt.JOINT,
    ),
    Limit("L2 van", Kind.TIE_ROD_END, 0.8, "mm", "shop", "shop practice"),
    Limit("L2 van", Kind.TIE_ROD_END, 0.7, "mm", "shop", "shop practice, revised", "2025-01-01"),
    Limit("L2 van", Kind.CONTROL_ARM_BUSHING, 60, "thou", "shop", "shop practice"),
    Limit("M16 minibus", Kind.BALL_JOINT, 0.8, "mm", "maker", "workshop manual, front suspension"),
    Limit("M16 minibus", Kind.TIE_ROD_END, 30, "thou", "shop", "shop practice"),
    Limit(
        "H40 truck", Kind.KINGPIN, 60, "thou", "maker", "service manual, steer axle",
        direction=Direction.IN_OUT, method=Method.LEVER_UNDER_TYRE, read_at=ReadAt.JOINT,
    ),
    Limit(
        "H40 truck", Kind.KINGPIN, 40, "thou", "maker", "service manual, steer axle",
        direction=Direction.UP_DOWN,
    ),
    Limit("H40 truck", Kind.DRAG_LINK_END, 1.2, "mm", "maker", "service manual, steering"),
    Limit("H40 truck", Kind.TIE_ROD_END, 1.2, "mm", "maker", "service manual, steering"),
    Limit("H40 truck", Kind.TORQUE_ROD_BUSHING, 3, "mm", "shop", "shop practice"),
    Limit("H40 truck", Kind.SPRING_EYE_BUSHING, 2.5, "mm", "shop", "shop practice"),
    Limit("H60 truck", Kind.KINGPIN, 1.5, "mm", "maker", "service manual, front axle"),
    Limit("H60 truck", Kind.DRAG_LINK_END, 50, "thou", "maker", "service manual, steering"),
    Limit("H60 truck", Kind.TIE_ROD_END, 50, "thou", "maker", "service manual, steering"),
    Limit("H60 truck", Kind.TORQUE_ROD_BUSHING, 120, "thou", "shop", "shop practice"),
    Limit("H60 truck", Kind.SPRING_EYE_BUSHING, 100, "thou", "shop", "shop practice"),
    Limit("T3 trailer", Kind.SPRING_EYE_BUSHING, 2.5, "mm", "shop", "shop practice"),
    Limit("", Kind.WHEEL_BEARING, 0.5, "mm", "shop", "shop practice, any vehicle"),
)  # fmt: skip
"""The stabilizer links of the minibus have no limit, on purpose."""

SUPPLIERS = ("Supplier A", "Supplier B")

_PART_FIGURES: dict[Kind, tuple[str, float, int, float, bool]] = {
    Kind.BALL_JOINT: ("BJ", 46.0, 4, 1.4, True),
    Kind.TIE_ROD_END: ("TR", 31.0, 2, 0.8, True),
    Kind.CONTROL_ARM_BUSHING: ("CB", 22.0, 6, 1.9, True),
    Kind.WHEEL_BEARING: ("WB", 78.0, 3, 1.6, False),
    Kind.STABILIZER_LINK: ("SL", 18.0, 2, 0.5, False),
    Kind.KINGPIN: ("KP", 210.0, 9, 5.5, True),
    Kind.DRAG_LINK_END: ("DL", 95.0, 5, 1.2, True),
    Kind.TORQUE_ROD_BUSHING: ("TB", 64.0, 7, 2.2, False),
    Kind.SPRING_EYE_BUSHING: ("SB", 40.0, 8, 2.8, False),
}
"""By kind: code, cost for a light vehicle, lead days, labour hours, whether the wheels are aligned after."""


def _parts() -> tuple[Part, ...]:
    parts = []
    for model in MODELS:
        heavy = model.km_per_year > 50_000
        for kind, place in dict.fromkeys((position.kind, position.place or "") for position in model.positions):
            code, cost, lead_days, hours, alignment = _PART_FIGURES[kind]
            for number, supplier in enumerate(SUPPLIERS if kind is Kind.BALL_JOINT else SUPPLIERS[:1]):
                name = f"{model.name.split()[0]}-{code}{place[:1].upper()}-{supplier[-1]}"
                price = cost * (1.6 if heavy and kind is not Kind.KINGPIN else 1.0) * (1.0 - 0.25 * number)
                parts.append(
                    Part(
                        name,
                        model.name,
                        kind,
                        place,
                        supplier,
                        round(price, 2),
                        lead_days + 3 * number,
                        hours,
                        alignment,
                    )
                )
    return tuple(parts)


PARTS = _parts()
"""Two suppliers for ball joints; the second is cheaper, slower to come, and wears faster."""


def limit_history(model: Model, kind: Kind, direction: Direction) -> list[tuple[str, float]]:
    """Return (valid from, limit in mm) of every limit on a kind of a model in a direction, oldest first."""
    return sorted(
        (limit.valid_from, limit.limit_mm)
        for limit in LIMITS
        if limit.model in ("", model.name) and limit.kind is kind and limit.direction in (None, direction)
    )
