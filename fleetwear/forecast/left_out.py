"""Play that falls: was a replacement or adjustment left out of the record?

Wear does not heal. Where a reading lies far below the one before it, two accounts of the life are compared by the
probability of all its readings: that it is one life (in which a reading may have slipped), and that another part was
fitted half-way between the two readings. The fit has both; what is assumed is how often work goes unrecorded.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.population import Population
    from fleetwear.wear.sums import Floats, Integers, ReadingArrays

UNRECORDED = 0.01
"""Probability, before the readings are looked at, that work was left out between two visits: an assumption."""

_LIKELY = 0.5
_FALL = 3.0
"""Standard deviations of the difference of two readings below which a fall is not looked at."""


@dataclass(frozen=True)
class Falls:
    """Falls of play that unrecorded work explains better than slips: one a life at most."""

    life: Integers
    before: Integers
    """Position of the last reading before the fall."""
    after: Integers
    """Position of the first reading after it."""
    probability: Floats


def unexplained_falls(population: Population, cohorts: list[str], codes: Integers, readings: ReadingArrays) -> Falls:
    """Return the falls in which a part was probably replaced without a record.

    Parameters
    ----------
    population
        The fitted shape.
    cohorts, codes
        Labels of cohorts, and the code of each life's, shape (J,).
    readings
        The lives' readings as they were taken, from a known origin.
    """
    before, after = _steep(population, readings)
    if not len(after):
        nothing = np.zeros(0, dtype=np.int64)
        return Falls(nothing, nothing, nothing, np.zeros(0))
    counts = np.bincount(readings.life, minlength=readings.n_lives)
    starts = np.cumsum(counts) - counts
    life = readings.life[after]
    each = counts[life]
    case = np.repeat(np.arange(len(after)), each)
    source = np.arange(int(each.sum())) - np.repeat(np.cumsum(each) - each, each) + starts[life][case]
    second = source >= after[case]
    changed = (readings.distance[before] + readings.distance[after]) / 2.0
    whole = replace(readings.chosen(source), life=case, n_lives=len(after))
    apart = replace(
        whole,
        life=2 * case + second,
        distance=np.where(second, whole.distance - changed[case], whole.distance),
        n_lives=2 * len(after),
    )
    of_one = _log_density(population, cohorts, codes[life], whole)
    of_two = _log_density(population, cohorts, np.repeat(codes[life], 2), apart).reshape(-1, 2).sum(axis=1)
    log_odds = of_two - of_one + np.log(UNRECORDED / (1.0 - UNRECORDED))
    probability = 1.0 / (1.0 + np.exp(-np.clip(log_odds, -500.0, 500.0)))
    order = np.lexsort((-probability, life))
    first = np.ones(len(order), dtype=bool)
    first[1:] = life[order][1:] != life[order][:-1]
    kept = order[first]
    kept = kept[probability[kept] > _LIKELY]
    return Falls(life[kept], before[kept], after[kept], probability[kept])


def _steep(population: Population, readings: ReadingArrays) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return positions of measured readings, and of the measured ones after them, that lie far lower."""
    assert population.errors is not None
    of = population.errors.methods.of(readings)
    at = np.arange(len(readings.life)) if readings.seen is None else np.flatnonzero(readings.seen == 0)
    before, after = at[:-1], at[1:]
    same = (readings.life[before] == readings.life[after]) & (readings.distance[after] > readings.distance[before])
    play, error = readings.play - of.offset, population.residual_variance * readings.variance_ratio * of.ratio
    steep = same & (play[before] - play[after] > _FALL * np.sqrt(error[before] + error[after]))
    return before[steep], after[steep]


def _log_density(population: Population, cohorts: list[str], codes: Integers, readings: ReadingArrays) -> Floats:
    prior = population.prior(cohorts, codes)
    return population.know(population.sums_of(population.settle(readings, prior)), prior).log_density
