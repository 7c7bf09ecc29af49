"""What each column of the contract means, in words, with an example that can be loaded as it stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleetwear.intake.columns import TABLES
from fleetwear.intake.words import DOMAINS
from fleetwear.units import SPELLINGS

if TYPE_CHECKING:
    from fleetwear.intake.columns import Column, Table
    from fleetwear.units import Quantity


@dataclass(frozen=True)
class Explained:
    """A column as it is explained to whoever fills it in."""

    table: str
    column: str
    meaning: str
    form: str
    """What its cells look like, with the unit where it has one."""
    words: str
    """The words that it may hold, empty where any text goes."""
    required: str
    """"must be filled in", "column must be there", or "may be left out"."""
    example: str


_VEHICLE = "The unit number that the fleet knows the vehicle by; the same in all files."
_JOINT = "The joint as side, axle, place and kind, in the words of the positions file."
_ODOMETER = "What the odometer or hub meter showed that day."
_ODOMETER_UNIT = "The unit of the odometer, if it does not stand beside the number or in the header."
_SETTLES = "Only in a corrected row: the number of the refused row that it settles (fleetwear quarantine)."

_ANYWHERE = {
    "unit": _VEHICLE,
    "joint": _JOINT,
    "odometer": _ODOMETER,
    "odometer unit": _ODOMETER_UNIT,
    "quarantine number": _SETTLES,
    "shop": "The workshop.",
    "technician": "Who did it; a code will do.",
    "visit date": "The day in the bay.",
}

_OF_TABLE: dict[str, dict[str, str]] = {
    "vehicles": {
        "model": "The model; joint positions and limits are given for a model.",
        "make": "The maker.",
        "year": "The model year.",
        "vin": "Vehicle identification or serial number; finds the vehicle too.",
        "plate": "The plate; finds the vehicle too.",
        "tyre size": "As on the tyre.",
        "owner": "Whom it belongs to.",
        "duty": "What it is used for; vehicles of one duty are compared with each other.",
        "depot": "Where it is based; flags can be narrowed to a depot.",
        "in service date": "When it was new; readings of original parts count from there.",
        "in service odometer": "What the odometer showed then.",
        "weight class": "Its weight class; some limits of the law go by it.",
        "distance source": "Where its distance comes from; none where it has no meter.",
        "distance unit": "What its people count distance in; its pages use it.",
        "play unit": "What its people count play in; its pages use it.",
        "valid from": "From when this row holds, if it changes an earlier one.",
    },
    "positions": {
        "model": "The model that has this joint.",
        "axle": "The axle: front, rear, 1, 2 and so on.",
        "side": "Seen from the driver's seat.",
        "place": "What tells it from others of its kind there: upper, lower, inner, outer.",
        "kind": "The kind of joint.",
    },
    "limits": {
        "model": "Only for this model; empty for all.",
        "kind": "The kind of joint.",
        "place": "Only for this place; empty for all.",
        "direction": "Only for this load direction; empty for all that test the kind.",
        "method": "The method that the limit is stated for, if it is stated.",
        "support": "Whether the joint carries the vehicle in that procedure, if it is stated.",
        "read at": "Where the play is read by that procedure, if it is stated.",
        "limit": "The most play that is allowed. Take it from the maker's manual; none is built in.",
        "limit unit": "The unit of the limit, if it does not stand beside the number or in the header.",
        "basis": "On whose authority it stands.",
        "source": "Where it is written: manual, section, page.",
        "valid from": "From when it holds.",
    },
    "wheel_limits": {
        "model": "Only for this model; empty for all.",
        "wheel part": "What is judged at the wheel: its steering linkage or its bearing, never one joint.",
        "weight class": "Only for vehicles of this class; empty for all.",
        "bead inches from": "Only for wheels whose nominal bead diameter is at least this, in inches.",
        "bead inches to": "Only up to this one, in inches.",
        "direction": "Only for this load direction; empty for all.",
        "method": "The method that the limit is stated for, if it is stated.",
        "support": "Whether the joints carry the vehicle in that procedure, if it is stated.",
        "read at": "Where the play is read by that procedure.",
        "bearings adjusted": "Whether the procedure asks for wheel bearings to be adjusted first.",
        "limit": "The most play that is allowed; empty where a rule gives no number.",
        "limit unit": "The unit of the limit, if it does not stand beside the number or in the header.",
        "basis": "On whose authority it stands.",
        "source": "Where it is written: rule, section, table.",
        "note": "What a reader should know of it.",
        "valid from": "From when it holds.",
    },
    "odometer": {
        "entry date": "The day of the value.",
        "odometer": "What the instrument showed; at a swap, what the old one showed last.",
        "event": "A plain reading, or a swap of the instrument.",
        "new odometer": "At a swap: what the new instrument showed first.",
    },
    "services": {
        "service date": "When the service was done.",
        "interval": "The distance to the next service.",
        "interval unit": "The unit of the interval, if it does not stand beside the number or in the header.",
        "interval months": "The months to the next service; what comes first counts.",
    },
    "parts": {
        "part number": "The number that the part is ordered by.",
        "model": "Only for this model; empty for all.",
        "kind": "The kind of joint that it fits.",
        "place": "Only for this place; empty for all.",
        "supplier": "Who sells it.",
        "cost": "What it costs, in the fleet's own currency.",
        "lead days": "Days from order to delivery; may be empty.",
        "labour hours": "Hours to fit it.",
        "alignment after": "Whether the wheels must be aligned afterwards.",
        "superseded by": "The number that is ordered in its place now.",
        "ordered in pairs": "Whether both sides of an axle are fitted together.",
        "pieces per joint": "How many a joint takes; 1 if empty.",
    },
    "stock": {
        "part number": "The number that the part is ordered by.",
        "depot": "Where it lies.",
        "on hand": "Pieces on the shelf.",
        "on order": "Pieces that are on their way.",
        "expected date": "When those are expected.",
        "counted on": "The day of the count; the latest one stands.",
    },
    "visits": {
        "complaint": "What the driver noticed.",
        "symptom confirmed": "Whether the road test confirmed it.",
        "symptom joint": "The joint that the symptom was traced to, as in the positions file.",
        "secured": "How the vehicle was secured while it was raised.",
        "note": "Anything else worth knowing of the visit.",
    },
    "readings": {
        "direction": "The direction in which the joint was loaded.",
        "method": "How it was loaded.",
        "support": "Whether the joint carried the vehicle meanwhile.",
        "read at": "Where the play was read.",
        "indicator": "What it was read with.",
        "instrument": "Which indicator, by the number that stands on it; tells one that has begun to read high or low.",
        "session": "1, 2, ... where the lever was set up afresh at one visit.",
        "stroke": "1, 2, ... where one set-up was read several times.",
        "timing": "Before or after work on the joint at the same visit.",
        "result": "What the stroke showed, where it gave no number.",
        "play": "The play that was read; or, in its place, none seen.",
        "play unit": "The unit of the play, if it does not stand beside the number or in the header.",
        "resolution": "The step that the indicator was read to.",
    },
    "wheel_checks": {
        "axle": "The axle, as in the positions file.",
        "side": "Seen from the driver's seat.",
        "wheel part": "What was judged at the wheel: its steering linkage or its bearing.",
        "direction": "The direction in which the wheel was moved.",
        "method": "How it was moved.",
        "support": "Whether the joints carried the vehicle meanwhile.",
        "read at": "Where the play was read: tyre tread, tyre sidewall or rim.",
        "bearings adjusted": "Whether wheel bearings had been adjusted first.",
        "bead inches": "The wheel's nominal bead diameter, if the vehicle's tyre size does not tell it.",
        "result": "What the check showed, where it gave no number.",
        "play": "The play that was read; or, in its place, none seen.",
        "play unit": "The unit of the play, if it does not stand beside the number or in the header.",
    },
    "actions": {
        "action date": "The day on which it was done.",
        "action": "What was done about the flag; it softens no outcome.",
        "done by": "Who did it; a code will do.",
        "note": "Anything else worth knowing of it.",
    },
    "corrections": {
        "table": "The table of the row that is wrong: readings, visits, work and so on.",
        "number": "The row's number, as fleetwear history prints it.",
        "change": "What is right, as column = value; or withdraw, or reinstate.",
        "why": "Why it is corrected.",
        "by": "Who corrects it; a code will do.",
    },
    "work": {
        "work date": "The day of the work.",
        "work": "What was done; replacing or adjusting starts a new life, greasing does not.",
        "part number": "The part that was fitted.",
        "supplier": "Who it came from; suppliers can be compared.",
        "reason": "Why it was done.",
    },
}

_VISIT = {"unit": "EX1", "visit date": "2025-05-14", "odometer": "41200 km", "shop": "Own shop", "technician": "T1"}
EXAMPLES: dict[str, dict[str, str]] = {
    "vehicles": {
        "unit": "EX1", "model": "Example van", "make": "Example maker", "year": "2023", "vin": "EXAMPLE0000000001",
        "plate": "EX-001", "tyre size": "225/75 R16", "owner": "Own fleet", "duty": "delivery",
        "depot": "Example depot",
        "weight class": "10,000 lb and under",
        "in service date": "2023-03-01", "in service odometer": "20 km", "distance source": "odometer",
        "distance unit": "km", "play unit": "mm", "valid from": "2023-03-01",
    },
    "positions": {
        "model": "Example van", "axle": "front", "side": "left", "place": "lower", "kind": "ball joint",
    },
    "limits": {
        "model": "Example van", "kind": "ball joint", "place": "lower", "direction": "in-out",
        "method": "lever under tyre", "support": "loaded", "read at": "tyre tread",
        "limit": "0.8 mm", "limit unit": "mm", "basis": "shop", "source": "invented for this example",
        "valid from": "2023-03-01",
    },
    "wheel_limits": {
        "model": "Example van", "wheel part": "steering linkage", "weight class": "10,000 lb and under",
        "bead inches from": "14", "bead inches to": "18", "direction": "in-out", "method": "hand rock",
        "support": "loaded", "read at": "tyre tread", "bearings adjusted": "yes", "limit": "6 mm",
        "limit unit": "mm", "basis": "shop", "source": "invented for this example", "note": "an example",
        "valid from": "2023-03-01",
    },
    "odometer": {
        "unit": "EX1", "entry date": "2025-08-01", "odometer": "46900 km", "odometer unit": "km", "event": "reading",
    },
    "services": {
        "unit": "EX1", "service date": "2025-05-14", "odometer": "41200 km", "odometer unit": "km",
        "interval": "20000 km", "interval unit": "km", "interval months": "12",
    },
    "parts": {
        "part number": "EX-BJ-1", "model": "Example van", "kind": "ball joint", "place": "lower",
        "supplier": "Example supplier", "cost": "45", "lead days": "3", "labour hours": "1.5", "alignment after": "yes",
        "ordered in pairs": "no", "pieces per joint": "1",
    },
    "stock": {
        "part number": "EX-BJ-1", "depot": "Example depot", "on hand": "2", "on order": "4",
        "expected date": "2025-06-10", "counted on": "2025-05-14",
    },
    "visits": _VISIT | {
        "odometer unit": "km", "complaint": "knock over bumps", "symptom confirmed": "no",
        "symptom joint": "left front lower ball joint", "secured": "stands at the maker's points",
        "note": "knock not heard in the bay",
    },
    "readings": _VISIT | {
        "odometer unit": "km", "joint": "left front lower ball joint", "direction": "in-out",
        "method": "lever under tyre", "support": "loaded", "read at": "tyre tread",
        "indicator": "dial indicator", "instrument": "D1", "session": "1", "stroke": "1", "timing": "before work",
        "result": "measured", "play": "0.35 mm", "play unit": "mm", "resolution": "0.01 mm",
    },
    "wheel_checks": _VISIT | {
        "odometer unit": "km", "axle": "front", "side": "left", "wheel part": "steering linkage", "direction": "in-out",
        "method": "hand rock", "support": "loaded", "read at": "tyre tread", "bearings adjusted": "yes",
        "bead inches": "16", "result": "measured", "play": "2 mm", "play unit": "mm",
    },
    "actions": {
        "unit": "EX1", "action date": "2025-05-14", "joint": "left front lower ball joint", "action": "ordered",
        "done by": "P1", "note": "an example",
    },
    "corrections": {},
    "work": {
        "unit": "EX1", "work date": "2025-05-14", "odometer": "41200 km", "odometer unit": "km",
        "joint": "left front lower ball joint", "work": "greased", "part number": "EX-BJ-1",
        "supplier": "Example supplier", "reason": "at the service",
    },
}  # fmt: skip
"""One invented row a table; together they load without a refusal."""

_ONLY_SHOWN = {
    "corrections": {
        "table": "reading", "number": "123", "change": "play=18 thou; method=pry bar", "why": "misread", "by": "T2",
    },
}  # fmt: skip
"""An example that is not among the rows to load: a correction names a row of the store, one of the fleet's own."""

_FORMS = {
    "text": "text",
    "date": "a date: yyyy-mm-dd",
    "whole": "a whole number",
    "number": "a number",
    "yes or no": "yes or no",
    "word": "one of the words",
}


def explain(table: Table) -> list[Explained]:
    """Return the columns of a table, explained, in their order."""
    return [_explained(table, column) for column in table.columns]


def explain_all() -> list[Explained]:
    """Return the columns of all tables, explained, in the order in which tables are best filled."""
    return [explained for table in TABLES for explained in explain(table)]


def _explained(table: Table, column: Column) -> Explained:
    own = _OF_TABLE[table.name]
    required = "column must be there" if column.required else "may be left out"
    return Explained(
        table=table.name,
        column=column.name,
        meaning=own[column.name] if column.name in own else _ANYWHERE[column.name],
        form=_form(column),
        words=", ".join(DOMAINS[column.name]) if column.content == "word" else "",
        required="must be filled in" if column.filled else required,
        example=(EXAMPLES[table.name] or _ONLY_SHOWN[table.name]).get(column.name, ""),
    )


def _units(quantity: Quantity) -> str:
    return ", ".join(dict.fromkeys(SPELLINGS[quantity].values()))


def _form(column: Column) -> str:
    match column.content:
        case "play" | "distance":
            return f"a {column.content} with its unit: {_units(column.content)}"
        case "play unit":
            return f"a unit: {_units('play')}"
        case "distance unit":
            return f"a unit: {_units('distance')}"
        case content:
            return _FORMS[content]
