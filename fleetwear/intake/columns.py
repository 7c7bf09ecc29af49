"""The columns of each kind of file: the one data contract between people's files and the store.

A file's table is recognised by its header: the table whose required columns are all there and which
knows the most of the header. A unit may stand in the header in brackets ("play (thou)"), in a unit
column ("play unit"), or beside each number ("20 thou"); beside the number wins over the column, the
column over the header.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Content = Literal[
    "text", "date", "whole", "number", "yes or no", "play", "distance", "play unit", "distance unit", "word"
]


@dataclass(frozen=True)
class Column:
    """One column: its header, what its cells hold, and whether a file must have it."""

    name: str
    content: Content = "text"
    required: bool = False
    """The header must be there."""
    filled: bool = False
    """No cell may be empty."""
    also: tuple[str, ...] = ()
    """Other headers that mean the same."""


@dataclass(frozen=True)
class Table:
    """One kind of file and its columns."""

    name: str
    says: str
    """What one row is, in words."""
    columns: tuple[Column, ...]

    def column(self, name: str) -> Column:
        """Return the column of that name."""
        return next(column for column in self.columns if column.name == name)


_UNIT = Column("unit", required=True, filled=True, also=("unit number", "vehicle", "unit no"))
_JOINT = Column("joint", required=True, filled=True)
_ODOMETER = Column("odometer", "distance", also=("mileage", "hub meter"))
_ODOMETER_UNIT = Column("odometer unit", "distance unit", also=("distance unit",))
_SETTLES = Column("quarantine number", "whole")
"""Names the quarantined row that a row corrects."""

TABLES: tuple[Table, ...] = (
    Table(
        "vehicles",
        "a vehicle or trailer, as it is from a date on",
        (
            _UNIT,
            Column("model", required=True, filled=True),
            Column("make"),
            Column("year", "whole", also=("model year",)),
            Column("vin", also=("serial", "serial number")),
            Column("plate"),
            Column("tyre size", also=("tire size",)),
            Column("owner"),
            Column("duty"),
            Column("depot"),
            Column("in service date", "date", also=("in service",)),
            Column("in service odometer", "distance"),
            Column("weight class", "word"),
            Column("distance source", "word"),
            Column("distance unit", "distance unit"),
            Column("play unit", "play unit"),
            Column("valid from", "date"),
            _SETTLES,
        ),
    ),
    Table(
        "positions",
        "a joint position on a model",
        (
            Column("model", required=True, filled=True),
            Column("axle", required=True, filled=True),
            Column("side", "word"),
            Column("place"),
            Column("kind", "word", required=True, filled=True),
            _SETTLES,
        ),
    ),
    Table(
        "limits",
        "how much play is allowed, by whom",
        (
            Column("model"),
            Column("kind", "word", required=True, filled=True),
            Column("place"),
            Column("direction", "word"),
            Column("method", "word"),
            Column("support", "word"),
            Column("read at", "word"),
            Column("limit", "play", required=True, filled=True),
            Column("limit unit", "play unit"),
            Column("basis", "word", required=True, filled=True),
            Column("source", required=True, filled=True),
            Column("valid from", "date"),
            _SETTLES,
        ),
    ),
    Table(
        "wheel_limits",
        "how much play a check of a whole wheel allows, by whom",
        (
            Column("model"),
            Column("wheel part", "word", required=True, filled=True),
            Column("weight class", "word"),
            Column("bead inches from", "number"),
            Column("bead inches to", "number"),
            Column("direction", "word"),
            Column("method", "word"),
            Column("support", "word"),
            Column("read at", "word"),
            Column("bearings adjusted", "yes or no"),
            Column("limit", "play", required=True),
            Column("limit unit", "play unit"),
            Column("basis", "word", required=True, filled=True),
            Column("source", required=True, filled=True),
            Column("note"),
            Column("valid from", "date"),
            _SETTLES,
        ),
    ),
    Table(
        "odometer",
        "any other dated odometer value, or a swap of the instrument",
        (
            _UNIT,
            Column("entry date", "date", required=True, filled=True),
            Column("odometer", "distance", required=True, filled=True, also=("mileage", "hub meter")),
            _ODOMETER_UNIT,
            Column("event", "word"),
            Column("new odometer", "distance"),
            _SETTLES,
        ),
    ),
    Table(
        "services",
        "one service done, and the interval to the next",
        (
            _UNIT,
            Column("service date", "date", required=True, filled=True, also=("done date",)),
            _ODOMETER,
            _ODOMETER_UNIT,
            Column("interval", "distance", also=("interval distance",)),
            Column("interval unit", "distance unit"),
            Column("interval months", "number"),
            _SETTLES,
        ),
    ),
    Table(
        "parts",
        "a part that fits a kind of joint",
        (
            Column("part number", required=True, filled=True),
            Column("model"),
            Column("kind", "word", required=True, filled=True),
            Column("place"),
            Column("supplier"),
            Column("cost", "number"),
            Column("lead days", "whole", required=True),
            Column("labour hours", "number", also=("labor hours",)),
            Column("alignment after", "yes or no"),
            Column("superseded by", also=("replaced by part",)),
            Column("ordered in pairs", "yes or no"),
            Column("pieces per joint", "whole"),
            _SETTLES,
        ),
    ),
    Table(
        "stock",
        "a count of one part number at one depot",
        (
            Column("part number", required=True, filled=True),
            Column("depot", required=True, filled=True),
            Column("on hand", "whole", required=True, filled=True),
            Column("on order", "whole"),
            Column("expected date", "date"),
            Column("counted on", "date", required=True, filled=True),
            _SETTLES,
        ),
    ),
    Table(
        "visits",
        "a vehicle in a bay",
        (
            _UNIT,
            Column("visit date", "date", required=True, filled=True),
            _ODOMETER,
            _ODOMETER_UNIT,
            Column("shop"),
            Column("technician"),
            Column("complaint"),
            Column("symptom confirmed", "yes or no"),
            Column("symptom joint"),
            Column("secured"),
            Column("note", also=("remark",)),
            _SETTLES,
        ),
    ),
    Table(
        "readings",
        "one stroke or result of one joint in one load direction",
        (
            _UNIT,
            Column("visit date", "date", required=True, filled=True),
            _ODOMETER,
            _ODOMETER_UNIT,
            Column("shop"),
            Column("technician"),
            _JOINT,
            Column("direction", "word", required=True, filled=True, also=("load direction",)),
            Column("method", "word"),
            Column("support", "word"),
            Column("read at", "word"),
            Column("indicator", "word"),
            Column("instrument", also=("indicator number",)),
            Column("session", "whole"),
            Column("stroke", "whole"),
            Column("timing", "word"),
            Column("result", "word"),
            Column("play", "play", required=True),
            Column("play unit", "play unit"),
            Column("resolution", "play"),
            _SETTLES,
        ),
    ),
    Table(
        "wheel_checks",
        "one reading of a whole wheel, which is no reading of a joint",
        (
            _UNIT,
            Column("visit date", "date", required=True, filled=True),
            _ODOMETER,
            _ODOMETER_UNIT,
            Column("shop"),
            Column("technician"),
            Column("axle", required=True, filled=True),
            Column("side", "word", required=True, filled=True),
            Column("wheel part", "word", required=True, filled=True),
            Column("direction", "word", also=("load direction",)),
            Column("method", "word"),
            Column("support", "word"),
            Column("read at", "word", required=True, filled=True),
            Column("bearings adjusted", "yes or no"),
            Column("bead inches", "number"),
            Column("result", "word"),
            Column("play", "play", required=True),
            Column("play unit", "play unit"),
            _SETTLES,
        ),
    ),
    Table(
        "work",
        "a joint replaced, adjusted or greased",
        (
            _UNIT,
            Column("work date", "date", required=True, filled=True),
            _ODOMETER,
            _ODOMETER_UNIT,
            _JOINT,
            Column("work", "word", required=True, filled=True),
            Column("part number"),
            Column("supplier"),
            Column("reason"),
            _SETTLES,
        ),
    ),
    Table(
        "actions",
        "what was done about the flag of a joint",
        (
            _UNIT,
            Column("action date", "date", required=True, filled=True),
            _JOINT,
            Column("action", "word", required=True, filled=True),
            Column("done by", also=("by",)),
            Column("note"),
            _SETTLES,
        ),
    ),
    Table(
        "corrections",
        "what is wrong with a row that is in the store, and what is right",
        (
            Column("table", required=True, filled=True),
            Column("number", "whole", required=True, filled=True),
            Column("change", required=True, filled=True),
            Column("why", required=True, filled=True),
            Column("by", required=True, filled=True, also=("corrected by",)),
            _SETTLES,
        ),
    ),
)
"""Every kind of file, in the order in which they are best loaded."""

BY_NAME: dict[str, Table] = {table.name: table for table in TABLES}
