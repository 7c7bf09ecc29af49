"""Looks: the few colours that charts and pages are drawn with, on light paper, on a dark screen and in print.

Probability has one scale of a single hue. Its lightness changes steadily from one end to the other, so
its order survives a grey print and every kind of colour blindness; a number always stands beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

FONT = '"Source Sans", "Source Sans 3", "Liberation Sans", "DejaVu Sans", sans-serif'
"""Fonts that are at hand without fetching any."""


@dataclass(frozen=True)
class Look:
    """A name, and colours as "#rrggbb"."""

    name: str
    paper: str
    ink: str
    muted: str
    """Words and marks of less weight; still legible on ``paper``."""
    rule: str
    """Grid and hairlines."""
    tint: str
    """Surfaces that stand off from ``paper`` a little."""
    window: str
    """The window of the next service."""
    accent: str
    """Fitted lines, links and controls."""
    low: str
    middle: str
    high: str
    """Probability 0, 0.5 and 1."""

    def shade(self, probability: float) -> str:
        """Return the colour of a probability between 0 and 1."""
        p = min(max(probability, 0.0), 1.0)
        start, end, share = (self.low, self.middle, 2.0 * p) if p < 0.5 else (self.middle, self.high, 2.0 * p - 1.0)
        mixed = (round(a + (b - a) * share) for a, b in zip(_channels(start), _channels(end), strict=True))
        return "#" + "".join(f"{channel:02x}" for channel in mixed)


def _channels(colour: str) -> tuple[int, ...]:
    return tuple(int(colour[at : at + 2], 16) for at in (1, 3, 5))


LIGHT = Look(
    name="light",
    paper="#fbfaf6",
    ink="#20282d",
    muted="#5a656b",
    rule="#dcd8ce",
    tint="#f1eee6",
    window="#e0dacb",
    accent="#1b5a70",
    low="#e3eef0",
    middle="#6d9fb0",
    high="#0c2f3e",
)

DARK = Look(
    name="dark",
    paper="#14191c",
    ink="#e9e6de",
    muted="#a6b0b4",
    rule="#333c41",
    tint="#1d2428",
    window="#39434a",
    accent="#8cc3d4",
    low="#22333a",
    middle="#5b92a5",
    high="#d9f0f6",
)

PRINT = Look(
    name="print",
    paper="#ffffff",
    ink="#000000",
    muted="#4d4d4d",
    rule="#d4d4d4",
    tint="#f4f4f4",
    window="#e2e2e2",
    accent="#1b4b5e",
    low="#e3eef0",
    middle="#6d9fb0",
    high="#0c2f3e",
)
