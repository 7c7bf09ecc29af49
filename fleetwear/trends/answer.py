"""The answer to one question about trends: by what, and for which kind of joint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleetwear.forecast.effect_words import ALL_KINDS
from fleetwear.trends.growth import Density, cohort_curves, growth_by, growth_densities
from fleetwear.trends.lifetimes import LifetimeTrend, lifetimes_by
from fleetwear.trends.thin import ThinGroup, thin_groups, thin_lifetimes

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.trends.record import Trends


@dataclass(frozen=True)
class TrendAnswer:
    """What the trends say by one factor, for one kind of joint or for all."""

    trends: Trends
    by: str
    kind: str | None
    growth: pd.DataFrame
    """See ``growth_by``."""
    densities: dict[tuple[str, str], Density]
    curves: dict[str, pd.DataFrame]
    """By kind; see ``cohort_curves``. Kinds without a cohort that is not too thin are left out."""
    lifetimes: list[LifetimeTrend]
    comparisons: pd.DataFrame
    """The adjusted comparisons of growth that belong to the question, those with a ratio."""
    thin_growth: list[ThinGroup]
    thin_lifetimes: list[ThinGroup]

    @property
    def crossing(self) -> list[LifetimeTrend]:
        """The groups of which a part crossed its limit."""
        return [one for one in self.lifetimes if one.lifetimes.n_crossed]


def answer(trends: Trends, *, by: str, kind: str | None = None) -> TrendAnswer:
    """Return what the trends say.

    Raises
    ------
    InputError
        If the factor or the kind is not one of those that there are.
    """
    growth = growth_by(trends, by=by, kind=kind)
    lifetimes = lifetimes_by(trends, by=by, kind=kind)
    curves = {one: cohort_curves(trends, kind=one) for one in ([kind] if kind is not None else trends.kinds)}
    return TrendAnswer(
        trends=trends,
        by=by,
        kind=kind,
        growth=growth,
        densities=growth_densities(trends, growth, by=by, kind=kind),
        curves={one: frame for one, frame in curves.items() if len(frame)},
        lifetimes=lifetimes,
        comparisons=_comparisons(trends.effects, by, kind),
        thin_growth=(thin_groups(trends, by=by, kind=kind) if by != "kind" else []) + thin_groups(trends, kind=kind),
        thin_lifetimes=thin_lifetimes(lifetimes, by=by),
    )


def _comparisons(effects: pd.DataFrame, by: str, kind: str | None) -> pd.DataFrame:
    """Return the comparisons by the factor; by kind, those by every factor."""
    chosen = effects["ratio"].notna()
    if by != "kind":
        chosen &= effects["factor"] == by
    if kind is not None:
        chosen &= effects["kind"] == kind
    elif by == "kind":
        chosen &= effects["kind"] == ALL_KINDS
    return effects[chosen].reset_index(drop=True)
