"""Growth of play by group, its spread among parts, and the mean curves of cohorts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.trends.record import check_trend_question
from fleetwear.wear.design import LEAST_CLUSTERS, LEAST_LIVES
from fleetwear.wear.spread import SUMS, group_sums, mixture_density, mixture_quantiles, spread_of

if TYPE_CHECKING:
    from fleetwear.trends.record import Trends
    from fleetwear.wear.sums import Floats

SHARES = np.array([0.05, 0.5, 0.95])
_MIDDLE_90 = 1.6448536269514722
"""The 95 % point of the standard normal distribution."""
_POINTS = 120
_MOST_MARKS = 150

GROWTH_COLUMNS = (
    "kind", "level", "n_lives", "n_vehicles", "far_km", "growth", "growth_lower", "growth_upper", "between", "within",
    "spread", "growth_05", "growth_50", "growth_95", "compared",
)  # fmt: skip


@dataclass(frozen=True)
class Density:
    """How the growth of a group's parts is spread, mm/km."""

    at: Floats
    density: Floats
    """Mean of the lives' posterior densities, highest 1."""
    means: Floats
    """The lives' own posterior means, an even sample of ``_MOST_MARKS`` at most."""


def telling_lives(trends: Trends, kind: str | None) -> pd.DataFrame:
    """Return the lives, of a kind if one is named, that were read at two visits or more and have a model."""
    lives = trends.lives
    told = (lives["n_visits"] >= 2) & lives["growth_mm_per_km"].notna()
    return lives[told & (lives["kind"] == kind)] if kind is not None else lives[told]


def growth_by(trends: Trends, *, by: str, kind: str | None = None) -> pd.DataFrame:
    """Return the growth of play of every group that is not too thin, one row a kind and level, the fastest first.

    Growth is the mean over the first ``far_km`` of a life, the same distance for all lives of a kind.

    Parameters
    ----------
    trends
        From `read_trends`.
    by
        One of ``FACTORS``; by "kind", a row a kind.
    kind
        Only this kind; all of them if not given.

    Returns
    -------
    DataFrame with the columns ``GROWTH_COLUMNS``: growth with its 95 % interval; between (standard deviation of the
    lives' posterior means), within (root mean square of their posterior standard deviations) and spread (both
    together); the 5, 50 and 95 % points of the growth of parts, all in mm/km; compared, the sentence of the adjusted
    comparison, "" without one.

    Raises
    ------
    InputError
        If the factor or the kind is not one of those that there are.
    """
    check_trend_question(trends, by=by, kind=kind)
    lives = telling_lives(trends, kind)
    if lives.empty:
        return pd.DataFrame(columns=list(GROWTH_COLUMNS))
    code, pairs = pd.factorize(pd.MultiIndex.from_arrays([lives["kind"], lives[by].astype(str)]), sort=True)
    code = code.astype(np.int64)
    mean, variance = (lives[name].to_numpy(dtype=np.float64) for name in ("growth_mm_per_km", "variance"))
    vehicle = lives["vehicle_id"].to_numpy(dtype=np.int64)
    found = spread_of(group_sums(mean, variance, code, vehicle, n_groups=len(pairs)))
    points = mixture_quantiles(mean, variance, code, SHARES, n_groups=len(pairs))
    frame = pd.DataFrame(
        {"kind": pairs.get_level_values(0).astype(str), "level": pairs.get_level_values(1).astype(str)}
    ).assign(
        n_lives=found.n,
        n_vehicles=found.n_clusters,
        far_km=pd.Series(lives["far_km"].to_numpy()).groupby(code).first().to_numpy(),
        growth=found.mean,
        growth_lower=found.lower,
        growth_upper=found.upper,
        between=found.between,
        within=found.within,
        spread=found.spread,
        growth_05=points[:, 0],
        growth_50=points[:, 1],
        growth_95=points[:, 2],
    )
    frame = frame[(frame["n_lives"] >= LEAST_LIVES) & (frame["n_vehicles"] >= LEAST_CLUSTERS)]
    frame = _with_comparisons(frame, trends.effects, by)
    within_kind = frame.sort_values("growth", ascending=False)
    ordered = within_kind if by == "kind" else within_kind.sort_values("kind", kind="stable")
    return ordered.reset_index(drop=True)[list(GROWTH_COLUMNS)]


def growth_densities(
    trends: Trends, growth: pd.DataFrame, *, by: str, kind: str | None = None
) -> dict[tuple[str, str], Density]:
    """Return how growth is spread in each row of `growth_by`, by its kind and level."""
    lives = telling_lives(trends, kind)
    found: dict[tuple[str, str], Density] = {}
    of = {(str(key[0]), str(key[1])): frame for key, frame in lives.groupby([lives["kind"], lives[by].astype(str)])}
    for row_kind, level in zip(growth["kind"], growth["level"], strict=True):
        own = of[row_kind, level]
        mean = own["growth_mm_per_km"].to_numpy(dtype=np.float64)
        variance = own["variance"].to_numpy(dtype=np.float64)
        low, high = mixture_quantiles(
            mean, variance, np.zeros(len(mean), dtype=np.int64), np.array([0.005, 0.99]), n_groups=1
        )[0]
        at = np.linspace(low, high, _POINTS)
        density = mixture_density(mean, variance, at)
        marks = np.linspace(0, len(mean) - 1, min(len(mean), _MOST_MARKS)).astype(np.int64)
        found[row_kind, level] = Density(at, density / density.max(), np.sort(mean)[marks])
    return found


def cohort_curves(trends: Trends, *, kind: str) -> pd.DataFrame:
    """Return the mean play of a kind's cohorts over distance, those that are not too thin, in the order of cohorts.

    Returns
    -------
    DataFrame of 25 rows a cohort: cohort, direction, model, duty, n_lives, n_vehicles, distance_km, play_mm with the
    95 % interval of the mean (mean_lower, mean_upper) and the middle 90 % of parts (parts_lower, parts_upper), mm.
    """
    rows = trends.curves[trends.curves["kind"] == kind]
    found = spread_of({name: rows[name].to_numpy(dtype=np.float64) for name in SUMS})
    far = _MIDDLE_90 * found.spread
    frame = rows[["cohort", "direction", "model", "duty", "distance_km"]].assign(
        n_lives=found.n,
        n_vehicles=found.n_clusters,
        play_mm=found.mean,
        mean_lower=found.lower,
        mean_upper=found.upper,
        parts_lower=found.mean - far,
        parts_upper=found.mean + far,
    )
    enough = (frame["n_lives"] >= LEAST_LIVES) & (frame["n_vehicles"] >= LEAST_CLUSTERS)
    return frame[enough].reset_index(drop=True)


def _with_comparisons(frame: pd.DataFrame, effects: pd.DataFrame, by: str) -> pd.DataFrame:
    own = effects[(effects["factor"] == by) & effects["ratio"].notna()]
    said = dict(zip(zip(own["kind"], own["level"], strict=True), own["says"].astype(str), strict=True))
    pairs = zip(frame["kind"], frame["level"], strict=True)
    return frame.assign(compared=[said.get(pair, "") for pair in pairs])
