"""The joint draws of a whole fleet, kept, so that a service can be moved without drawing or fitting again."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, fields, replace
from functools import partial
from typing import TYPE_CHECKING, cast

import numpy as np
import pandas as pd

from fleetwear.errors import DoubtfulFitWarning, InputError
from fleetwear.forecast.draws import DrawnLines, draw_lines
from fleetwear.forecast.forecasting import Chunk, chunks, draws_ahead
from fleetwear.forecast.growth import prepare_series
from fleetwear.forecast.horizon import Ahead, look_ahead
from fleetwear.forecast.records import facts_of, numbered_fit, prepare_facts
from fleetwear.store import sql
from fleetwear.store.known import prepare
from fleetwear.usage import moved_service

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

    import duckdb
    from numpy.typing import NDArray

    from fleetwear.forecast.horizon import Outlook
    from fleetwear.forecast.settings import Settings
    from fleetwear.wear.shared import Sharing
    from fleetwear.wear.sums import Floats, Integers

_MOST_ENTRIES = 12_000_000
"""Series times draws that are kept at most, about 0.5 GB; a larger fleet keeps fewer draws."""
PROCEDURE = ("procedure_offset_mm", "procedure_sd_mm")
"""What the limit's own procedure adds to the play as the fit knows it, and how surely (`forecast.procedures`)."""
_KEYS = ["series", "vehicle_id", "position_id", "direction", "life_no", "limit_mm", *PROCEDURE]
MOST_SHIFT_DAYS = 365.0
STRETCHES = (0.25, 4.0)
"""Least and most factor on intervals."""


@dataclass(frozen=True)
class Service:
    """When each vehicle is next in, and how far it will have run, draw by draw; (V, K)."""

    days: Floats
    km: Floats
    """Running distance."""
    following_km: Floats
    """Running distance at the service after it, at the whole interval."""
    overdue: NDArray[np.bool_]
    """(V,) whether it is, by a service and an interval on record."""


@dataclass(frozen=True)
class FleetDraws:
    """Joint draws of V vehicles and of their J series that have a limit and a model."""

    outlook: Outlook
    settings: Settings
    series: pd.DataFrame
    """One row a series: series, vehicle_id, position_id, direction, life_no, vehicle (row of the outlook), limit_mm and
    the columns ``PROCEDURE``."""
    ahead: Ahead
    now: Floats
    """Distance run since the life began, now, (J, K), km."""
    limit_mm: NDArray[np.float32]
    """The limit as the fit's play is compared with it: its procedure may show another play, (J, K)."""
    start_km: Floats
    """Running distance at which the life began, (J,)."""
    lines: DrawnLines
    strayed_now: NDArray[np.float32] | None
    """How far the path has strayed from its line now, (J, K); None where none wanders."""
    strayed_then: NDArray[np.float32] | None
    """Standard normals of how far it strays from now to the service."""
    posterior: pd.DataFrame
    """Components of the posteriors, sorted by ``series`` (0 .. J - 1)."""

    @property
    def vehicle(self) -> Integers:
        """The row of the outlook of each series, (J,)."""
        return self.series["vehicle"].to_numpy(dtype=np.int64)

    def service(self, *, shift_days: float = 0.0, stretch: float = 1.0) -> Service:
        """Return the next service, every one moved by some days and every interval made longer by a factor.

        Raises
        ------
        InputError
            If the shift or the factor is out of range.
        """
        if not abs(shift_days) <= MOST_SHIFT_DAYS:
            raise InputError(f"a shift of {shift_days:g} days", mend="Give days between -365 and 365, such as -14.")
        if not STRETCHES[0] <= stretch <= STRETCHES[1]:
            raise InputError(f"a stretch of {stretch:g}", mend="Give a factor between 0.25 and 4, such as 1.2.")
        ahead = self.ahead if stretch == 1.0 else self._stretched(stretch)
        days, km = ahead.service_days, ahead.service_km
        if shift_days != 0.0:
            days, further = moved_service(
                days, km - ahead.now_km, ahead.rate, ahead.phi2, ahead.by_distance,
                shift_days=shift_days, rng=np.random.default_rng([self.settings.seed, 1]),
            )  # fmt: skip
            km = ahead.now_km + further
        vehicles = self.outlook.vehicles
        every_km, every_days = (
            vehicles[name].to_numpy(dtype=np.float64)[:, None] * stretch for name in ("interval_km", "interval_days")
        )
        overdue = ahead.overdue & ~vehicles["assumed"].to_numpy(dtype=bool)
        return Service(days, km, km + np.fmin(every_km, ahead.rate * every_days), overdue)

    def _stretched(self, stretch: float) -> Ahead:
        vehicles = self.outlook.vehicles
        longer = vehicles.assign(
            interval_km=vehicles["interval_km"] * stretch, interval_days=vehicles["interval_days"] * stretch
        )
        outlook = replace(self.outlook, vehicles=longer)
        n_draws = self.ahead.rate.shape[1]
        return _joined([ahead for _, ahead, _ in draws_ahead(outlook, replace(self.settings, draws=n_draws))])

    def over(self, km: Floats) -> NDArray[np.bool_]:
        """Return whether each series is over its limit when its vehicle has run these running distances, (J, K)."""
        then = np.maximum(km[self.vehicle] - self.start_km[:, None], self.now).astype(np.float32)
        play = self.lines.play(cast("Floats", then))
        if self.strayed_now is not None and self.strayed_then is not None:
            further = np.sqrt(self.lines.wander * np.maximum(then - self.now, 0.0))
            play = play + self.strayed_now + further * self.strayed_then
        return np.asarray(play > self.limit_mm)


def read_fleet_draws(
    con: duckdb.DuckDBPyConnection, *, fit_id: int, as_of: date, known_by: datetime | None, settings: Settings
) -> FleetDraws:
    """Return the draws behind a stored forecast, made again from its stored posteriors with the same seed.

    Parameters
    ----------
    con
        A connection to a store or a snapshot.
    fit_id, as_of, known_by, settings
        Those of the forecast.

    Raises
    ------
    StoreError
        If the fit is not there.
    """
    fit = numbered_fit(con, fit_id)
    prepare(con, as_of=as_of, known_by=known_by)
    prepare_series(con)
    prepare_facts(con, fit)
    n_series = int(con.execute("select count(*) from forecast_facts").fetchall()[0][0])
    methods = con.execute(sql("fit/stored_offsets"), {"fit_id": fit_id}).df()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DoubtfulFitWarning)
        outlook = look_ahead(con, as_of=as_of, settings=settings)
    most = max(100, _MOST_ENTRIES // max(n_series, 1))
    kept = replace(settings, draws=min(settings.draws, most))
    parts = chunks(partial(facts_of, con), outlook, kept, methods=methods)
    return draw_fleet(parts, fit.sharing, outlook, kept)


def draw_fleet(parts: Iterable[Chunk], sharing: Sharing, outlook: Outlook, settings: Settings) -> FleetDraws:
    """Return the draws of every vehicle and of every series with a limit and a model, from chunks of the fleet.

    They are those of ``forecast_fleet``, draw by draw, unless the fleet is so large that fewer are kept.
    """
    aheads, lines, frames, starts, nows, limits, drawn = [], [], [], [], [], [], []
    strays: list[tuple[NDArray[np.float32], NDArray[np.float32]]] = []
    for part in parts:
        aheads.append(part.ahead)
        lines.append(part.lines)
        of = part.series
        if of is None:
            continue
        own = draw_lines(of, sharing, n_draws=settings.draws, rng=part.rng)
        now = np.maximum(part.ahead.now_km[of.vehicle] - of.start_km[:, None], 0.0)
        then = np.maximum(part.ahead.service_km[of.vehicle] - of.start_km[:, None], now)
        first, last = own.strayed(now, then, rng=part.rng)
        kept = np.flatnonzero(np.isfinite(of.limit_mm))
        step = np.sqrt(own.wander * (then - now))
        normal = np.divide(last - first, step, out=np.zeros_like(step), where=step > 0.0)
        strays.append((np.broadcast_to(first, now.shape)[kept].astype(np.float32), normal[kept].astype(np.float32)))
        table = part.facts.loc[part.modelled, _KEYS]
        frames.append(table.assign(vehicle=of.vehicle + part.rows[0]).iloc[kept])
        starts.append(of.start_km[kept])
        nows.append(now[kept].astype(np.float32))
        limit = of.limit_mm[:, None]
        if of.procedure is not None:
            limit = of.procedure.limits(limit, n_draws=settings.draws, rng=part.rng)
        limits.append(np.broadcast_to(limit, now.shape)[kept].astype(np.float32))
        drawn.append([getattr(own, field.name)[kept].astype(np.float32) for field in fields(DrawnLines)])
    ahead = _joined(aheads)
    shape = (0, ahead.rate.shape[1])
    empty = [np.zeros(shape, dtype=np.float32) for _ in fields(DrawnLines)]
    joined = [np.concatenate(one) for one in zip(*drawn, strict=True)] if drawn else empty
    whole = DrawnLines(*joined)
    wanders = bool(whole.wander.any())
    series = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=[*_KEYS, "vehicle"])
    place = pd.Series(np.arange(len(series)), index=series["series"])
    every_line = pd.concat(lines, ignore_index=True)
    own_lines = every_line[every_line["series"].isin(series["series"])]
    return FleetDraws(
        outlook=outlook,
        settings=settings,
        series=series,
        ahead=ahead,
        now=np.concatenate(nows) if nows else np.zeros(shape),
        limit_mm=np.concatenate(limits) if limits else np.zeros(shape, dtype=np.float32),
        start_km=np.concatenate(starts) if starts else np.zeros(0),
        lines=whole,
        strayed_now=np.concatenate([first for first, _ in strays]) if wanders else None,
        strayed_then=np.concatenate([normal for _, normal in strays]) if wanders else None,
        posterior=own_lines.assign(series=own_lines["series"].map(place)).sort_values("series", kind="stable"),
    )


def _joined(parts: list[Ahead]) -> Ahead:
    """Return the draws of chunks of vehicles as one."""
    return Ahead(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Ahead)))
