"""The best possible forecast: Bayes, with the process itself as the prior.

Without wandering, importance sampling. S latent lives (kind, intercept, rate, onset) are drawn from the
process, rates over a wider spread and weighted back, as a scrambled Sobol sequence; each is weighted by the
likelihood of the life's readings so far::

    reading y           F(y + h - z) - F(y - h - z)     h half the resolution; F(y + h - z) where y is zero
    none seen           q(z)        and 1 - q(z) for a reading, where the process has soft detection
    F(e)                0.97 Phi((e - o) / s) + 0.03 Phi((e - o - m) / sqrt(s^2 + t^2))

with o and s the offset and noise of the method, m and t mean and sd of slips. So rounding, slips and zeros enter
exactly, and only the number of draws is finite. The forecast of the next visit is the weighted share of draws
beyond the limit.

Where play can only grow, particles carry rate and play from visit to visit, resampled by the same likelihood.

With wandering, given the rate the play is Gaussian but for slips: rates on a grid of 64, a Kalman filter for
every history of slips with at most 3 of them (more have probability 1e-4 in 9 readings), all lives at once.
The error of rounding enters as its variance, h^2 / 3, and a slipped reading of zero by its probability alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats
from truth.processes import (
    NOISE_MM,
    REFERENCE_KM,
    RESOLUTION_MM,
    SLIP_MEAN_MM,
    SLIP_SD_MM,
    SLIP_SHARE,
    THRESHOLD_MM,
    THRESHOLD_SD_MM,
    Cases,
    Fleet,
    Kind,
    Method,
    Process,
    growth,
)
from truth.scoring import Forecast

Floats = NDArray[np.float64]

HALF = RESOLUTION_MM / 2.0
DRAWS = 2**15
WIDER = 1.3
"""Spread of the log rates drawn, over that of the process."""
_HOPELESS = 1e-9
"""Weight over the largest below which a draw is left out of the life's later visits; a slip costs it 1e-2."""
_STEP = 1e-4
_REACH = 4.0
_BIN = 0.001
_RATES = 64
_MOST_SLIPS = 3
_KEPT = 256
"""Normal components kept of a mixture for its quantiles, the heaviest."""


def oracle_forecast(
    process: Process, fleet: Fleet, cases: Cases, rng: np.random.Generator, *, draws: int = DRAWS
) -> Forecast:
    """Return the Bayes forecast of every case from the process that generated the fleet.

    The note holds the lowest effective number of draws of a case, and their harmonic mean N: the oracle's own
    Brier score is too high by about its Nth part.
    """
    if process.only_grows:
        return particle_forecast(process, fleet, cases, rng, particles=draws)
    if process.wander > 0.0:
        return filtered_forecast(process, fleet, cases)
    return sampled_forecast(process, fleet, cases, rng, draws=draws)


@dataclass(frozen=True)
class Draws:
    """S latent lives of one kind, with their weights; arrays of shape (S,)."""

    kind: Kind
    intercept: Floats
    rate: Floats
    onset: Floats
    weight: Floats

    def take(self, rows: NDArray[np.bool_]) -> Draws:
        """Return some of the lives."""
        return Draws(self.kind, self.intercept[rows], self.rate[rows], self.onset[rows], self.weight[rows])

    def play(self, distance: float) -> Floats:
        """Return the true play of the lives at a distance."""
        if self.kind.fails:
            return self.intercept + self.rate * growth(np.float64(distance), self.kind.exponent, self.onset)
        return self.intercept + self.rate * (distance / REFERENCE_KM) ** self.kind.exponent


def latent_draws(process: Process, rng: np.random.Generator, draws: int) -> list[Draws]:
    """Return draws of every kind of a process, the same number of each."""
    each = draws // len(process.kinds)
    listed = []
    for kind in process.kinds:
        sobol = stats.qmc.Sobol(3, rng=rng)
        power = int(np.ceil(np.log2(each)))
        uniform = sobol.random_base2(power)[:each]
        inside = np.clip(uniform, 1e-12, 1.0 - 1e-12)
        normal = special.ndtri(inside[:, :2])
        wide = WIDER * normal[:, 1]
        onset = kind.onset_scale_km * (-np.log(inside[:, 2])) ** (1.0 / kind.onset_shape)
        listed.append(
            Draws(
                kind,
                process.intercept_mm + process.intercept_sd_mm * normal[:, 0],
                kind.rate * np.exp(kind.rate_log_sd * wide),
                onset,
                np.exp(0.5 * (normal[:, 1] ** 2 - wide**2)),
            )
        )
    return listed


class Likelihood:
    """Probability of what was read, tabulated by the difference of reading and true play."""

    def __init__(self, process: Process) -> None:
        self._grid = np.arange(-_REACH, _REACH + _STEP / 2.0, _STEP)
        self._measured = []
        self._zero = []
        for method in process.methods:
            self._measured.append(error_cdf(method, self._grid + HALF) - error_cdf(method, self._grid - HALF))
            self._zero.append(error_cdf(method, self._grid + HALF))
        self._unseen: Floats | None = None
        if process.soft_detection:
            self._unseen = special.ndtr((THRESHOLD_MM + self._grid) / THRESHOLD_SD_MM)

    def of(self, reading: float, method: int, play: Floats) -> Floats:
        """Return the probability of one reading (nan: none seen) given each true play."""
        if np.isnan(reading):
            assert self._unseen is not None
            return self._at(self._unseen, 0.0, play)
        table = self._zero[method] if reading < HALF else self._measured[method]
        found = self._at(table, reading, play)
        if self._unseen is not None:
            found = found * (1.0 - self._at(self._unseen, 0.0, play))
        return found

    def _at(self, table: Floats, reading: float, play: Floats) -> Floats:
        position = ((reading + _REACH) / _STEP + 0.5 - play / _STEP).astype(np.int64)
        return np.take(table, position, mode="clip")


def error_cdf(method: Method, error: Floats) -> Floats:
    """Return the probability that reading less true play, before rounding, is at most the error."""
    e = error - method.offset_mm
    slipped = np.hypot(method.noise_mm, SLIP_SD_MM)
    clean = special.ndtr(e / method.noise_mm)
    return np.asarray((1.0 - SLIP_SHARE) * clean + SLIP_SHARE * special.ndtr((e - SLIP_MEAN_MM) / slipped))


def sampled_forecast(
    process: Process, fleet: Fleet, cases: Cases, rng: np.random.Generator, *, draws: int = DRAWS
) -> Forecast:
    """Return the Bayes forecast by importance sampling (no wandering)."""
    listed = latent_draws(process, rng, draws)
    likelihood = Likelihood(process)
    asked = np.zeros(len(fleet.life), dtype=bool)
    asked[cases.last] = True
    columns = np.full((len(fleet.life), 8), np.nan)
    prior = np.concatenate([one.weight for one in listed])
    ends = np.append(fleet.starts[1:], len(fleet.life))
    for start, end in zip(fleet.starts, ends, strict=True):
        possible, weight = listed, prior
        play = _plays(possible, fleet.distance_km[start])
        for at in range(start, end - 1):
            weight = weight * likelihood.of(fleet.reading_mm[at], int(fleet.method[at]), play)
            possible, weight = _without_hopeless(possible, weight)
            play = _plays(possible, fleet.distance_km[at + 1])
            if asked[at]:
                columns[at] = _summary(play, weight, process.limit_mm)
    found = columns[cases.last]
    effective = found[:, 7]
    note = f"effective draws: lowest {effective.min():.0f}, harmonic mean {stats.hmean(effective):.0f}"
    return Forecast(*(found[:, k] for k in range(7)), note=note)


def _without_hopeless(listed: list[Draws], weight: Floats) -> tuple[list[Draws], Floats]:
    """Return the draws less those of next to no weight, if these are the most."""
    keep = weight > _HOPELESS * weight.max()
    if keep.mean() > 0.7:
        return listed, weight
    parts = np.split(keep, np.cumsum([len(one.weight) for one in listed])[:-1])
    return [one.take(part) for one, part in zip(listed, parts, strict=True)], weight[keep]


def _plays(listed: list[Draws], distance: float) -> Floats:
    parts = [one.play(distance) for one in listed]
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _summary(play: Floats, weight: Floats, limit: float) -> tuple[float, ...]:
    """Return probability beyond the limit, mean, sd, four quantiles and the effective number of draws."""
    total = weight.sum()
    probability = weight[play > limit].sum() / total
    mean = weight @ play / total
    sd = np.sqrt(max(weight @ (play - mean) ** 2 / total, 1e-12))
    live = weight > 1e-9 * weight.max()
    low = mean - 8.0 * sd
    position = ((np.clip(play[live], low, mean + 8.0 * sd) - low) / _BIN).astype(np.int64)
    cumulative = np.cumsum(np.bincount(position, weights=weight[live])) / total
    quantiles = np.interp([0.1, 0.9, 0.025, 0.975], cumulative, low + _BIN * (np.arange(len(cumulative)) + 1.0))
    return probability, mean, sd, *quantiles, total**2 / (weight @ weight)


def particle_forecast(
    process: Process, fleet: Fleet, cases: Cases, rng: np.random.Generator, *, particles: int = DRAWS
) -> Forecast:
    """Return the Bayes forecast of play that can only grow, by particles that are resampled after every reading.

    Rates are drawn once, so that after some visits few different ones are left; the note tells how few.
    """
    (kind,) = process.kinds
    assert kind.exponent == 1.0
    likelihood = Likelihood(process)
    asked = np.zeros(len(fleet.life), dtype=bool)
    asked[cases.last] = True
    columns = np.full((len(fleet.life), 7), np.nan)
    different = []
    ends = np.append(fleet.starts[1:], len(fleet.life))
    for start, end in zip(fleet.starts, ends, strict=True):
        normal = rng.standard_normal((2, particles))
        rate = kind.rate * np.exp(kind.rate_log_sd * normal[0]) / REFERENCE_KM
        play, before = process.intercept_mm + process.intercept_sd_mm * normal[1], 0.0
        for at in range(start, end):
            gap = fleet.distance_km[at] - before
            play = play + rng.gamma(rate**2 * gap / process.wander**2, process.wander**2 / rate)
            before = fleet.distance_km[at]
            if at > start and asked[at - 1]:
                columns[at - 1] = _summary(play, np.ones(particles), process.limit_mm)[:7]
            weight = likelihood.of(fleet.reading_mm[at], int(fleet.method[at]), play)
            edges = np.cumsum(weight / weight.sum())
            kept = np.minimum(np.searchsorted(edges, (np.arange(particles) + rng.random()) / particles), particles - 1)
            rate, play = rate[kept], play[kept]
        different.append(len(np.unique(rate)))
    found = columns[cases.last]
    note = (
        f"particles; different rates left at the last visit: lowest {min(different)}, median {np.median(different):.0f}"
    )
    return Forecast(*(found[:, k] for k in range(7)), note=note)


def filtered_forecast(process: Process, fleet: Fleet, cases: Cases) -> Forecast:
    """Return the Bayes forecast with wandering, by Kalman filters over rates and histories of slips."""
    (kind,), (method,) = process.kinds, process.methods
    assert not kind.fails
    assert not process.soft_detection
    assert method.offset_mm == 0.0
    node = np.linspace(-4.5, 4.5, _RATES)
    rate = kind.rate * np.exp(kind.rate_log_sd * node)
    lives, lengths = len(fleet.starts), np.diff(np.append(fleet.starts, len(fleet.life)))
    mean = np.full((lives, _RATES, 1), process.intercept_mm)
    variance = np.full((lives, 1, 1), process.intercept_sd_mm**2)
    log_weight = np.broadcast_to((-0.5 * node**2)[None, :, None], (lives, _RATES, 1))
    slips = np.zeros(1, dtype=np.int64)
    noises = np.array([NOISE_MM**2, NOISE_MM**2 + SLIP_SD_MM**2]) + HALF**2 / 3.0
    asked = np.zeros(len(fleet.life), dtype=bool)
    asked[cases.last] = True
    columns = np.full((len(fleet.life), 7), np.nan)
    before = np.zeros(lives)
    grown = np.zeros(lives)
    for visit in range(int(lengths.max())):
        at = fleet.starts + np.minimum(visit, lengths - 1)
        x, y = fleet.distance_km[at], fleet.reading_mm[at]
        g = (x / REFERENCE_KM) ** kind.exponent
        mean = mean + rate[:, None] * (g - grown)[:, None, None]
        variance = variance + process.wander**2 * (x - before)[:, None, None]
        before, grown = x, g
        if visit:
            rows = np.flatnonzero((visit < lengths) & asked[at - 1])
            columns[at[rows] - 1] = _mixture_summary(mean[rows], variance[rows], log_weight[rows], process.limit_mm)
        mean, variance, log_weight, slips = _step(mean, variance, log_weight, slips, y, noises)
    found = columns[cases.last]
    return Forecast(*(found[:, k] for k in range(7)), note="closed form but for slips")


def _step(
    mean: Floats, variance: Floats, log_weight: Floats, slips: NDArray[np.int64], y: Floats, noises: Floats
) -> tuple[Floats, Floats, Floats, NDArray[np.int64]]:
    """Return the filters after a reading that may be a slip: as many histories again, less the unlikely."""
    reading = y[:, None, None]
    clean_total = variance + noises[0]
    gain = variance / clean_total
    gap = reading - mean
    clean = log_weight + np.log(1.0 - SLIP_SHARE) - 0.5 * (gap**2 / clean_total + np.log(clean_total))
    more = slips < _MOST_SLIPS
    m, v, w = mean[:, :, more], variance[:, :, more], log_weight[:, :, more]
    slip_total = v + noises[1]
    slip_gain = v / slip_total
    off = reading - m - SLIP_MEAN_MM
    slipped = w + np.log(SLIP_SHARE) - 0.5 * (off**2 / slip_total + np.log(slip_total))
    slip_mean, slip_variance = m + slip_gain * off, v * (1.0 - slip_gain)
    zero = y < HALF
    if zero.any():
        below = special.log_ndtr((HALF - m[zero] - SLIP_MEAN_MM) / np.sqrt(slip_total[zero]))
        # other histories carry densities without 1 / sqrt(2 pi): a probability over the resolution joins them
        slipped[zero] = w[zero] + np.log(SLIP_SHARE) + below - np.log(RESOLUTION_MM / np.sqrt(2.0 * np.pi))
        slip_mean[zero], slip_variance[zero] = m[zero], v[zero]
    return (
        np.concatenate([mean + gain * gap, slip_mean], axis=2),
        np.concatenate([variance * (1.0 - gain), slip_variance], axis=2),
        np.concatenate([clean, slipped], axis=2),
        np.append(slips, slips[more] + 1),
    )


def _mixture_summary(mean: Floats, variance: Floats, log_weight: Floats, limit: float) -> Floats:
    """Return probability beyond the limit, mean, sd and four quantiles of each row, shape (rows, 7)."""
    rows = len(mean)
    m = mean.reshape(rows, -1)
    w = np.exp(log_weight.reshape(rows, -1) - log_weight.max(axis=(1, 2))[:, None])
    v = np.broadcast_to(variance, mean.shape).reshape(rows, -1)
    w /= w.sum(axis=1, keepdims=True)
    if w.shape[1] > _KEPT:
        heaviest = np.argpartition(-w, _KEPT, axis=1)[:, :_KEPT]
        m, v, w = (np.take_along_axis(values, heaviest, axis=1) for values in (m, v, w))
        w = w / w.sum(axis=1, keepdims=True)
    sd = np.sqrt(v)
    centre = (w * m).sum(axis=1)
    spread = np.sqrt((w * (v + (m - centre[:, None]) ** 2)).sum(axis=1))
    beyond = (w * special.ndtr((m - limit) / sd)).sum(axis=1)
    quantiles = []
    for probability in (0.1, 0.9, 0.025, 0.975):
        low, high = centre - 8.0 * spread, centre + 8.0 * spread
        for _ in range(16):
            middle = (low + high) / 2.0
            under = (w * special.ndtr((middle[:, None] - m) / sd)).sum(axis=1) < probability
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        quantiles.append((low + high) / 2.0)
    return np.stack([beyond, centre, spread, *quantiles], axis=1)
