"""Searching one parameter by profile deviance, and the coordinates that the solver works in."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleetwear.wear.sums import Floats, LifeSums


def search(
    deviance: Callable[[float], float],
    span: tuple[float, float],
    *,
    near: Floats | None = None,
    tolerance: float = 2e-4,
) -> float:
    """Return where the deviance is lowest in the whole span, or between five points if it lies there."""
    from scipy import optimize

    if near is not None:
        inside = _interpolated_minimum(near, np.array([deviance(float(x)) for x in near]))
        if inside is not None:
            return inside
    found = optimize.minimize_scalar(deviance, bounds=span, method="bounded", options={"xatol": tolerance})
    return float(found.x)


def points_about(deviance: Callable[[float], float], found: float, *, step: float = 0.01) -> Floats:
    """Return five points about a minimum, as far apart as its curvature tells of its standard error."""
    curvature = (deviance(found + step) - 2.0 * deviance(found) + deviance(found - step)) / step**2
    apart = float(np.clip(0.75 * np.sqrt(2.0 / max(curvature, 1e-6)), step / 10.0, step * 20.0))
    return found + apart * np.arange(-2.0, 3.0)


def _interpolated_minimum(x: Floats, y: Floats) -> float | None:
    """Return where the polynomial through five evenly spaced points is lowest; None if that is an end."""
    centre, step = float(x[2]), float(x[1] - x[0])
    curve = np.polynomial.Polynomial.fit((x - centre) / step, y - y.min(), 4, domain=[-2, 2], window=[-2, 2])
    level = curve.deriv().roots()
    inside = level.real[(np.abs(level.imag) < 1e-9) & (np.abs(level.real) < 2.0)]
    if not len(inside) or curve(inside).min() >= curve(np.array([-2.0, 2.0])).min():
        return None
    return centre + step * float(inside[curve(inside).argmin()])


def in_solver(sums: LifeSums) -> tuple[LifeSums, float, float]:
    """Return sums of g centred and scaled to standard deviation one, with centre and spread."""
    total = float(sums.w.sum())
    centre = float(sums.wg.sum()) / total
    spread = float(np.sqrt(max(float(sums.wgg.sum()) / total - centre**2, 1e-24)))
    return sums.centred(centre, spread), centre, spread
