"""Joint draws of play at the next service and of crossings, for all joints of some vehicles at once.

For draw k of series j: a component (a shape, and a distance run before) by weight, growth and intercept
from its posterior, growth tied within joint and vehicle (``wear.shared``), and the distances of draw k
of the vehicle. With t = x + shift, the play at distance x is then::

    intercept + growth * ((t / reference) ^ exponent + (pace - 1) max(t - onset, 0) / reference) + B(t)

B, where wear wanders, is a Brownian path from the last reading on. The play at the next service is that of the path
there; crossing points are those of its first passage of the limit, which comes earlier (the passage of a Brownian
path with drift is inverse Gaussian: Chhikara & Folks 1989, The Inverse Gaussian Distribution, chapter 3).

A limit is compared with the play that its own procedure would show (``forecast.procedures``): the same draw for every
series whose limit and readings differ alike, since what sets two procedures apart is the same in all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.forecast.curves import growth_factor
from fleetwear.usage import draw_crossing_days
from fleetwear.wear.shared import Sharing, draw_shared

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.forecast.horizon import Ahead
    from fleetwear.wear.sums import Floats, Integers

GROWTH_SPAN_KM = 10_000.0
"""Growth is reported as the mean over this much distance ahead."""

INTERVAL = (0.025, 0.975)
CROSSING_POINTS = (0.05, 0.50, 0.95)


@dataclass(frozen=True)
class SeriesDraws:
    """What is drawn for J series of V vehicles; ``vehicle`` gives each series' row of the vehicles' draws."""

    vehicle: Integers
    joint: Integers
    start_km: Floats
    """Running distance at which the life began, km."""
    limit_mm: Floats
    """nan where there is no limit."""
    effect: Floats
    reliability: Floats
    lines: pd.DataFrame
    """Components sorted by ``series`` (0 .. J - 1), every series at least one; as in ``Knowledge.lines``."""
    procedure: Procedure | None = None
    """What each series' limit is stated for; None: all for the play as the fit knows it."""


@dataclass(frozen=True)
class Procedure:
    """What the procedures of J series' limits add to their play, shape (J,)."""

    offset_mm: Floats
    sd_mm: Floats
    pair: Integers
    """Codes, from 0, of limit's and reading's procedure together: series of one code share their error."""

    def limits(self, limit: Floats, *, n_draws: int, rng: np.random.Generator) -> Floats:
        """Return drawn limits of the play as the fit knows it, shape (J, n_draws), from limits of shape (J, 1)."""
        if not self.sd_mm.any():
            return limit - self.offset_mm[:, None]
        own = rng.spawn(1)[0]
        error = own.standard_normal((int(self.pair.max()) + 1, n_draws))[self.pair]
        return limit - self.offset_mm[:, None] - self.sd_mm[:, None] * error


@dataclass(frozen=True)
class Forecast:
    """Summaries of the draws: ``series`` has J rows, ``any_over`` the probability of each vehicle."""

    series: pd.DataFrame
    any_over: Floats
    """nan for a vehicle without any joint that has a limit and a model."""
    joints_judged: Integers
    """How many joints of each vehicle have both."""


def forecast_draws(
    of: SeriesDraws, ahead: Ahead, sharing: Sharing, *, horizon_days: float, rng: np.random.Generator
) -> Forecast:
    """Return crossing probabilities, intervals and crossing points of the series, and of their vehicles.

    ``series`` has growth_mm_per_km with growth_lower and growth_upper (95 %), play_now_mm, play_next_mm with
    play_next_lower and play_next_upper (95 %), p_over_next (true play), p_reading_over_next, and
    crossing_km_05/50/95 (running distance) and crossing_days_05/50/95, nan beyond ``horizon_days``.
    """
    lines = draw_lines(of, sharing, n_draws=ahead.rate.shape[1], rng=rng)
    now = np.maximum(ahead.now_km[of.vehicle] - of.start_km[:, None], 0.0)
    then = np.maximum(ahead.service_km[of.vehicle] - of.start_km[:, None], now)
    strayed = lines.strayed(now, then, rng=rng)
    growth = (lines.play(now + GROWTH_SPAN_KM) - lines.play(now)) / GROWTH_SPAN_KM
    play_now, play_next = lines.play(now) + strayed[0], lines.play(then) + strayed[1]
    limit = of.limit_mm[:, None]
    if of.procedure is not None:
        limit = of.procedure.limits(limit, n_draws=ahead.rate.shape[1], rng=rng)
    over = play_next > limit
    reading = play_next + np.sqrt(lines.noise) * rng.standard_normal(play_next.shape)
    has_limit = np.isfinite(of.limit_mm)

    frame = pd.DataFrame({"growth_mm_per_km": growth.mean(axis=1)})
    frame["growth_lower"], frame["growth_upper"] = np.quantile(growth, INTERVAL, axis=1)
    frame["play_now_mm"], frame["play_next_mm"] = play_now.mean(axis=1), play_next.mean(axis=1)
    frame["play_next_lower"], frame["play_next_upper"] = np.maximum(np.quantile(play_next, INTERVAL, axis=1), 0.0)
    frame["p_over_next"] = np.where(has_limit, over.mean(axis=1), np.nan)
    frame["p_reading_over_next"] = np.where(has_limit, (reading > limit).mean(axis=1), np.nan)

    to_limit = lines.wandering_distance(play_now, limit, lines.distance_to(limit) - now, rng=rng)
    left = np.where(play_now > limit, 0.0, to_limit)
    left = np.where(has_limit[:, None], np.maximum(left, 0.0), np.nan)
    days = draw_crossing_days(ahead.rate[of.vehicle], ahead.phi2[of.vehicle][:, None], left, rng=rng)
    km_points = _points(ahead.now_km[of.vehicle] + left, days, horizon_days)
    day_points = _points(days, days, horizon_days)
    for point, km, day in zip(CROSSING_POINTS, km_points, day_points, strict=True):
        frame[f"crossing_km_{point * 100:02.0f}"] = km
        frame[f"crossing_days_{point * 100:02.0f}"] = day

    any_over = np.zeros(ahead.rate.shape, dtype=bool)
    np.logical_or.at(any_over, of.vehicle, over & has_limit[:, None])
    judged = np.unique(np.stack([of.vehicle[has_limit], of.joint[has_limit]]), axis=1)[0]
    count = np.bincount(judged.astype(np.int64), minlength=len(any_over))
    return Forecast(frame, np.where(count > 0, any_over.mean(axis=1), np.nan), count)


def _points(values: Floats, days: Floats, horizon_days: float) -> NDArray[np.float64]:
    """Return the crossing points of values, shape (3, J); nan beyond the horizon or without a limit."""
    beyond = ~(days <= horizon_days)
    ranked = np.sort(np.where(beyond, np.inf, values), axis=1)
    at = [min(int(np.ceil(point * ranked.shape[1])) - 1, ranked.shape[1] - 1) for point in CROSSING_POINTS]
    points = ranked[:, at].T
    return np.where(np.isfinite(points), points, np.nan)


@dataclass(frozen=True)
class DrawnLines:
    """Drawn lines of J series, shape (J, K)."""

    intercept: Floats
    growth: Floats
    shift: Floats
    reference: Floats
    exponent: Floats
    pace: Floats
    onset: Floats
    noise: Floats
    wander: Floats
    """Variance that the path adds per km, mm2."""
    last: Floats
    """Where it begins to, km run."""

    def play(self, distance: Floats) -> Floats:
        """Return the play of the lines at distances since the lives began, mm."""
        g = growth_factor(distance + self.shift, self.reference, self.exponent, self.pace, self.onset)
        return np.asarray(self.intercept + self.growth * g)

    def distance_to(self, limit: Floats) -> Floats:
        """Return the distance since the life began at which play reaches the limit; inf if it never does.

        Where the pace changes the exponent is 1, so that g is a straight line on each side of the onset.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            g = np.where(self.growth > 0.0, (limit - self.intercept) / self.growth, np.inf)
            before = self.reference * np.maximum(g, 0.0) ** (1.0 / self.exponent)
            after = (self.reference * g + (self.pace - 1.0) * self.onset) / self.pace
            reached = np.where((self.pace > 1.0) & (before > self.onset), after, before)
        return np.asarray(reached - self.shift)

    def strayed(self, now: Floats, then: Floats, *, rng: np.random.Generator) -> tuple[Floats | float, Floats | float]:
        """Return how far the path has strayed from its line now, and then."""
        if not self.wander.any():
            return 0.0, 0.0
        shape = now.shape
        first = np.sqrt(self.wander * np.maximum(now + self.shift - self.last, 0.0)) * rng.standard_normal(shape)
        return first, first + np.sqrt(self.wander * (then - now)) * rng.standard_normal(shape)

    def wandering_distance(self, play: Floats, limit: Floats, straight: Floats, *, rng: np.random.Generator) -> Floats:
        """Return the distance from now to the first passage of the limit; where wear keeps to its line as given.

        ``straight`` is the distance to where the line crosses.
        """
        wanders = self.wander > 0.0
        gap = np.broadcast_to(limit, play.shape) - play
        asked = wanders & (gap > 0.0)
        if not asked.any():
            return straight
        drift, variance, a = (self.growth / self.reference)[asked], self.wander[asked], gap[asked]
        speed = np.maximum(np.abs(drift), 1e-12)
        passage = rng.wald(a / speed, a**2 / variance)
        ever = np.exp(np.minimum(2.0 * a * drift / variance, 0.0))
        left = straight.copy()
        left[asked] = np.where(rng.random(len(a)) < ever, passage, np.inf)
        return left


def draw_lines(of: SeriesDraws, sharing: Sharing, *, n_draws: int, rng: np.random.Generator) -> DrawnLines:
    """Return joint draws of the lines of the series, shape (J, n_draws)."""
    lines = of.lines
    z = draw_shared(sharing, of.effect, of.reliability, of.vehicle, of.joint, n_draws=n_draws, rng=rng)
    series = lines["series"].to_numpy(dtype=np.int64)
    weight = lines["weight"].to_numpy(dtype=np.float64)
    total = np.bincount(series, weights=weight)
    within = np.cumsum(weight / total[series])
    before = np.concatenate([[0.0], within])[np.searchsorted(series, np.arange(len(total)))]
    edges = series + np.clip(within - before[series], 0.0, 1.0)
    picked = np.searchsorted(edges, np.arange(len(total))[:, None] + rng.random(z.shape))
    last = np.searchsorted(series, np.arange(len(total)), side="right") - 1
    picked = np.minimum(picked, last[:, None])

    def column(name: str) -> Floats:
        return lines[name].to_numpy(dtype=np.float64)[picked]

    sd_growth = np.sqrt(np.maximum(lines["var_growth"].to_numpy(dtype=np.float64), 0.0))
    cross = lines["cov_cross"].to_numpy(dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        lean = np.where(sd_growth > 0.0, cross / sd_growth, 0.0)
    left = np.sqrt(np.maximum(lines["var_intercept"].to_numpy(dtype=np.float64) - lean**2, 0.0))
    return DrawnLines(
        intercept=column("intercept") + lean[picked] * z + left[picked] * rng.standard_normal(z.shape),
        growth=column("growth") + sd_growth[picked] * z,
        shift=column("shift_km"),
        reference=column("reference_km"),
        exponent=column("exponent"),
        pace=column("pace"),
        onset=column("onset_km"),
        noise=column("residual_variance"),
        wander=column("wander_mm2_per_km"),
        last=column("from_km"),
    )
