"""Forecasts of a partition: what is known of each series, and the probability of being over its limit when next in.

With each of the K equally likely distances at the next service the line of a series is normal, so that the probability
is a mean of K normal tails: no draws, and the same wherever the series lies.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import StoreError
from fleetwear.forecast.curves import LINE, components_at
from fleetwear.forecast.posterior_lines import LINE_COLUMNS, View, components_of, whole_lines
from fleetwear.wear import EnsembleResults
from fleetwear.wear.sums import reading_arrays

if TYPE_CHECKING:
    import duckdb

    from fleetwear.partitions.fitting import PartedFit
    from fleetwear.partitions.place import Place
    from fleetwear.partitions.sums import Partition
    from fleetwear.wear import WearResults
    from fleetwear.wear.parts import Parted
    from fleetwear.wear.sums import Floats

_GROWTH_KM = 1_000.0
"""Distance over which growth at the next service is taken."""
_BLOCK = 5_000
"""Lines looked at together; it bounds the memory, and changes nothing else."""

FACTS = [
    "series", "vehicle_id", "unit", "joint", "direction", "kind", "cohort", "origin", "n_visits", "last_date",
    "last_result", "last_play_mm", "limit_mm", "limit_source", "indicative", "next_service_date",
]  # fmt: skip
"""What the forecast passes on as it stands in the partition."""


def forecast_partitions(partitions: Parted, fitted: PartedFit, place: Place) -> pd.DataFrame:
    """Forecast the current series of every partition, write that beside them, and return a row a partition.

    Columns partition, series, with_model, with_limit, likely_over (probability of one half or more), file.

    Raises
    ------
    StoreError
        If a partition is missing, cannot be read, or its forecast cannot be written.
    """
    told = pd.DataFrame(partitions.ask(forecast_partition, fitted.fits, fitted.unfitted))
    with place.connection() as con:
        for name, frame in (("models", fitted.models), ("cohorts", fitted.lines)):
            place.write(con.from_df(frame), place.file(f"forecasts/{name}.parquet"))
    place.clear_unfinished()
    return told


def forecast_partition(
    partition: Partition, fits: dict[str, WearResults], unfitted: dict[str, str]
) -> dict[str, object]:
    """Forecast one partition's current series, write the file whole, and return what to say of it."""
    place = partition.place
    with place.connection() as con:
        series = place.rows(con, "series", partition.series).df()
        lines = [_known(con, partition, series, kind, fit) for kind, fit in fits.items()]
        frame = _forecast(series, whole_lines([part for part in lines if len(part)]))
        doubts = {kind: fit.doubt for kind, fit in fits.items()} | unfitted
        frame["whose_line"] = [
            fits[kind].population.mean_line(cohort)[1] if kind in fits else ""
            for kind, cohort in zip(series["kind"], series["cohort"], strict=True)
        ]
        frame["doubt"] = series["kind"].map(doubts).fillna("no reading of this kind was fitted")
        place.write(con.from_df(frame), partition.forecast)
    return {
        "partition": partition.number,
        "series": len(frame),
        "with_model": int(frame["play_next_mm"].notna().sum()),
        "with_limit": int(frame["limit_mm"].notna().sum()),
        "likely_over": int((frame["p_over_next"] >= 0.5).sum()),
        "file": partition.forecast,
    }


def _known(
    con: duckdb.DuckDBPyConnection, partition: Partition, series: pd.DataFrame, kind: str, fit: WearResults
) -> pd.DataFrame:
    """Return the posterior lines of a kind's series, ``series`` being their place in the frame."""
    rows = np.flatnonzero((series["kind"] == kind).to_numpy())
    if not len(rows):
        return pd.DataFrame(columns=LINE_COLUMNS)
    own = series.iloc[rows]
    asked = pd.DataFrame({"series": own["series"].to_numpy(), "place": np.arange(len(rows))})
    con.register("partition_series_asked", asked)
    columns = partition.place.rows(con, "readings_of_kind", partition.readings, kind=kind).fetchnumpy()
    con.unregister("partition_series_asked")
    readings = reading_arrays(
        np.asarray(columns["place"], dtype=np.int64), columns["distance_km"], columns["play_mm"], n_lives=len(rows),
        variance_ratio=columns["variance_ratio"],
    )  # fmt: skip
    codes, cohorts = pd.factorize(own["cohort"])
    view = View([str(cohort) for cohort in cohorts], codes.astype(np.int64), readings)
    lines, _, _ = components_of(EnsembleResults.of_one(fit).learnt, view, own)
    return lines.assign(series=rows[lines["series"]])


def _forecast(series: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Return the facts of every series with its growth, play and probability at the next service."""
    n = len(series)
    frame = series[FACTS].copy()
    at = lines["series"].to_numpy(dtype=np.int64)
    limit = series["limit_mm"].to_numpy(dtype=np.float64)
    found = np.zeros((4, n))
    if len(lines):
        ahead = _nodes(series) - series["life_start_km"].to_numpy(dtype=np.float64)[:, None]
        bound = np.nan_to_num(limit, nan=np.inf)
        for first in range(0, len(lines), _BLOCK):
            some = at[first : first + _BLOCK]
            block = _of_lines(lines.iloc[first : first + _BLOCK], ahead[some], bound[some])
            for mean, of_block in zip(found, block, strict=True):
                np.add.at(mean, some, of_block)
    growth, play, square, over = found
    modelled = np.bincount(at, minlength=n) > 0
    frame["growth_mm_per_km"] = np.where(modelled, growth, np.nan)
    frame["play_next_mm"] = np.where(modelled, play, np.nan)
    frame["play_next_sd_mm"] = np.where(modelled, np.sqrt(np.maximum(square - play**2, 0.0)), np.nan)
    frame["p_over_next"] = np.where(modelled & np.isfinite(limit), over, np.nan)
    return frame


def _of_lines(lines: pd.DataFrame, ahead: Floats, limit: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return growth, play, its square and the probability of being over, each a line's share of its series, shape (L,).

    ``ahead`` holds the K distances since the life began, shape (L, K), and ``limit`` is inf where there is none.
    """
    run = np.maximum(ahead, 0.0)
    part = {name: lines[name].to_numpy(dtype=np.float64)[:, None] for name in LINE}
    play, later = components_at(part, run), components_at(part, run + _GROWTH_KM)
    weight = part["weight"][:, 0]
    return (
        weight * (play.weight * (later.mean - play.mean)).sum(axis=1) / _GROWTH_KM,
        weight * (play.weight * play.mean).sum(axis=1),
        weight * (play.weight * (play.variance + play.mean**2)).sum(axis=1),
        weight * play.exceeds(limit),
    )


def _nodes(series: pd.DataFrame) -> Floats:
    """Return the running distances at the next service, shape (J, K).

    Raises
    ------
    StoreError
        If series have different numbers of them.
    """
    counts = series["service_km"].map(len).unique()
    if len(counts) != 1 or not counts[0]:
        raise StoreError(
            f"series have {sorted(int(count) for count in counts)} distances at the next service",
            where="series",
            mend="Give every series the same number of them, one or more.",
        )
    return np.array(series["service_km"].tolist(), dtype=np.float64)
