"""Slipped setups: a few readings in a hundred that are far off, mostly low, because the indicator moved.

A reading's error is normal, or, with a small probability, that of a slip::

    e_i ~ (1 - share) N(0, sigma2 v_i) + share N(shift, variance)

Which readings slipped is judged in module ``judging``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleetwear.wear.judging import Judged

_FIRST_SHARE = 0.03
_FIRST_RATIO = 25.0
"""Variance of a slip over the residual variance, before any is seen."""
_LEAST_RATIO = 6.0
_PRIOR_SHARE = (1.0, 50.0)
"""Slips and readings that the share of slips starts from, so that a fleet of a few readings has some."""
_PRIOR_SLIPS = 4.0
"""Slips' worth of the first variance, and of no shift, likewise."""


@dataclass(frozen=True)
class Slips:
    """How often readings slip, and how far: N(shift, variance) in play and play squared."""

    share: float
    shift: float
    variance: float

    @classmethod
    def first(cls, residual_variance: float) -> Slips:
        """Return what is assumed before any reading is seen."""
        return cls(_FIRST_SHARE, 0.0, _FIRST_RATIO * residual_variance)

    def improved(self, judged: Judged, residual_variance: float) -> Slips:
        """Return the estimate from judged readings, with a little weight on what was assumed."""
        weight = judged.slipped
        slipped = float(weight.sum())
        share = (slipped + _PRIOR_SHARE[0]) / (judged.n_measured + _PRIOR_SHARE[1])
        shift = float(weight @ judged.gap) / (slipped + _PRIOR_SLIPS)
        squares = float(weight @ ((judged.gap - shift) ** 2 - judged.spread))
        assumed = _PRIOR_SLIPS * _FIRST_RATIO * residual_variance
        variance = max((squares + assumed) / (slipped + _PRIOR_SLIPS), _LEAST_RATIO * residual_variance)
        return Slips(min(share, 0.3), shift, variance)
