"""The forecast of a fleet: draws by chunks of vehicles, and what they say of each joint and vehicle."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.forecast.draws import CROSSING_POINTS, Forecast, Procedure, SeriesDraws, forecast_draws
from fleetwear.forecast.limits import with_limits
from fleetwear.forecast.procedures import indicative_words, procedure_errors

if TYPE_CHECKING:
    from concurrent.futures import Future

    from numpy.typing import NDArray

    from fleetwear.forecast.horizon import Ahead, Outlook
    from fleetwear.forecast.settings import Settings
    from fleetwear.wear.shared import Sharing

_CHUNK = 200
"""Vehicles drawn at a time."""
_SIDE_BY_SIDE = 2
"""Chunks whose draws are made at once: numpy leaves the interpreter free while it draws and counts."""


@dataclass(frozen=True)
class VehiclesForecast:
    """Of some vehicles: one row a joint and load direction, and one row a vehicle, before anything is said of them."""

    joints: pd.DataFrame
    vehicles: pd.DataFrame
    wheels: pd.DataFrame | None = None
    """One row a judged wheel check, where there are any."""


def forecast_fleet(
    known: Known,
    sharing: Sharing,
    outlook: Outlook,
    settings: Settings,
    *,
    methods: pd.DataFrame,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> Iterator[VehiclesForecast]:
    """Yield the forecast of the vehicles, some hundred at a time.

    Parameters
    ----------
    known
        Gives what is known of vehicles by their vehicle_ids.
    sharing
        Correlations within joints and vehicles.
    outlook
        Distances ahead.
    settings
        Draws, horizon, costs.
    methods
        What the fit found of each method of measuring: ``fit/stored_offsets.sql``.
    on_progress
        Called with words, vehicles done and vehicles in all.
    """
    vehicles = outlook.vehicles
    parts = chunks(known, outlook, settings, methods=methods)
    for part, drawn in _drawn_side_by_side(parts, sharing, settings):
        summary = part.vehicles
        summary["p_any_over_next"], summary["joints_in_probability"] = drawn.any_over, drawn.joints_judged
        if on_progress is not None:
            on_progress("vehicles forecast", int(part.rows[-1]) + 1, len(vehicles))
        yield VehiclesForecast(_joint_summary(part.facts, drawn.series, part.modelled, summary, outlook), summary)


def _drawn_side_by_side(
    parts: Iterator[Chunk], sharing: Sharing, settings: Settings
) -> Iterator[tuple[Chunk, Forecast]]:
    """Yield the chunks in their order with their draws, made on two cores; each has its own random numbers."""
    with ThreadPoolExecutor(_SIDE_BY_SIDE) as pool:
        waiting: deque[tuple[Chunk, Future[Forecast]]] = deque()
        for part in parts:
            waiting.append((part, pool.submit(_draw, part, sharing, settings)))
            if len(waiting) > _SIDE_BY_SIDE:
                first, drawn = waiting.popleft()
                yield first, drawn.result()
        while waiting:
            first, drawn = waiting.popleft()
            yield first, drawn.result()


@dataclass(frozen=True)
class KnownSeries:
    """What is known of the current series of some vehicles, before a forecast."""

    facts: pd.DataFrame
    """One row a series: what ``forecast/facts.sql`` gives, with whose_line, doubt, effect, reliability,
    last_expected_mm and last_z of ``fit_series``."""
    lines: pd.DataFrame
    """Components of their posteriors, with ``series`` as in the facts; a series without any has no model."""
    limits: pd.DataFrame
    """Every limit that they can have, whenever it begins: ``forecast/limits.sql``."""


Known = Callable[[list[int]], KnownSeries]
"""Gives what is known of vehicles by their vehicle_ids."""


@dataclass(frozen=True)
class Chunk:
    """Some vehicles at a time: their series, and the draws of their distance ahead."""

    rows: NDArray[np.int64]
    """Positions of the vehicles in the outlook."""
    facts: pd.DataFrame
    lines: pd.DataFrame
    """Components of their posteriors."""
    modelled: NDArray[np.bool_]
    """Which rows of the facts have a model."""
    vehicles: pd.DataFrame
    """One row a vehicle: its next service and the distance ahead in words."""
    series: SeriesDraws | None
    """Those rows, for drawing; None where there are none."""
    ahead: Ahead
    rng: np.random.Generator
    """Stands after the draws of the distance ahead, so that whoever goes on draws what the forecast has drawn."""


def draws_ahead(outlook: Outlook, settings: Settings) -> Iterator[tuple[NDArray[np.int64], Ahead, np.random.Generator]]:
    """Yield positions of some vehicles at a time, draws of their distance ahead, and the random numbers after that."""
    for start in range(0, len(outlook.vehicles), _CHUNK):
        rows = np.arange(start, min(start + _CHUNK, len(outlook.vehicles)))
        rng = np.random.default_rng([settings.seed, start])
        yield rows, outlook.draw(rows, n_draws=settings.draws, rng=rng), rng


def chunks(known: Known, outlook: Outlook, settings: Settings, *, methods: pd.DataFrame) -> Iterator[Chunk]:
    """Yield the fleet in chunks of vehicles, each with its own random numbers; parameters as in `forecast_fleet`."""
    vehicles = outlook.vehicles
    for rows, ahead, rng in draws_ahead(outlook, settings):
        start = int(rows[0])
        found = known(vehicles["vehicle_id"].iloc[rows].tolist())
        own, own_lines = _in_order(found.facts, found.lines, vehicles, first=start)
        summary = _vehicle_summary(vehicles.iloc[rows], ahead, outlook)
        next_service = summary["next_service_date_50"].to_numpy()[own["vehicle_row"].to_numpy(dtype=np.int64) - start]
        own = with_limits(own, found.limits, next_service)
        own = own.join(procedure_errors(own, methods))
        modelled = own["series"].isin(own_lines["series"]).to_numpy()
        series = _series_draws(own[modelled], own_lines, first=start) if modelled.any() else None
        yield Chunk(rows, own, own_lines, modelled, summary, series, ahead, rng)


def _in_order(
    facts: pd.DataFrame, lines: pd.DataFrame, vehicles: pd.DataFrame, *, first: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return facts and lines in the order of the vehicles, whose rows from ``first`` on they are."""
    rows = vehicles.iloc[first : first + _CHUNK]
    row_of = pd.Series(np.arange(first, first + len(rows)), index=rows["vehicle_id"])
    facts = facts.assign(vehicle_row=facts["vehicle_id"].map(row_of)).sort_values(["vehicle_row", "series"])
    row_of_series = pd.Series(facts["vehicle_row"].to_numpy(), index=facts["series"])
    lines = lines.assign(vehicle_row=lines["series"].map(row_of_series))
    return facts, lines.sort_values(["vehicle_row", "series", "shape", "shift_km", "onset_km"], kind="stable")


def _draw(part: Chunk, sharing: Sharing, settings: Settings) -> Forecast:
    """Return the drawn summaries of the series that have a model."""
    if part.series is None:
        none = np.zeros(len(part.ahead.rate), dtype=np.int64)
        return Forecast(pd.DataFrame(), np.full(len(none), np.nan), none)
    horizon = settings.horizon_years * 365.25
    return forecast_draws(part.series, part.ahead, sharing, horizon_days=horizon, rng=part.rng)


def _series_draws(own: pd.DataFrame, lines: pd.DataFrame, *, first: int) -> SeriesDraws:
    """Return what is drawn for series that have a model; ``first`` is the position of the chunk's first vehicle."""
    place = pd.Series(np.arange(len(own)), index=own["series"])
    parts = lines.assign(series=lines["series"].map(place)).sort_values("series", kind="stable")
    joint = pd.factorize(pd.MultiIndex.from_frame(own[["vehicle_id", "position_id"]]))[0]
    return SeriesDraws(
        vehicle=own["vehicle_row"].to_numpy(dtype=np.int64) - first,
        joint=joint.astype(np.int64),
        start_km=own["life_start_km"].to_numpy(dtype=np.float64),
        limit_mm=own["limit_mm"].to_numpy(dtype=np.float64),
        effect=own["effect"].to_numpy(dtype=np.float64),
        reliability=own["reliability"].to_numpy(dtype=np.float64),
        lines=parts,
        procedure=Procedure(
            own["procedure_offset_mm"].to_numpy(dtype=np.float64),
            own["procedure_sd_mm"].to_numpy(dtype=np.float64),
            _pairs(own),
        ),
    )


def _pairs(own: pd.DataFrame) -> NDArray[np.int64]:
    """Return codes of the group and procedures of limit and reading together, shape (J,)."""
    names = ["model_group", "last_way", "limit_method", "limit_read_at", "limit_support", "last_support"]
    keys = own[names].astype(object).where(own[names].notna(), "").agg("|".join, axis=1)
    return pd.factorize(keys)[0].astype(np.int64)


def _vehicle_summary(vehicles: pd.DataFrame, ahead: Ahead, outlook: Outlook) -> pd.DataFrame:
    hidden = (vehicles["distance_source"] == "none") | vehicles["bare"]
    shown = np.where(hidden, np.nan, vehicles["shift_km"])
    frame = vehicles[["vehicle_id", "unit", "depot", "shift_km"]].reset_index(drop=True)
    low, mid, high = np.quantile(ahead.now_km, CROSSING_POINTS, axis=1)
    frame["odometer_now_lower"], frame["odometer_now"], frame["odometer_now_upper"] = (
        low - shown, mid - shown, high - shown,
    )  # fmt: skip
    frame["now_km"] = mid
    frame["km_per_day"] = np.median(ahead.rate, axis=1)
    km = np.quantile(ahead.service_km, CROSSING_POINTS, axis=1)
    days = np.quantile(ahead.service_days, CROSSING_POINTS, axis=1)
    for k, point in enumerate(CROSSING_POINTS):
        frame[f"next_service_date_{point * 100:02.0f}"] = _dates(outlook, days[k])
        frame[f"next_service_odometer_{point * 100:02.0f}"] = km[k] - shown
    frame["overdue"] = ahead.overdue & ~vehicles["assumed"].to_numpy(dtype=bool)
    frame["distance_note"] = vehicles["note"].to_numpy()
    return frame


def _dates(outlook: Outlook, days: NDArray[np.float64]) -> pd.Series:
    """Return dates that many days after the as-of date; nothing where the days are nan."""
    whole = pd.to_timedelta(pd.Series(np.ceil(days)), unit="D")
    return (pd.Timestamp(outlook.as_of) + whole).dt.date


def _joint_summary(
    chunk: pd.DataFrame,
    drawn: pd.DataFrame,
    modelled: NDArray[np.bool_],
    summary: pd.DataFrame,
    outlook: Outlook,
) -> pd.DataFrame:
    frame = chunk.reset_index(drop=True)
    values = drawn.set_index(np.flatnonzero(modelled)).reindex(range(len(frame)))
    if drawn.empty:
        values = pd.DataFrame(index=range(len(frame)), columns=_DRAWN, dtype=float)
    frame = pd.concat([frame, values], axis=1)
    vehicle = summary.set_index("vehicle_id").loc[frame["vehicle_id"]].reset_index(drop=True)
    frame["life_distance_km"] = np.maximum(vehicle["now_km"] - frame["life_start_km"], 0.0)
    frame["share_of_limit"] = frame["last_play_mm"] / frame["limit_mm"]
    frame["indicative"] = indicative_words(frame)
    hidden = frame["distance_source"] == "none"
    for point in CROSSING_POINTS:
        name = f"{point * 100:02.0f}"
        frame[f"crossing_odometer_{name}"] = np.where(
            hidden, np.nan, frame[f"crossing_km_{name}"] - vehicle["shift_km"]
        )
        frame[f"crossing_date_{name}"] = _dates(outlook, frame[f"crossing_days_{name}"].to_numpy(dtype=float))
    frame["next_service_date_50"] = vehicle["next_service_date_50"]
    frame["distance_note"] = vehicle["distance_note"]
    return frame


_DRAWN = [
    "growth_mm_per_km", "growth_lower", "growth_upper", "play_now_mm", "play_next_mm", "play_next_lower",
    "play_next_upper", "p_over_next", "p_reading_over_next",
    *(f"crossing_{what}_{point * 100:02.0f}" for what in ("km", "days") for point in CROSSING_POINTS),
]  # fmt: skip
