"""Simulated fleets whose true play is known: the processes, and readings as an indicator would give them.

The true play of a life at x km since installation, in mm::

    z(x) = a + r (s^e + 4 max(x - c, 0) / 100,000) + B(x)        s = x / 100,000

with intercept a normal, rate r (mm per 100,000 km) log-normal, exponent e of the life's kind, onset c Weibull
where the kind has one (from there on wear is 5 times as fast) and infinite elsewhere, and B a Brownian path. Or play
can only grow: in place of r s + B it is a gamma process of that mean and variance.

A reading is z + offset of the method (or shop) + noise, in 3 of 100 cases with a slipped setup on top (normal, mean
-0.2 mm, sd 0.12 mm, so that 95 of 100 slips read low), never below zero, rounded to 0.0254 mm. Where a process
has soft detection, "none seen" stands in place of a reading with probability Phi((0.25 - z) / 0.06).

Lives have 6 to 9 visits, 6,000 to 26,000 km apart (uniform), and run on beyond the limit. Limits were set
once on large fleets so that about one case in ten is a crossing (:func:`crossing_share`).
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

REFERENCE_KM = 100_000.0
RESOLUTION_MM = 0.0254
NOISE_MM = 0.0381
SLIP_SHARE = 0.03
SLIP_MEAN_MM = -0.2
SLIP_SD_MM = 0.12
PACE = 5.0
THRESHOLD_MM = 0.25
THRESHOLD_SD_MM = 0.06
THOU_PER_ROOT_1000_MI = 0.0254 / np.sqrt(1609.344)
"""A wandering of 1 thou per sqrt(1,000 mi), in mm per sqrt(km)."""


@dataclass(frozen=True)
class Kind:
    """How the lives of one kind wear."""

    rate: float
    """Median rate, mm per 100,000 km."""
    rate_log_sd: float
    exponent: float = 1.0
    onset_scale_km: float = np.inf
    onset_shape: float = 2.5

    @property
    def fails(self) -> bool:
        """Whether the lives have an onset."""
        return bool(np.isfinite(self.onset_scale_km))


STEADY = Kind(rate=0.55, rate_log_sd=0.35)
GATHERING = Kind(rate=0.45, rate_log_sd=0.5, exponent=1.6)
SEAL = Kind(rate=0.25, rate_log_sd=0.35, onset_scale_km=110_000.0)


@dataclass(frozen=True)
class Method:
    """A way of measuring: what it adds to every reading, and its noise."""

    name: str
    offset_mm: float = 0.0
    noise_mm: float = NOISE_MM
    share: float = 1.0
    """Of the visits, drawn visit by visit."""
    stroke_mm: float = 0.0
    """Of the noise, what one stroke adds: known from a study."""
    strokes: int = 1


def shop(name: str, *, setup_mm: float, stroke_mm: float, strokes: int, share: float) -> Method:
    """Return a shop whose readings are means of some strokes of one setup."""
    noise = float(np.sqrt(setup_mm**2 + stroke_mm**2 / strokes))
    return Method(name, noise_mm=noise, share=share, stroke_mm=stroke_mm, strokes=strokes)


PLAIN = (Method("dial"),)


@dataclass(frozen=True)
class Process:
    """One process that generates fleets; equal shares of its kinds."""

    name: str
    kinds: tuple[Kind, ...]
    limit_mm: float
    intercept_mm: float = 0.15
    intercept_sd_mm: float = 0.04
    wander: float = 0.0
    """Sd of the Brownian path, mm per sqrt(km)."""
    only_grows: bool = False
    """Whether a gamma process of the same mean and variance takes the place of straight wear and path."""
    soft_detection: bool = False
    methods: tuple[Method, ...] = PLAIN
    methods_told: bool = True
    """Whether models are told them as methods; shops of one method are not."""
    training_lives: int = 400


@dataclass(frozen=True)
class Fleet:
    """Readings of J lives, sorted by life and distance; arrays of shape (n,)."""

    life: Integers
    distance_km: Floats
    truth_mm: Floats
    reading_mm: Floats
    """What was read; nan where none was seen."""
    method: Integers
    """Position in the process's methods."""

    @property
    def none_seen(self) -> NDArray[np.bool_]:
        """Where no movement was seen."""
        return np.isnan(self.reading_mm)

    @property
    def starts(self) -> Integers:
        """Position of each life's first reading, shape (J,)."""
        return np.flatnonzero(np.diff(self.life, prepend=-1))

    def number_in_life(self) -> Integers:
        """Return how many readings of the same life come before each."""
        lengths = np.diff(np.append(self.starts, len(self.life)))
        return np.arange(len(self.life)) - np.repeat(self.starts, lengths)


@dataclass(frozen=True)
class Cases:
    """Forecasts asked for: the next visit of a life, from its readings up to the last; shape (m,)."""

    last: Integers
    """Position in the fleet of the last reading that the forecast may use; ``last + 1`` is the next visit."""
    event: NDArray[np.bool_]
    """Whether the true play at the next visit is beyond the limit."""
    truth_mm: Floats
    """True play at the next visit."""


def simulate(process: Process, lives: int, rng: np.random.Generator) -> Fleet:
    """Return a fleet of a process."""
    visits = rng.integers(6, 10, lives)
    life = np.repeat(np.arange(lives), visits)
    n = len(life)
    starts = np.cumsum(visits) - visits
    gaps = rng.uniform(6_000.0, 26_000.0, n)
    run = np.cumsum(gaps)
    distance = run - np.repeat(run[starts] - gaps[starts], visits)
    truth = _true_play(process, rng, life, distance, gaps)
    method = rng.choice(len(process.methods), n, p=[m.share for m in process.methods])
    reading = read(process, rng, truth, method)
    return Fleet(life, distance, truth, reading, method.astype(np.int64))


def _true_play(process: Process, rng: np.random.Generator, life: Integers, distance: Floats, gaps: Floats) -> Floats:
    lives = int(life[-1]) + 1
    kind = rng.permutation(np.arange(lives) % len(process.kinds))
    kinds = process.kinds
    rate = np.array([k.rate for k in kinds])[kind] * np.exp(
        np.array([k.rate_log_sd for k in kinds])[kind] * rng.standard_normal(lives)
    )
    intercept = process.intercept_mm + process.intercept_sd_mm * rng.standard_normal(lives)
    shape = np.array([k.onset_shape for k in kinds])[kind]
    onset = np.array([k.onset_scale_km for k in kinds])[kind] * rng.weibull(shape)
    exponent = np.array([k.exponent for k in kinds])[kind]
    steps = process.wander * np.sqrt(gaps) * rng.standard_normal(len(life))
    if process.only_grows:
        mean = rate[life] * gaps / REFERENCE_KM
        scale = process.wander**2 * REFERENCE_KM / rate[life]
        steps = rng.gamma(mean / scale, scale) - mean
    path = np.cumsum(steps)
    starts = np.flatnonzero(np.diff(life, prepend=-1))
    path -= (path[starts] - steps[starts])[life]
    return np.asarray(intercept[life] + rate[life] * growth(distance, exponent[life], onset[life]) + path)


def growth(distance: Floats, exponent: Floats | float, onset: Floats | float) -> Floats:
    """Return what multiplies the rate, arrays that broadcast together."""
    after = np.maximum(distance - onset, 0.0) / REFERENCE_KM
    return np.asarray((distance / REFERENCE_KM) ** exponent + (PACE - 1.0) * after)


def read(process: Process, rng: np.random.Generator, truth: Floats, method: Integers) -> Floats:
    """Return what is read of true plays by methods (positions in the process's), nan where none is seen."""
    offset = np.array([m.offset_mm for m in process.methods])[method]
    noise = np.array([m.noise_mm for m in process.methods])[method]
    n = len(truth)
    slipped = rng.random(n) < SLIP_SHARE
    slip = np.where(slipped, SLIP_MEAN_MM + SLIP_SD_MM * rng.standard_normal(n), 0.0)
    raw = np.maximum(truth + offset + noise * rng.standard_normal(n) + slip, 0.0)
    reading = np.round(raw / RESOLUTION_MM) * RESOLUTION_MM
    if process.soft_detection:
        unseen = rng.random(n) < special.ndtr((THRESHOLD_MM - truth) / THRESHOLD_SD_MM)
        reading = np.where(unseen, np.nan, reading)
    return np.asarray(reading)


def cases_of(fleet: Fleet, limit_mm: float) -> Cases:
    """Return every case of a fleet in which the last reading was within the limit; none seen is within."""
    has_next = np.append(fleet.life[1:] == fleet.life[:-1], False)
    within = fleet.none_seen | (np.nan_to_num(fleet.reading_mm) <= limit_mm)
    last = np.flatnonzero(has_next & within)
    truth = fleet.truth_mm[last + 1]
    return Cases(last, truth > limit_mm, truth)


def fleets(process: Process, replicate: int, *, scored_lives: int = 400) -> tuple[Fleet, Fleet, np.random.Generator]:
    """Return the training fleet, the scored fleet, and a generator for what comes after."""
    seed = np.random.SeedSequence([zlib.crc32(process.name.encode()), replicate])
    train, scored, rest = (np.random.default_rng(child) for child in seed.spawn(3))
    return simulate(process, process.training_lives, train), simulate(process, scored_lives, scored), rest


def crossing_share(process: Process, *, lives: int = 20_000, seed: int = 0) -> tuple[float, float]:
    """Return the shares of cases that are crossings and of readings where none was seen, in a large fleet."""
    fleet = simulate(process, lives, np.random.default_rng(seed))
    return float(cases_of(fleet, process.limit_mm).event.mean()), float(fleet.none_seen.mean())


def _processes() -> dict[str, Process]:
    steady = Process("steady", (STEADY,), 0.75)
    gathering = Process("gathering", (GATHERING,), 0.69)
    seal = Process("seal", (SEAL,), 0.58)
    two = (
        Method("dial", share=0.5),
        Method("lever", offset_mm=0.05, noise_mm=2.0 * NOISE_MM, share=0.5),
    )
    shops = (
        shop("careful shop", setup_mm=0.02, stroke_mm=0.02, strokes=1, share=0.4),
        shop("shop of three strokes", setup_mm=0.03, stroke_mm=0.06, strokes=3, share=0.3),
        shop("hasty shop", setup_mm=0.09, stroke_mm=0.05, strokes=1, share=0.3),
    )
    wandering = {0.2: 0.75, 0.5: 0.77, 0.8: 0.79}
    listed = [
        steady,
        gathering,
        seal,
        *(
            replace(steady, name=f"wandering-{thou}", wander=thou * THOU_PER_ROOT_1000_MI, limit_mm=limit)
            for thou, limit in wandering.items()
        ),
        *(
            replace(
                steady, name=f"growing-{thou}", wander=thou * THOU_PER_ROOT_1000_MI, limit_mm=limit, only_grows=True
            )
            for thou, limit in {0.5: 0.77, 0.8: 0.79}.items()
        ),
        Process("mixed", (STEADY, GATHERING, SEAL), 0.68),
        Process("none-seen-steady", (STEADY,), 0.68, intercept_mm=0.09, soft_detection=True),
        Process("none-seen-seal", (SEAL,), 0.64, intercept_mm=0.18, soft_detection=True),
        Process("methods-steady", (STEADY,), 0.72, methods=two),
        Process("methods-seal", (SEAL,), 0.53, methods=two),
        Process("shops-steady", (STEADY,), 0.75, methods=shops, methods_told=False),
        Process("shops-seal", (SEAL,), 0.58, methods=shops, methods_told=False),
        Process("small-shops", (STEADY,), 0.75, methods=shops, methods_told=False, training_lives=60),
        replace(steady, name="small-steady", training_lives=30),
        replace(gathering, name="small-gathering", training_lives=30),
        replace(seal, name="small-seal", training_lives=30),
    ]
    return {process.name: process for process in listed}


PROCESSES = _processes()
"""All processes by name."""
