"""The forecast of a fleet: draws by chunks of vehicles, and what they say of each joint and vehicle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.forecast.draws import CROSSING_POINTS, Forecast, Procedure, SeriesDraws, forecast_draws
from fleetwear.forecast.limits import with_limits
from fleetwear.forecast.procedures import indicative_words, procedure_errors

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fleetwear.forecast.horizon import Ahead, Outlook
    from fleetwear.forecast.settings import Settings
    from fleetwear.wear.shared import Sharing

_CHUNK = 200
"""Vehicles drawn at a time."""


@dataclass(frozen=True)
class FleetForecast:
    """One row a joint and load direction, and one row a vehicle, before anything is said of them."""

    joints: pd.DataFrame
    vehicles: pd.DataFrame
    wheels: pd.DataFrame | None = None
    """One row a judged wheel check, where there are any."""


def forecast_fleet(
    facts: pd.DataFrame,
    lines: pd.DataFrame,
    sharing: Sharing,
    outlook: Outlook,
    settings: Settings,
    *,
    limits: pd.DataFrame,
    methods: pd.DataFrame,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> FleetForecast:
    """Return the forecast of every vehicle.

    Parameters
    ----------
    facts
        What ``forecast/facts.sql`` gives, with the columns of ``fit_series``: whose_line, doubt, effect,
        reliability, last_expected_mm, last_z. One row a current series.
    lines
        Components of the posteriors, with ``series`` as in the facts; a series without any has no model.
    sharing
        Correlations within joints and vehicles.
    outlook
        Distances ahead.
    settings
        Draws, horizon, costs.
    limits
        Every limit of every series, whenever it begins: ``forecast/limits.sql``.
    methods
        What the fit found of each method of measuring: ``fit/stored_offsets.sql``.
    on_progress
        Called with words, vehicles done and vehicles in all.
    """
    vehicles = outlook.vehicles
    row_of = pd.Series(np.arange(len(vehicles)), index=vehicles["vehicle_id"])
    facts = facts.assign(vehicle_row=facts["vehicle_id"].map(row_of)).sort_values(["vehicle_row", "series"])
    row_of_series = pd.Series(facts["vehicle_row"].to_numpy(), index=facts["series"])
    lines = lines.assign(vehicle_row=lines["series"].map(row_of_series))
    lines = lines.sort_values(["vehicle_row", "series", "shape", "shift_km", "onset_km"], kind="stable")
    joints, whole = [], []
    for start in range(0, len(vehicles), _CHUNK):
        rows = np.arange(start, min(start + _CHUNK, len(vehicles)))
        rng = np.random.default_rng([settings.seed, start])
        ahead = outlook.draw(rows, n_draws=settings.draws, rng=rng)
        chunk, own_lines = (_rows_of(frame, first=start, last=int(rows[-1])) for frame in (facts, lines))
        summary = _vehicle_summary(vehicles.iloc[rows], ahead, outlook)
        next_service = summary["next_service_date_50"].to_numpy()[chunk["vehicle_row"].to_numpy(dtype=np.int64) - start]
        chunk = with_limits(chunk, limits, next_service)
        chunk = chunk.join(procedure_errors(chunk, methods))
        drawn, modelled = _draw(chunk, own_lines, ahead, sharing, settings, first=start, rng=rng)
        summary["p_any_over_next"], summary["joints_in_probability"] = drawn.any_over, drawn.joints_judged
        joints.append(_joint_summary(chunk, drawn.series, modelled, summary, outlook))
        whole.append(summary)
        if on_progress is not None:
            on_progress("vehicles forecast", int(rows[-1]) + 1, len(vehicles))
    return FleetForecast(pd.concat(joints, ignore_index=True), pd.concat(whole, ignore_index=True))


def _rows_of(frame: pd.DataFrame, *, first: int, last: int) -> pd.DataFrame:
    """Return the rows of the vehicles first to last, from a frame sorted by vehicle_row."""
    begin, end = frame["vehicle_row"].searchsorted([first, last + 1])
    return frame.iloc[begin:end]


def _draw(
    chunk: pd.DataFrame,
    lines: pd.DataFrame,
    ahead: Ahead,
    sharing: Sharing,
    settings: Settings,
    *,
    first: int,
    rng: np.random.Generator,
) -> tuple[Forecast, NDArray[np.bool_]]:
    """Return the drawn summaries of the series that have a model, and which those are."""
    modelled = chunk["series"].isin(lines["series"]).to_numpy()
    own = chunk[modelled]
    if own.empty:
        none = np.zeros(len(ahead.rate), dtype=np.int64)
        return Forecast(pd.DataFrame(), np.full(len(none), np.nan), none), modelled
    place = pd.Series(np.arange(len(own)), index=own["series"])
    parts = lines.assign(series=lines["series"].map(place)).sort_values("series", kind="stable")
    joint = pd.factorize(pd.MultiIndex.from_frame(own[["vehicle_id", "position_id"]]))[0]
    of = SeriesDraws(
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
    horizon = settings.horizon_years * 365.25
    return forecast_draws(of, ahead, sharing, horizon_days=horizon, rng=rng), modelled


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
