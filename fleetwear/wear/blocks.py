"""Lives in order of their cohorts, a few thousand at a time: what is computed on the way stays in the cache."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers, LifeSums

_LENGTH = 8_000
"""Lives of a block. Twenty arrays of it fit into a core's second cache, and an inner product of it takes one thread:
one so short loses more by waiting for others."""


_ROOM = 1_000_000
"""Numbers that the arrays of a block may take together, several times over."""


@dataclass(frozen=True)
class Block:
    """Lives next to each other in the order of cohorts: L of them, of K cohorts."""

    place: slice
    """Where they stand among all lives in that order."""
    sums: LifeSums
    weight: Floats | None
    """How much of a life each counts as, shape (L,); one where not given."""
    cohorts: Integers
    """Their cohorts, ascending, shape (K,)."""
    starts: Integers
    """Where the lives of each begin, shape (K,)."""
    counts: Integers
    """How many lives each has here, shape (K,)."""

    def each(self, of_cohort: Floats) -> Floats:
        """Return the value of each life's cohort, shape (L,), or (1,) if they are of one; given (C,)."""
        here = of_cohort[self.cohorts]
        return here if len(here) == 1 else np.repeat(here, self.counts)

    def weighed(self, values: Floats) -> NDArray[np.float64]:
        """Return values of each life, shape (..., L), times its weight."""
        return values if self.weight is None else values * self.weight

    def total(self, values: Floats) -> NDArray[np.float64]:
        """Return the weighed sum over the lives of values of shape (..., L)."""
        return np.asarray(self.weighed(values).sum(axis=-1))

    def by_cohort(self, weighed: Floats) -> NDArray[np.float64]:
        """Return values that are weighed, shape (k, L), added up by cohort, shape (k, K)."""
        return np.add.reduceat(weighed, self.starts, axis=1)


@cache
def _keep_room() -> None:
    """Have the C library keep the memory of one block for the next.

    By default it hands the top of its heap back whenever 128 kB of it are free, so that every block would be given
    its pages anew, at a third of the time of it all. Once it has seen a large piece let go it waits for twice as much.
    """
    np.empty(_ROOM)


def places(n_lives: int) -> list[slice]:
    """Return where the blocks of so many lives stand."""
    return [slice(first, min(first + _LENGTH, n_lives)) for first in range(0, n_lives, _LENGTH)]


def blocks_of(sums: LifeSums, cohort: Integers, weight: Floats | None) -> list[Block]:
    """Return J lives in blocks; ``cohort`` is the cohort of each, shape (J,)."""
    _keep_room()
    if (cohort[1:] < cohort[:-1]).any():
        order = np.argsort(cohort, kind="stable")
        sums, cohort = sums.take(order), cohort[order]
        weight = None if weight is None else weight[order]
    begins = np.flatnonzero(np.diff(cohort, prepend=cohort[:1] - 1))
    blocks = []
    for place in places(len(cohort)):
        first, last = place.start, place.stop
        starts = np.append(first, begins[(begins > first) & (begins < last)])
        blocks.append(
            Block(
                place=place,
                sums=sums.take(place),
                weight=None if weight is None else weight[place],
                cohorts=cohort[starts],
                starts=starts - first,
                counts=np.diff(starts, append=last),
            )
        )
    return blocks
