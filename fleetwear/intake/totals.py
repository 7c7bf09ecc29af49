"""Rows at the bottom of a sheet that add it up: recognised, so that no sum is taken for a reading."""

from __future__ import annotations

from dataclasses import dataclass, field

WORDS = frozenset(
    {
        "total", "totals", "grand total", "subtotal", "sub total", "sum", "average", "averages", "mean",
        "gesamt", "summe", "mittelwert", "durchschnitt", "total général", "moyenne", "totale", "media", "promedio",
    }
)  # fmt: skip
"""What the first cell of such a row says; a colon may follow."""


def is_total(first: str) -> bool:
    """Return whether a row whose first cell that is not blank says this looks like a total."""
    return len(first) <= 20 and first.strip().rstrip(":").strip().casefold() in WORDS


@dataclass
class TotalRows:
    """Rows that look like totals, held back until it is known whether another row follows."""

    _held: list[tuple[int, list[str]]] = field(default_factory=list)

    def hold_back(self, number: int, row: list[str]) -> bool:
        """Return whether a row looks like a total; it is then kept here."""
        if not is_total(next(cell for cell in row if cell.strip())):
            return False
        self._held.append((number, row))
        return True

    def release(self) -> list[tuple[int, list[str]]]:
        """Return the rows that were held back, which are kept no longer."""
        held, self._held = self._held, []
        return held

    @staticmethod
    def reason(row: list[str]) -> str:
        """Return why such a row is refused when nothing follows it."""
        first = next(cell for cell in row if cell.strip()).strip()
        return f'the row is taken for a total, because it is at the bottom and begins with "{first}"'
