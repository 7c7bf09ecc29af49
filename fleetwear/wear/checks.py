"""What must hold of lives before they are fitted, and what makes a fit doubtful."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.errors import FitError
from fleetwear.wear.cohorts import MIN_LIVES

if TYPE_CHECKING:
    from fleetwear.wear.mixed_model import Optimum
    from fleetwear.wear.shapes import Shape
    from fleetwear.wear.sums import LifeSums

_ROUNDING = 1e-12
"""Scatter about the lives' own lines, over the sum of squares of play, that may be rounding."""

EXPONENT_RANGE = (0.4, 4.0)
"""The exponents of the power curve that are searched."""


def check_enough(sums: LifeSums, *, level: bool, lives: int | None = None) -> None:
    """Raise FitError if there are too few lives or readings, or no two distances.

    ``lives`` is how many were read, where the rows are not lives but sums over many.
    """
    lives, readings = int((sums.n > 0).sum()) if lives is None else lives, int(sums.n.sum())
    if lives < MIN_LIVES or readings < lives + 3:
        raise FitError(
            f"{readings} readings of {lives} lives are too few to tell lives from errors",
            mend=f"At least {MIN_LIVES} lives and three repeat readings more than lives are needed.",
        )
    det = float(sums.w.sum() * sums.wgg.sum() - sums.wg.sum() ** 2)
    if not level and det <= 1e-12 * float(sums.w.sum() * sums.wgg.sum()):
        raise FitError(
            "all readings stand at one distance, so growth cannot be estimated",
            mend='Add readings at other distances, or fit shape="level".',
        )


def check_scatter(sums: LifeSums, *, level: bool) -> None:
    """Raise FitError if the lives that could show scatter about their own least-squares lines show none."""
    refuse_no_scatter(*scatter(sums, level=level))


def scatter(sums: LifeSums, *, level: bool) -> tuple[float, float, int]:
    """Return squared scatter about their own lines, and squared play, of the lives that could show it, and how many.

    Those of two halves of a fleet add up.
    """
    det = sums.w * sums.wgg - sums.wg**2
    chosen = sums.n > 1 if level else (sums.n > 2) & (det > 1e-3 * sums.w * sums.wgg)
    own = sums if chosen.all() else sums.take(chosen)
    explained = own.wy**2 / own.w
    if not level:
        slope_part = own.wgy - own.wg * own.wy / own.w
        explained = explained + slope_part**2 / (own.wgg - own.wg**2 / own.w)
    return float((own.wyy - explained).sum()), float(own.wyy.sum()), len(own)


def refuse_no_scatter(about_lines: float, whole: float, lives: float) -> None:
    """Raise FitError if what :func:`scatter` gave shows none, of one life or more."""
    if lives and about_lines <= _ROUNDING * whole:
        raise FitError(
            "the readings lie on their lines without any scatter, so no error variance can be estimated",
            mend="Give readings as they were taken; computed or smoothed values cannot be fitted.",
        )


def doubt_of(optimum: Optimum, shape: Shape) -> str:
    """Return why forecasts from this optimum need care, or nothing."""
    said = []
    if not optimum.converged:
        said.append("the optimiser did not come to rest")
    if optimum.boundary:
        said.append(f"a variance ended on its boundary ({optimum.boundary})")
    low, high = EXPONENT_RANGE
    if shape.name == "power" and not low * 1.01 < shape.exponent < high / 1.01:
        said.append(f"the exponent ended at the edge of its range ({shape.exponent:.2f})")
    return "; ".join(said)
