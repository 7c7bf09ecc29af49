"""Growth shapes: how play grows with the distance a part has run.

    play(x) = intercept + growth * g(x)

==========  =====================  =====================================================
shape       g(x)                   when it is right
==========  =====================  =====================================================
level       0                      play that does not grow (no growth is estimated)
straight    x / reference          steady wear
power       (x / reference)^gamma  wear that gathers pace (gamma > 1) or settles (< 1)
==========  =====================  =====================================================

Two shapes more are built on the straight one: two-stage, a mixture of lines that bend upward at an onset which
differs from life to life (module ``onset``), and wandering, with a Brownian path on top of the line (module
``wandering``).

x is the distance since the part was installed and has the unit that the caller uses throughout;
``reference`` is a distance in that unit, 1 for the straight shape, so that its growth is play per
unit of distance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

ShapeName = Literal["level", "straight", "power", "two-stage", "wandering"]

NAMES: tuple[ShapeName, ...] = ("level", "straight", "power", "two-stage", "wandering")

CANDIDATES: tuple[ShapeName, ...] = ("straight", "power", "two-stage", "wandering")
"""The shapes that are weighed against each other when none is chosen."""


@dataclass(frozen=True)
class Shape:
    """A growth shape with its exponent and reference distance."""

    name: ShapeName
    exponent: float = 1.0
    reference: float = 1.0

    def growth(self, distance: ArrayLike) -> NDArray[np.float64]:
        """Return g(x) for distances since installation, in an array of the same shape, without a unit."""
        return power(distance, self.exponent, self.reference)

    def slope(self, distance: ArrayLike) -> NDArray[np.float64]:
        """Return dg/dx at those distances, per unit of distance."""
        x = np.asarray(distance, dtype=np.float64) / self.reference
        with np.errstate(divide="ignore"):
            return np.asarray(self.exponent * x ** (self.exponent - 1.0) / self.reference)

    def distance_at(self, growth: ArrayLike) -> NDArray[np.float64]:
        """Return the distance at which g reaches these values; the inverse of :meth:`growth`."""
        return np.asarray(
            self.reference * np.maximum(np.asarray(growth, dtype=np.float64), 0.0) ** (1.0 / self.exponent)
        )


def power(distance: ArrayLike, exponent: float, reference: float) -> NDArray[np.float64]:
    """Return (distance / reference) ^ exponent; exponent 1 costs a division only."""
    scaled = np.asarray(distance, dtype=np.float64) / reference
    return scaled if exponent == 1.0 else np.asarray(scaled**exponent)


def check_shape_name(name: str) -> ShapeName:
    """Return the name if it is that of a shape, or raise InputError naming those that are known."""
    for known in NAMES:
        if name == known:
            return known
    raise InputError(
        f"unknown shape {name!r}", mend='Choose "auto", "straight", "power", "two-stage", "wandering" or "level".'
    )
