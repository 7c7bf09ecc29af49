"""Distances from fitting to crossing the limit, by group: how many crossed when, as far as visits can tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.survival import LifeDistribution, Lifetimes, Turnbull, fit_distributions, turnbull
from fleetwear.trends.record import check_trend_question

if TYPE_CHECKING:
    from fleetwear.trends.record import Trends

MOST_PARTS = 2000
"""Parts of a group above which an even sample of so many is taken."""


@dataclass(frozen=True)
class LifetimeTrend:
    """The distances to the limit of one group; km."""

    kind: str
    level: str
    lifetimes: Lifetimes
    n_vehicles: int
    n_uninformative: int
    """Parts that were looked at only when they were fitted."""
    n_replaced_under: int
    """Parts that were replaced or adjusted before any reading over the limit."""
    limits: tuple[tuple[float, str], ...]
    """The limits in mm that applied, with their sources."""
    estimate: Turnbull | None
    """None without any part."""
    distributions: tuple[LifeDistribution, ...]
    """The likelier first; empty where too few crossed."""

    @property
    def best(self) -> LifeDistribution | None:
        """The likelier distribution."""
        return self.distributions[0] if self.distributions else None

    @property
    def told_apart(self) -> bool:
        """Whether the likelier distribution is so by more than 2 of log-likelihood."""
        return len(self.distributions) == 2 and self.distributions[0].loglik - self.distributions[1].loglik > 2.0


def lifetimes_by(trends: Trends, *, by: str, kind: str | None = None) -> list[LifetimeTrend]:
    """Return the distances to the limit of every group, in the order of kinds and levels.

    Raises
    ------
    InputError
        If the factor or the kind is not one of those that there are.
    """
    check_trend_question(trends, by=by, kind=kind)
    parts = trends.lifetimes if kind is None else trends.lifetimes[trends.lifetimes["kind"] == kind]
    levels = parts[by].astype(str)
    return [_of_group(str(key[0]), str(key[1]), frame) for key, frame in parts.groupby([parts["kind"], levels])]


def _of_group(kind: str, level: str, parts: pd.DataFrame) -> LifetimeTrend:
    upper = parts["upper_km"].to_numpy(dtype=np.float64)
    upper = np.where(np.isnan(upper), np.inf, upper)
    lower = parts["lower_km"].to_numpy(dtype=np.float64)
    possible = upper > 0.0
    everything = Lifetimes.of(lower[possible], upper[possible], parts["vehicle_id"].to_numpy()[possible])
    sample = everything.sample(MOST_PARTS)
    ends = pd.concat(
        [
            parts[[name, "limit_source"]].set_axis(["limit_mm", "source"], axis=1)
            for name in ("least_limit_mm", "greatest_limit_mm")
        ]
    ).drop_duplicates()
    limits = [(float(mm), str(source)) for mm, source in zip(ends["limit_mm"], ends["source"], strict=True)]
    return LifetimeTrend(
        kind=kind,
        level=level,
        lifetimes=everything,
        n_vehicles=int(parts["vehicle_id"].nunique()),
        n_uninformative=len(parts) - len(everything),
        n_replaced_under=int((parts["has_ended"] & parts["upper_km"].isna()).sum()),
        limits=tuple(sorted(limits)),
        estimate=turnbull(sample) if len(sample) else None,
        distributions=fit_distributions(sample),
    )
