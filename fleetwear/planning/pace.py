"""Whether the wear of a joint has changed its pace: what the onset's posterior says, in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.planning.wording import say_distance, say_probability

if TYPE_CHECKING:
    import pandas as pd

WORTH_SAYING = 0.2
"""Probability below which a change of pace is not spoken of."""


@dataclass(frozen=True)
class PaceChange:
    """A change of pace that lies behind the joint."""

    probability: float
    run_km: float
    """The distance since the life began at which it came: median of the onset's posterior, given that it came, km."""
    lower_km: float
    upper_km: float
    """90 % of it."""
    pace: float
    """By how much wear is faster since."""

    def words(self, unit: str) -> str:
        """Return a sentence, distances in a unit."""
        return (
            f"Wear changed pace at about {say_distance(self.run_km, unit)} since the part was fitted "
            f"({say_distance(self.lower_km, unit)} to {say_distance(self.upper_km, unit)}), to {self.pace:.1f} times "
            f"as fast; probability {say_probability(self.probability)}."
        )


def pace_change(lines: pd.DataFrame, life_distance_km: float) -> PaceChange | None:
    """Return what the posterior components of a series say of a change of pace so far; None if hardly anything.

    Parameters
    ----------
    lines
        The components of the series, in the columns of the table ``posteriors``.
    life_distance_km
        Distance that the part has run since its life began.
    """
    weight = lines["weight"].to_numpy(dtype=np.float64)
    at = lines["onset_km"].to_numpy(dtype=np.float64) - lines["shift_km"].to_numpy(dtype=np.float64)
    behind = (lines["pace"].to_numpy(dtype=np.float64) > 1.0) & (at < life_distance_km)
    total = float(weight.sum())
    probability = float(weight[behind].sum()) / total if total > 0.0 else 0.0
    if probability < WORTH_SAYING:
        return None
    order = np.argsort(at[behind])
    onset, share = np.maximum(at[behind][order], 0.0), np.cumsum(weight[behind][order])
    lower, middle, upper = (float(onset[np.searchsorted(share, q * share[-1])]) for q in (0.05, 0.5, 0.95))
    pace = float(np.average(lines["pace"].to_numpy(dtype=np.float64)[behind], weights=weight[behind]))
    return PaceChange(probability, middle, lower, upper, pace)
