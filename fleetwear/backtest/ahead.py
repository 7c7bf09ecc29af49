"""Looking ahead: the predictive distributions of many series at once, each at a distance of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

import numpy as np
import pandas as pd

from fleetwear.backtest.scoring import crps_mixture
from fleetwear.forecast.curves import LINE, components_at
from fleetwear.wear.methods import ASSUMED_OFFSET

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from fleetwear.forecast.growth import FleetFit
    from fleetwear.wear.prediction import Components

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

QUANTILES = (0.025, 0.1, 0.5, 0.9, 0.975)
"""Of the reading: the ends of its 95 and 80 % prediction intervals, and its median."""

_BLOCK = 200
"""Series handled at a time, those with equally many components together."""


@dataclass(frozen=True)
class ReadingForecast:
    """What is forecast of the reading of m series; arrays of shape (m,), nan for a series without a model."""

    p_over: Floats
    mean: Floats
    sd: Floats
    quantiles: Floats
    """At ``QUANTILES``, shape (m, 5), mm."""
    crps: Floats
    """Against what was observed, mm; nan where nothing was."""


def as_read(fit: FleetFit, series: Integers, way: Sequence[str | None]) -> pd.DataFrame:
    """Return the posterior components of series with what the way of reading does to a reading of each.

    Parameters
    ----------
    fit
        The fits of the fleet.
    series
        Numbers of the series, each once, shape (m,).
    way
        The way in which the reading of each is taken, as ``fit/readings`` words it; None: the fit's reference, which
        adds nothing.

    Returns
    -------
    DataFrame with the columns of ``Knowledge.lines``, offset_mm and noise_ratio (error variance over that of the
    reference). A way that the fit has not seen counts as the reference with the spread that is assumed of methods.
    """
    ways = pd.DataFrame({"series": series, "way": way, "model_group": fit.knowledge.group[series]})
    lines = fit.knowledge.lines.merge(ways, on="series")
    lines["offset_mm"], lines["noise_ratio"] = 0.0, 1.0
    for key, rows in lines.groupby(["model_group", "shape", "way"]).groups.items():
        group, shape, one = cast("tuple[str, str, str]", key)
        errors = fit.groups[group].fits[shape].population.errors
        if errors is None:
            continue
        methods = errors.methods
        seen = one in methods.names
        at = methods.names.index(one) if seen else methods.reference
        lines.loc[rows, "offset_mm"] = float(methods.offset[at])
        lines.loc[rows, "noise_ratio"] = float(methods.ratio[at]) if seen else 1.0 + ASSUMED_OFFSET**2
    return lines


def readings_at(lines: pd.DataFrame, series: Integers, distance_km: Floats) -> Components:
    """Return the components of a reading of m series that have a model, each at a distance since its life began.

    Parameters
    ----------
    lines
        Posterior components as :func:`as_read` gives them, sorted by ``series``.
    series
        Numbers of the series wanted, each in ``lines``, shape (m,).
    distance_km
        Distance since each one's life began, km, shape (m,).

    Returns
    -------
    Components of shape (m, k), k the most that any of them has; those with fewer repeat their first one with no
    weight. Their mean is that of the reading, not of the play, where its method adds an offset.
    """
    number = lines["series"].to_numpy(dtype=np.int64)
    first = np.searchsorted(number, series, side="left")
    count = np.searchsorted(number, series, side="right") - first
    place = np.arange(int(count.max(initial=1)))
    real = place < count[:, None]
    at = first[:, None] + np.where(real, place, 0)

    def column(name: str) -> Floats:
        return lines[name].to_numpy(dtype=np.float64)[at]

    part = {name: column(name) for name in LINE}
    part["weight"] = np.where(real, part["weight"], 0.0)
    play = components_at(part, distance_km[:, None])
    return replace(play, mean=play.mean + column("offset_mm"), noise=play.noise * column("noise_ratio"))


def forecast_readings(
    lines: pd.DataFrame, series: Integers, distance_km: Floats, limit_mm: Floats, observed_mm: Floats
) -> ReadingForecast:
    """Return what is forecast of a reading of each series at a distance, and its CRPS against what was read.

    Parameters
    ----------
    lines
        Posterior components as :func:`as_read` gives them, in any order.
    series, distance_km, limit_mm, observed_mm
        Shape (m,); ``observed_mm`` may be nan.
    """
    lines = lines.sort_values("series", kind="stable")
    m = len(series)
    p, mean, sd, crps = (np.full(m, np.nan) for _ in range(4))
    quantiles = np.full((m, len(QUANTILES)), np.nan)
    for rows in _blocks(lines, series):
        parts = readings_at(lines, series[rows], distance_km[rows])
        spread = np.sqrt(parts.variance + parts.noise)
        p[rows] = parts.exceeds(limit_mm[rows], reading=True)
        mean[rows], sd_play = parts.moments()
        sd[rows] = np.sqrt(sd_play**2 + (parts.weight * parts.noise).sum(axis=1))
        crps[rows] = crps_mixture(parts.mean, spread, parts.weight, observed_mm[rows])
        for column, probability in enumerate(QUANTILES):
            quantiles[rows, column] = parts.quantile(probability, reading=True)
    return ReadingForecast(p, mean, sd, quantiles, crps)


def _blocks(lines: pd.DataFrame, series: Integers) -> Iterator[Integers]:
    """Yield rows of series that have a model, those with about as many components together."""
    number = lines["series"].to_numpy(dtype=np.int64)
    count = np.searchsorted(number, series, side="right") - np.searchsorted(number, series, side="left")
    order = np.argsort(count, kind="stable")
    order = order[count[order] > 0]
    for start in range(0, len(order), _BLOCK):
        yield order[start : start + _BLOCK]
