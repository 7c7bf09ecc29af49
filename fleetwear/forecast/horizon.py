"""When each vehicle is next in, and how far it will have run: usage drawn from the store's odometer values."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import FitError, InputError
from fleetwear.store import sql
from fleetwear.store.known import ASSUMED_KM_PER_DAY
from fleetwear.usage import NextService, UsageFit, draw_next_service, fit_usage, lateness_fractions
from fleetwear.usage.lateness import FEW_FRACTIONS

if TYPE_CHECKING:
    from datetime import date

    import duckdb
    from numpy.typing import NDArray

    from fleetwear.forecast.settings import Settings
    from fleetwear.wear.sums import Floats

_DAYS_PER_MONTH = 365.25 / 12.0
_ASSUMED_RATE_SD = 0.5
"""Spread of daily rates over their mean, where none can be estimated."""
_ASSUMED_MONTH_SD = 0.3
"""Spread of a month's distance over its mean, likewise."""
_NO_SPREAD = 1e-9
"""Process variance of distance that is counted in days, km^2/day."""


@dataclass(frozen=True)
class Outlook:
    """The vehicles in order of vehicle_id, with what is needed to draw their distance ahead."""

    vehicles: pd.DataFrame
    """vehicle_id, unit, depot, distance_source, shift_km, service_day, service_km, interval_km, interval_days,
    assumed: whether the service is; bare: whether no odometer value is on record; note: what was assumed."""
    usage: UsageFit
    as_of: date
    as_of_day: float
    lateness: Floats

    def of(self, vehicle_ids: pd.Series[int]) -> Outlook:
        """Return the outlook of some of the vehicles."""
        rows = np.flatnonzero(self.vehicles["vehicle_id"].isin(vehicle_ids))
        return replace(self, vehicles=self.vehicles.iloc[rows].reset_index(drop=True), usage=self.usage.take(rows))

    def draw(self, rows: NDArray[np.int64], *, n_draws: int, rng: np.random.Generator) -> Ahead:
        """Return draws for the vehicles at these positions, shape (V, n_draws)."""
        counted = (self.vehicles["distance_source"].to_numpy() == "none")[rows]
        parts: list[tuple[NDArray[np.int64], NextService, float]] = []
        for which, fit in ((~counted, self.usage), (counted, replace(self.usage, phi2=_NO_SPREAD))):
            at = np.flatnonzero(which)
            if not len(at):
                continue
            chosen = self.vehicles.iloc[rows[at]]
            drawn = draw_next_service(
                fit.take(rows[at]),
                as_of_day=self.as_of_day,
                service_day=chosen["service_day"],
                service_km=chosen["service_km"],
                interval_km=chosen["interval_km"],
                interval_days=chosen["interval_days"],
                lateness=self.lateness,
                n_draws=n_draws,
                rng=rng,
            )
            parts.append((at, drawn, fit.phi2))
        return Ahead.joined(len(rows), n_draws, parts)


@dataclass(frozen=True)
class Ahead:
    """Draws of the distance ahead, shape (V, K)."""

    rate: Floats
    now_km: Floats
    service_km: Floats
    service_days: Floats
    overdue: NDArray[np.bool_]
    """(V,)"""
    phi2: Floats
    """(V,) process variance, km^2/day."""
    by_distance: NDArray[np.bool_]
    """(V, K) whether the distance rather than the date makes the service due."""

    @classmethod
    def joined(cls, n_vehicles: int, n_draws: int, parts: list[tuple[NDArray[np.int64], NextService, float]]) -> Ahead:
        """Return the parts, each for some positions, as one."""
        shape = (n_vehicles, n_draws)
        ahead = cls(
            np.empty(shape), np.empty(shape), np.empty(shape), np.empty(shape),
            np.zeros(n_vehicles, dtype=bool), np.empty(n_vehicles), np.zeros(shape, dtype=bool),
        )  # fmt: skip
        for at, drawn, phi2 in parts:
            ahead.rate[at], ahead.now_km[at] = drawn.rate, drawn.as_of_km
            ahead.service_km[at], ahead.service_days[at] = drawn.service_km, drawn.days
            ahead.overdue[at], ahead.phi2[at] = drawn.overdue, phi2
            ahead.by_distance[at] = drawn.by_distance
        return ahead


def look_ahead(con: duckdb.DuckDBPyConnection, *, as_of: date, settings: Settings) -> Outlook:
    """Return the outlook of every vehicle, from the tables that ``store.known.prepare`` made on ``con``."""
    vehicles = con.execute(sql("forecast/vehicles")).df()
    entries = con.execute("select distinct vehicle_id, entry_date, running_km from known_entries order by all").df()
    services = con.execute(
        "select vehicle_id, done_date, running_km, interval_km, interval_months from known_services order by all"
    ).df()
    as_of_day = float(_days(pd.Series([as_of]))[0])
    lateness = lateness_fractions(
        services["vehicle_id"],
        _days(services["done_date"]),
        services["running_km"],
        services["interval_km"],
        services["interval_months"] * _DAYS_PER_MONTH,
    )
    usage = _usage(vehicles, entries, as_of_day)
    seen = _with_intervals(vehicles, as_of_day, settings)
    metered = seen["distance_source"] != "none"
    bare = metered & ~seen["vehicle_id"].isin(entries["vehicle_id"])
    said = np.where(bare, "; no odometer value on record, the fleet's rate assumed", "")
    if usage.doubt:
        said = said + np.where(metered, f"; {usage.doubt}", "")
    if len(lateness) < FEW_FRACTIONS:
        said = said + "; too few services on record to learn how late they come"
    return Outlook(
        seen.assign(note=(seen["note"] + said).str.removeprefix("; "), bare=bare), usage, as_of, as_of_day, lateness
    )


def _days(dates: pd.Series) -> Floats:
    return pd.to_datetime(dates).to_numpy().astype("datetime64[D]").astype(np.int64).astype(np.float64)


def _with_intervals(vehicles: pd.DataFrame, as_of_day: float, settings: Settings) -> pd.DataFrame:
    """Return the vehicles with last service and interval in days, what is missing assumed and noted."""
    counted = (vehicles["distance_source"] == "none").to_numpy()
    served = vehicles["service_date"].notna().to_numpy()
    start = np.where(vehicles["last_visit"].notna(), vehicles["last_visit"], vehicles["start_date"])
    day = np.where(served, vehicles["service_date"], start)
    frame = vehicles[["vehicle_id", "unit", "depot", "distance_source", "shift_km"]].copy()
    frame["service_day"] = np.minimum(_days(pd.Series(pd.to_datetime(day))), as_of_day)
    frame["service_km"] = np.where(served & ~counted, vehicles["service_km"], np.nan)
    bare = vehicles["interval_km"].isna() & vehicles["interval_months"].isna()
    no_months = counted & vehicles["interval_months"].isna().to_numpy()
    frame["interval_km"] = np.where(
        counted, np.nan, np.where(bare, settings.default_interval_km, vehicles["interval_km"])
    )
    months = np.where(bare | no_months, settings.default_interval_months, vehicles["interval_months"])
    frame["interval_days"] = months * _DAYS_PER_MONTH
    frame["assumed"] = (~served) | bare | no_months
    frame["note"] = np.where(counted, "distance estimated from dates: no odometer", "")
    missing = np.where(served, "; no service interval in months on record, assumed", "; no service on record, assumed")
    frame["note"] = (frame["note"] + np.where(frame["assumed"], missing, "")).str.removeprefix("; ")
    return frame


def _assumed_usage(entries: pd.DataFrame) -> UsageFit:
    """Return the assumed rate, with a wide spread, for a fleet whose records tell none."""
    last = entries.sort_values(["entry_date", "running_km"]).groupby("vehicle_id").tail(1).sort_values("vehicle_id")
    n, rate = len(last), ASSUMED_KM_PER_DAY
    nothing = np.zeros(n, dtype=np.int64)
    return UsageFit(
        vehicles=last["vehicle_id"].to_numpy(dtype=np.int64),
        rate_mean=np.full(n, rate),
        rate_sd=np.full(n, _ASSUMED_RATE_SD * rate),
        last_day=_days(last["entry_date"]),
        last_km=last["running_km"].to_numpy(dtype=np.float64),
        n_increments=nothing,
        observed_days=np.zeros(n),
        group_codes=nothing,
        groups=np.array(["all"]),
        group_mean=np.array([rate]),
        group_sd=np.array([_ASSUMED_RATE_SD * rate]),
        mu=rate,
        mu_se=_ASSUMED_RATE_SD * rate,
        phi2=(_ASSUMED_MONTH_SD * rate) ** 2 * _DAYS_PER_MONTH,
        omega2=(_ASSUMED_RATE_SD * rate) ** 2,
        tau2=0.0,
        n=0,
        criterion="reml",
        loglik=float("nan"),
        converged=True,
        doubt=f"daily distance assumed to be {rate:.0f} km: no vehicle has two odometer values apart",
        note="",
    )


def _usage(vehicles: pd.DataFrame, entries: pd.DataFrame, as_of_day: float) -> UsageFit:
    """Return daily rates of all vehicles, in order; a vehicle without an odometer has the assumed rate, exactly.

    A vehicle without any entry stands at its start.
    """
    counted = (vehicles["distance_source"] == "none").to_numpy()
    with_meter = vehicles.loc[~counted]
    missing = with_meter[~with_meter["vehicle_id"].isin(entries["vehicle_id"])]
    extra = pd.DataFrame(
        {
            "vehicle_id": missing["vehicle_id"],
            "entry_date": missing["start_date"],
            "running_km": missing["start_km"],
        }
    )
    known = entries[entries["vehicle_id"].isin(with_meter["vehicle_id"])]
    used = pd.concat([known, extra], ignore_index=True) if len(extra) else known
    duty = vehicles.set_index("vehicle_id")["duty"]
    try:
        fit = fit_usage(
            used["vehicle_id"].to_numpy(dtype=np.int64),
            _days(used["entry_date"]),
            used["running_km"].to_numpy(dtype=np.float64),
            group=used["vehicle_id"].map(duty).to_numpy(dtype=str),
        )
    except (FitError, InputError):
        fit = _assumed_usage(used if len(used) else vehicles.assign(entry_date=vehicles["start_date"], running_km=0.0))
    place = pd.Index(fit.vehicles).get_indexer(pd.Index(vehicles["vehicle_id"]))
    whole = fit.take(np.maximum(place, 0))
    start_day = _days(vehicles["start_date"])
    ran = np.maximum(as_of_day - start_day, 0.0) * ASSUMED_KM_PER_DAY
    return replace(
        whole,
        vehicles=vehicles["vehicle_id"].to_numpy(dtype=np.int64),
        rate_mean=np.where(counted, ASSUMED_KM_PER_DAY, whole.rate_mean),
        rate_sd=np.where(counted, 0.0, whole.rate_sd),
        last_day=np.where(counted, as_of_day, whole.last_day),
        last_km=np.where(counted, ran, whole.last_km),
    )
