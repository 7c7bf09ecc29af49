"""Stock: what lies on a depot's shelf of a part number, and what is on its way there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.planning.ahead.catalogue import follow
from fleetwear.planning.wording import is_known, say_date

if TYPE_CHECKING:
    from datetime import date


@dataclass(frozen=True)
class Shelf:
    """What there is of one part number at one depot."""

    on_hand: int
    on_order: int
    expected: date | None
    """The day on which what is on order is to come; None where nothing is, or the day is not on record."""
    notes: tuple[str, ...]

    def by(self, day: date) -> int:
        """Return how many are there on the morning of a day; an order without a day is not counted on."""
        arrived = self.expected is not None and self.expected < day
        return self.on_hand + (self.on_order if arrived else 0)


def shelf_of(stock: pd.DataFrame, number: str, depot: str, superseded: dict[str, str]) -> Shelf:
    """Return the shelf of a part number at a depot.

    Pieces of a number that this one has superseded are named and not counted: whether they may still be fitted is
    for the maker to say.

    Parameters
    ----------
    stock
        Rows of ``ahead/stock.sql``.
    number, depot
        The number that is ordered now, and the depot, in any case of letters.
    superseded
        Which number takes the place of which.
    """
    here = stock[stock["depot"].str.lower() == depot.lower()]
    own = here[here["part_number"] == number]
    notes = []
    if own.empty:
        notes.append("no stock count on record, taken as none")
        on_hand, on_order, expected = 0, 0, None
    else:
        count = own.iloc[0]
        on_hand, on_order = int(count["on_hand"]), int(count["on_order"])
        expected = pd.Timestamp(count["expected_date"]).date() if is_known(count["expected_date"]) else None
        notes.append(f"counted on {say_date(count['counted_on'])}")
        if on_order and expected is None:
            notes.append("on order without an expected date: not counted on for dates")
        elif on_order:
            notes.append(f"{on_order} expected on {say_date(expected)}")
    for row in here.to_dict("records"):
        old = str(row["part_number"])
        pieces = int(row["on_hand"]) + int(row["on_order"])
        if old != number and pieces and _leads_to(old, number, superseded):
            notes.append(f"{pieces} of the superseded {old} not counted")
    return Shelf(on_hand, on_order, expected if on_order else None, tuple(notes))


def _leads_to(old: str, number: str, superseded: dict[str, str]) -> bool:
    try:
        return follow(old, superseded)[-1] == number
    except InputError:
        return False
