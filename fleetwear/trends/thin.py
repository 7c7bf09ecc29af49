"""Groups that are too thin to tell a trend, by name, and what they still need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.planning.wording import begin_sentence, say_count
from fleetwear.survival.distributions import LEAST_CLUSTERS as CROSSED_CLUSTERS
from fleetwear.survival.distributions import LEAST_CROSSED
from fleetwear.wear.design import LEAST_CLUSTERS, LEAST_LIVES
from fleetwear.wear.spread import group_sums, spread_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleetwear.trends.lifetimes import LifetimeTrend
    from fleetwear.trends.record import Trends

WIDE = 0.5
"""Half of the 95 % interval over the mean above which a mean growth is too wide to use."""
AIM = 0.25
"""What it should be, for the number of parts that is still needed."""


@dataclass(frozen=True)
class ThinGroup:
    """A group, and what it still needs, in words."""

    name: str
    has: str
    needs: str

    def words(self) -> str:
        """Return both in a sentence."""
        return f"{self.name}: {self.has}; {self.needs}."


def thin_groups(trends: Trends, *, by: str = "cohort", kind: str | None = None) -> list[ThinGroup]:
    """Return the groups whose mean growth cannot be told, or only too widely, in the order of their names.

    They are cohorts, or the levels of a factor within each kind; there a joint read in two load directions makes two
    series. A group needs ``LEAST_LIVES`` parts of ``LEAST_CLUSTERS`` vehicles that were read at two visits, and an
    interval of its mean growth that is not wider than ``WIDE`` of it on either side.
    """
    lives = trends.lives if kind is None else trends.lives[trends.lives["kind"] == kind]
    if lives.empty:
        return []
    named = lives["cohort"] if by == "cohort" else lives["kind"] + "/" + lives[by].astype(str)
    names, code = np.unique(named.to_numpy(dtype=str), return_inverse=True)
    twice = (lives["n_visits"] >= 2).to_numpy() & lives["growth_mm_per_km"].notna().to_numpy()
    once = np.bincount(code[~twice], minlength=len(names))
    found = spread_of(
        group_sums(
            lives["growth_mm_per_km"].to_numpy(dtype=np.float64)[twice],
            lives["variance"].to_numpy(dtype=np.float64)[twice],
            code[twice].astype(np.int64),
            lives["vehicle_id"].to_numpy(dtype=np.int64)[twice],
            n_groups=len(names),
        )
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = (found.upper - found.lower) / 2.0 / np.abs(found.mean)
    thin = (found.n < LEAST_LIVES) | (found.n_clusters < LEAST_CLUSTERS)
    noun = ("part", "parts") if by == "cohort" else ("series", "series")
    return [
        _thin(names[at], int(found.n[at]), int(found.n_clusters[at]), int(once[at]), noun)
        if thin[at]
        else _too_wide(names[at], int(found.n[at]), float(wide[at]), noun)
        for at in np.flatnonzero(thin | (wide > WIDE))
    ]


def _named(cohort: str) -> str:
    return begin_sentence(cohort.replace("/", ", "))


def _thin(name: str, n: int, vehicles: int, once: int, noun: tuple[str, str]) -> ThinGroup:
    parts_short, vehicles_short = max(LEAST_LIVES - n, 0), max(LEAST_CLUSTERS - vehicles, 0)
    short = max(parts_short, vehicles_short)
    needs = f"needs {say_count(short, f'more {noun[0]}', f'more {noun[1]}')} read at two visits"
    if vehicles_short:
        needs += f", of {say_count(vehicles_short, 'more vehicle', 'more vehicles')} at least"
    if once:
        needs += f"; a second reading of {say_count(min(once, short), *noun)} read once would count"
    has = f"{say_count(n, *noun)} of {say_count(vehicles, 'vehicle', 'vehicles')} read at two visits"
    return ThinGroup(_named(name), has, needs)


def _too_wide(name: str, n: int, wide: float, noun: tuple[str, str]) -> ThinGroup:
    more = int(np.ceil(n * ((wide / AIM) ** 2 - 1.0)))
    return ThinGroup(
        _named(name),
        f"mean growth of {say_count(n, *noun)} known to within {100.0 * wide:.0f} % only",
        f"about {say_count(more, f'more {noun[0]}', f'more {noun[1]}')} read at two visits would bring that to "
        f"{100.0 * AIM:.0f} %",
    )


def thin_lifetimes(lifetimes: Iterable[LifetimeTrend], *, by: str) -> list[ThinGroup]:
    """Return the groups of which too few parts crossed to fit a distribution of distances to the limit."""
    found = []
    for trend in lifetimes:
        crossed, clusters = trend.lifetimes.n_crossed, trend.lifetimes.clusters_crossed()
        short, vehicles_short = max(LEAST_CROSSED - crossed, 0), max(CROSSED_CLUSTERS - clusters, 0)
        if not short and not vehicles_short:
            continue
        name = trend.kind if by == "kind" else f"{trend.kind}, {trend.level}"
        has = f"{say_count(crossed, 'crossing', 'crossings')} among {say_count(len(trend.lifetimes), 'part', 'parts')}"
        needs = f"needs {say_count(max(short, vehicles_short), 'more crossing', 'more crossings')}"
        if vehicles_short:
            needs += f", on {say_count(vehicles_short, 'more vehicle', 'more vehicles')} at least"
        found.append(ThinGroup(_named(name), has, needs))
    return found
