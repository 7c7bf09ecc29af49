"""Judging readings: what each says of the true play, as one normal reading, in the light of the others of its life.

A reading may be a number with a normal error, rounded, slipped, or "none seen". Whatever it is, its likelihood is
replaced by a normal one (module ``sites``), chosen so that the posterior keeps the moments that the exact likelihood
gives it when all other readings of the life are as judged (its cavity): expectation propagation (Minka 2001,
Expectation propagation for approximate Bayesian inference, UAI 17; from memory). Over what the reading may be (good
or slipped) and the components of a mixture (onsets), the natural parameters of the sites are averaged by
probability. The result enters the sums of the mixed model like any other reading, where

- ``count`` is such that at rest the residual variance has its right equation: a reading counts toward it by what it
  says of the measurement error, and a reading without a number not at all;
- ``log_ratio`` is such that the log density of a life is that of its readings as they were (exact with one reading
  that is not an exact number, an approximation with more).

It is exact where every reading is a number with a normal error. All readings of all lives are judged at once, some
times over, because what one reading is taken for changes what its neighbours say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.onset import mix
from fleetwear.wear.sites import Asked, Sites, good_sites, slipped_sites
from fleetwear.wear.sums import ReadingArrays, joined

if TYPE_CHECKING:
    from fleetwear.wear.population import Lines, Population
    from fleetwear.wear.reading_errors import ReadingErrors
    from fleetwear.wear.sums import Floats

ROUNDS = 4
"""Times that all readings are judged."""

_CHUNK = 20_000
"""Lives judged at a time."""
_NOTHING = 1e7
"""Variance ratio of a reading that says nothing yet."""
_FIRST_RATIO = 3.0
"""Variance ratio of "none seen" before the residual variance is known."""


@dataclass(frozen=True)
class Judged:
    """Readings judged by the others of their lives, shape (n,)."""

    settled: ReadingArrays
    """The normal readings that they come to."""
    slipped: Floats
    """Probability that each slipped."""
    kept: Floats
    """Probability that each is a number that did not slip."""
    gap: Floats
    """How far it lies from what the others say of it, offset of the method taken off."""
    spread: Floats
    """Variance of what they say."""
    mean: Floats
    """True play after all readings."""
    square: Floats
    """Mean squared error of measurement, if it did not slip."""
    before_detection: tuple[Floats, Floats]
    """Mean and variance of the true play before it is asked whether movement was seen."""

    @property
    def n_measured(self) -> float:
        """Readings that are numbers."""
        return float((self.kept + self.slipped).sum())


def judge(
    population: Population,
    errors: ReadingErrors,
    readings: ReadingArrays,
    prior: Lines,
    *,
    start: ReadingArrays | None = None,
    rounds: int = ROUNDS,
) -> Judged:
    """Return the readings judged: which slipped, and what they are worth.

    Parameters
    ----------
    population
        The fitted shape.
    errors
        How readings come from true plays.
    readings
        n readings of J lives as they were taken.
    prior
        The mean line of each life's cohort, J rows.
    start
        The same readings as they were judged before, to go on from.
    rounds
        Times that all are judged.
    """
    settled = first_settled(errors, readings) if start is None else start
    for _ in range(rounds):
        judged = _judged(errors, population.residual_variance, readings, *population.cavity(settled, prior))
        settled = judged.settled
    return judged


def judge_all(population: Population, errors: ReadingErrors, readings: ReadingArrays, prior: Lines) -> ReadingArrays:
    """Return the normal readings that those of many lives come to, judged some lives at a time."""
    if readings.n_lives <= _CHUNK:
        return judge(population, errors, readings, prior).settled
    parts = []
    for first in range(0, readings.n_lives, _CHUNK):
        lives = np.arange(first, min(first + _CHUNK, readings.n_lives))
        chosen = np.zeros(readings.n_lives, dtype=bool)
        chosen[lives] = True
        part = judge(population, errors, readings.only(chosen), prior.take(lives)).settled
        parts.append(replace(part, life=part.life + first))
    return joined(parts, n_lives=readings.n_lives)


def log_evidence(
    errors: ReadingErrors, sigma2: float, readings: ReadingArrays, mean: Floats, variance: Floats, shares: Floats
) -> Floats:
    """Return the log probability (density, where a reading counts as exact) of each reading, shape (n,).

    mean, variance and shares are of the true play's components, shape (n, C), the reading itself left out.
    """
    asked = Asked.of(errors, sigma2, readings)
    return _accounts(errors, asked, mean, variance, shares)[1]


def first_settled(errors: ReadingErrors, readings: ReadingArrays) -> ReadingArrays:
    """Return readings before any is judged: "none seen" as half the threshold, "seen" as nothing."""
    of = errors.methods.of(readings)
    play, ratio = readings.play - of.offset, readings.variance_ratio * of.ratio
    if readings.seen is None:
        return replace(readings, play=play, variance_ratio=ratio, method=None, half=None)
    measured, unseen = readings.seen == 0, readings.seen < 0
    return replace(
        readings,
        play=np.where(measured, play, np.where(unseen, of.threshold / 2.0, of.threshold)),
        variance_ratio=np.where(measured, ratio, np.where(unseen, _FIRST_RATIO, _NOTHING)),
        count=measured.astype(np.float64),
        log_ratio=np.where(measured, np.log(ratio), 0.0),
        seen=None,
        method=None,
        half=None,
    )


@dataclass(frozen=True)
class _Account:
    """One account of the readings, with its probability component by component, shape (n, C)."""

    sites: Sites
    probability: Floats


def _accounts(
    errors: ReadingErrors, asked: Asked, m: Floats, s: Floats, shares: Floats
) -> tuple[list[_Account], Floats]:
    """Return the accounts of readings (good, and slipped where slips are reckoned with), and the log evidence."""
    with np.errstate(divide="ignore"):
        log_shares = np.log(shares)
    good = good_sites(asked, m, s)
    if errors.slips is None:
        log_z, probability = mix(good.log_z + log_shares, np.ones(1))
        return [_Account(good, probability)], log_z
    share = np.where(asked.measured, errors.slips.share, 0.0)
    bad = slipped_sites(asked, errors.slips, m, s)
    with np.errstate(divide="ignore"):
        joint = np.concatenate(
            [good.log_z + log_shares + np.log1p(-share), bad.log_z + log_shares + np.log(share)], axis=1
        )
    log_z, probability = mix(joint, np.ones(1))
    n = m.shape[1]
    return [_Account(good, probability[:, :n]), _Account(bad, probability[:, n:])], log_z


def _judged(
    errors: ReadingErrors, sigma2: float, readings: ReadingArrays, m: Floats, s: Floats, shares: Floats
) -> Judged:
    """Return readings judged with components N(m, s) of their cavities, by share, each of shape (n, C)."""
    asked = Asked.of(errors, sigma2, readings)
    accounts, log_z = _accounts(errors, asked, m, s, shares)

    def averaged(name: str) -> Floats:
        return np.asarray(sum((a.probability * getattr(a.sites, name)).sum(axis=1) for a in accounts))

    precision, pull, mean = averaged("precision"), averaged("pull"), averaged("mean")
    play = pull / precision
    good = accounts[0]
    number = asked.measured[:, 0]
    unslipped = good.probability.sum(axis=1)
    kept = np.where(number, unslipped, 0.0)
    whole = np.maximum(unslipped, 1e-300)
    square = (good.probability * good.sites.square).sum(axis=1) / whole

    # as the mixed model will take it: one normal reading of that precision
    off = s + 1.0 / precision[:, None]
    as_normal, weight = mix(-0.5 * (np.log(2.0 * np.pi * off) + (play[:, None] - m) ** 2 / off), shares)
    gain = s / off
    residual = precision * (weight * (s * (1.0 - gain) + ((1.0 - gain) * (play[:, None] - m)) ** 2)).sum(axis=1)
    count = np.maximum(residual + kept * (1.0 - square / asked.error[:, 0]), 0.0)
    log_scale = log_z - as_normal - 0.5 * np.log(2.0 * np.pi / precision)
    expected = (shares * m).sum(axis=1)
    before = (good.probability * good.sites.before[0]).sum(axis=1) / whole
    settled = replace(
        readings,
        play=play,
        variance_ratio=1.0 / (sigma2 * precision),
        count=count,
        log_ratio=-2.0 * log_scale - count * np.log(2.0 * np.pi * sigma2),
        seen=None,
        method=None,
        half=None,
    )
    return Judged(
        settled=settled,
        slipped=np.where(number, 1.0 - unslipped, 0.0),
        kept=kept,
        gap=asked.play[:, 0] - expected,
        spread=(shares * (s + (m - expected[:, None]) ** 2)).sum(axis=1),
        mean=mean,
        square=square,
        before_detection=(
            before,
            (good.probability * (good.sites.before[1] + (good.sites.before[0] - before[:, None]) ** 2)).sum(axis=1)
            / whole,
        ),
    )
