"""Lifetimes of which it is known only between which two distances they ended."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

REACHED = 5
"""How many lifetimes must have been looked at so far out for their record to reach there."""


@dataclass(frozen=True)
class Lifetimes:
    """n lifetimes T, each known to lie in (lower, upper]; lower equals upper where T is known exactly.

    lower 0 is left-censored, upper infinite is right-censored.
    """

    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    cluster: NDArray[np.int64]
    """What lifetimes are alike by, such as the vehicle; shape (n,)."""

    @classmethod
    def of(cls, lower: ArrayLike, upper: ArrayLike, cluster: ArrayLike | None = None) -> Lifetimes:
        """Return lifetimes, those that say nothing (from 0 to infinity) left out.

        Parameters
        ----------
        lower, upper
            Shape (n,), in one unit.
        cluster
            Shape (n,); each lifetime its own if not given.

        Raises
        ------
        InputError
            If a bound is missing or negative, upper lies below lower, or upper is 0.
        """
        low, high = np.asarray(lower, dtype=np.float64), np.asarray(upper, dtype=np.float64)
        groups = np.arange(len(low)) if cluster is None else np.asarray(cluster)
        wrong = ~((low >= 0.0) & (high >= low) & (high > 0.0) & np.isfinite(low))
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            raise InputError(
                f"lifetime {at} lies between {low[at]:g} and {high[at]:g}",
                mend="Give a finite lower bound of 0 or more, and an upper bound above 0 that is not below it.",
            )
        telling = (low > 0.0) | np.isfinite(high)
        return cls(low[telling], high[telling], groups[telling].astype(np.int64))

    def __len__(self) -> int:
        """Return the number of lifetimes."""
        return len(self.lower)

    @property
    def n_left(self) -> int:
        """How many were over at the first look."""
        return int(((self.lower == 0.0) & np.isfinite(self.upper)).sum())

    @property
    def n_between(self) -> int:
        """How many crossed between two looks, or at a known distance."""
        return int(((self.lower > 0.0) & np.isfinite(self.upper)).sum())

    @property
    def n_right(self) -> int:
        """How many had not crossed at the last look."""
        return int(np.isinf(self.upper).sum())

    @property
    def n_crossed(self) -> int:
        """How many crossed at all."""
        return self.n_left + self.n_between

    @property
    def reach(self) -> float:
        """The greatest distance at which ``REACHED`` were looked at, or all if they are fewer; 0 without any."""
        seen = np.sort(np.where(np.isfinite(self.upper), self.upper, self.lower))
        return float(seen[-min(REACHED, len(seen))]) if len(seen) else 0.0

    def sample(self, most: int) -> Lifetimes:
        """Return so many of them at most, evenly spaced in their order."""
        n = len(self)
        rows = np.arange(n) if n <= most else np.linspace(0, n - 1, most).astype(np.int64)
        return Lifetimes(self.lower[rows], self.upper[rows], self.cluster[rows])

    def clusters_crossed(self) -> int:
        """Return of how many clusters a lifetime crossed."""
        return len(np.unique(self.cluster[np.isfinite(self.upper)]))
