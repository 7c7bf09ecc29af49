"""What the parts are ordered as and what lies on the shelves, so that the weeks ahead can be planned."""

from __future__ import annotations

from datetime import timedelta

import pandas as pd

from demo_fleet.catalogue import DEPOTS, PARTS
from demo_fleet.period import AS_OF
from demo_fleet.tables import table
from fleetwear.vocabulary import Kind

SUPERSEDED = {"L2-BJL-A": "L2-BJL-A2", "L2-BJL-A2": "L2-BJL-A3"}
"""The lower ball joint of the van has had two new numbers, one after the other."""

WITHOUT_FIGURES = ("H60-DLF-A",)
"""The drag link end of the long truck has neither lead days nor labour hours, on purpose."""

_PAIRS = (Kind.CONTROL_ARM_BUSHING, Kind.STABILIZER_LINK, Kind.SPRING_EYE_BUSHING)
_PIECES = {Kind.TORQUE_ROD_BUSHING: 2}
_COUNTED = AS_OF - timedelta(days=2)


def parts() -> pd.DataFrame:
    """Return the parts, those that have taken the place of another at the end."""
    rows = [(part, part.number) for part in PARTS]
    rows += [(part, name) for part in PARTS for name in _later_names(part.number)]
    bare = [name in WITHOUT_FIGURES for _, name in rows]
    return table(
        {
            "part number": [name for _, name in rows],
            "model": [part.model for part, _ in rows],
            "kind": [str(part.kind) for part, _ in rows],
            "place": [part.place for part, _ in rows],
            "supplier": [part.supplier for part, _ in rows],
            "cost": [f"{part.cost:.2f}" for part, _ in rows],
            "lead days": ["" if no else part.lead_days for (part, _), no in zip(rows, bare, strict=True)],
            "labour hours": ["" if no else part.labour_hours for (part, _), no in zip(rows, bare, strict=True)],
            "alignment after": ["yes" if part.alignment_after else "no" for part, _ in rows],
            "superseded by": [SUPERSEDED.get(name, "") for _, name in rows],
            "ordered in pairs": ["yes" if part.kind in _PAIRS else "no" for part, _ in rows],
            "pieces per joint": [_PIECES.get(part.kind, 1) for part, _ in rows],
        }
    )


def stock() -> pd.DataFrame:
    """Return one count of every part that a depot keeps; some are on order, one without a date."""
    rows = [
        (depot.name, part, at, place)
        for place, depot in enumerate(DEPOTS)
        for at, part in enumerate(PARTS)
        if (at + place) % 3 == 0
    ]
    on_order = [2 if at % 4 == place else 0 for _, _, at, place in rows]
    arrives = (AS_OF + timedelta(days=11)).isoformat()
    kept = table(
        {
            "part number": [part.number for _, part, _, _ in rows],
            "depot": [depot for depot, _, _, _ in rows],
            "on hand": [(at + 2 * place) % 3 for _, _, at, place in rows],
            "on order": on_order,
            "expected date": [
                arrives if count and number != on_order.index(2) else "" for number, count in enumerate(on_order)
            ],
            "counted on": [_COUNTED.isoformat()] * len(rows),
        }
    )
    newest = table(
        {
            "part number": ["L2-BJL-A3", "L2-BJL-A3"],
            "depot": [depot.name for depot in DEPOTS[:2]],
            "on hand": [0, 1],
            "on order": [2, 0],
            "expected date": [arrives, ""],
            "counted on": [_COUNTED.isoformat()] * 2,
        }
    )
    return pd.concat([kept, newest], ignore_index=True)


def _later_names(number: str) -> list[str]:
    names: list[str] = []
    while number in SUPERSEDED:
        number = SUPERSEDED[number]
        names.append(number)
    return names
