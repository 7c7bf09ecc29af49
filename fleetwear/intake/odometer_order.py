"""Which dated odometer entries of a vehicle can all be true: pure functions on arrays.

Entries (t, o), a day and a distance, can follow one another when the distance does not fall and does not
rise faster than c km a day: o_i <= o_j and o_j - o_i <= c (t_j - t_i), with c for two entries of one day.
On different days this is the dominance order of (o, c t - o), so the largest set of entries that can all
be true is a longest chain of that order: found in O(n log n) by taking the entries by rising distance and
keeping the best chain so far by c t - o in a prefix-maximum tree. Entries of one day are few and are
compared directly.

References
----------
Fredman, M. L. (1975). On computing the length of longest increasing subsequences. Discrete Mathematics
11, 29-35.
Fenwick, P. M. (1994). A new data structure for cumulative frequency tables. Software: Practice and
Experience 24, 327-336.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

MAX_KM_PER_DAY = 2500.0
"""No vehicle goes further in a day: two drivers at highway speed around the clock stay below."""

GRID_KM = 0.1
"""Distances are compared on this grid, so that the same value in miles and in km is one."""

_COUNTS = 1 << 20
"""One entry more counts for more than any number of stored ones, which only decide between equals."""


def run_on(
    days: ArrayLike,
    odometer_km: ArrayLike,
    *,
    swap_days: ArrayLike,
    swap_old_km: ArrayLike,
    swap_new_km: ArrayLike,
) -> NDArray[np.float64]:
    """Return one vehicle's odometer values (n entries, km) as if the instrument had never been changed.

    Parameters
    ----------
    days, odometer_km
        Day numbers and values of the entries (n entries).
    swap_days, swap_old_km, swap_new_km
        Day, last value of the old and first value of the new instrument of each swap (m swaps). On the
        day of a swap an entry belongs to the instrument whose value is nearer.
    """
    days_, values = np.asarray(days, dtype=np.int64), np.asarray(odometer_km, dtype=np.float64)
    swaps = np.asarray(swap_days, dtype=np.int64)
    old, new = np.asarray(swap_old_km, dtype=np.float64), np.asarray(swap_new_km, dtype=np.float64)
    nearer_new = np.abs(values[:, None] - new) < np.abs(values[:, None] - old)
    after = (days_[:, None] > swaps) | ((days_[:, None] == swaps) & nearer_new)
    shift: NDArray[np.float64] = np.where(after, old - new, 0.0).sum(axis=1)
    return values + shift


def contradicted(
    vehicles: ArrayLike, days: ArrayLike, odometer_km: ArrayLike, *, max_km_per_day: float = MAX_KM_PER_DAY
) -> NDArray[np.int64]:
    """Return the vehicles (sorted, unique) whose entries cannot all be true.

    Parameters
    ----------
    vehicles, days, odometer_km
        Vehicle numbers, day numbers and distances (n entries, any order).
    """
    vehicles_ = np.asarray(vehicles, dtype=np.int64)
    days_, values = np.asarray(days, dtype=np.int64), np.asarray(odometer_km, dtype=np.float64)
    order = np.lexsort((values, days_, vehicles_))
    v, t, o = vehicles_[order], days_[order], values[order]
    rise, span = np.diff(o), np.maximum(np.diff(t), 1)
    wrong = (np.diff(v) == 0) & ((rise < 0) | (rise > max_km_per_day * span))
    return np.unique(v[1:][wrong])


def largest_chain(
    days: ArrayLike, odometer_km: ArrayLike, stored: ArrayLike, *, max_km_per_day: float = MAX_KM_PER_DAY
) -> NDArray[np.bool_]:
    """Return which entries of one vehicle (n entries) form a largest set that can all be true.

    Parameters
    ----------
    days, odometer_km
        Day numbers and distances (n entries, any order).
    stored
        Whether an entry is in the store already; of equally large sets, one with the most of these wins.
    """
    t, o = np.asarray(days, dtype=np.int64), np.asarray(odometer_km, dtype=np.float64)
    n = len(t)
    ahead = max_km_per_day * t - o
    rank = np.unique(ahead, return_inverse=True)[1].reshape(-1) + 1
    worth = _COUNTS + np.asarray(stored, dtype=np.int64)
    order = np.lexsort((t, o))
    best = np.zeros(n, dtype=np.int64)
    before = np.full(n, -1, dtype=np.int64)
    tree = _PrefixMaximum(int(rank.max(initial=0)))
    same_day: dict[int, list[int]] = defaultdict(list)
    for j in order.tolist():
        score, i = tree.best(int(rank[j]))
        for k in same_day[int(t[j])]:
            if o[j] - o[k] <= max_km_per_day and best[k] > score:
                score, i = int(best[k]), k
        best[j], before[j] = score + int(worth[j]), i
        tree.put(int(rank[j]), int(best[j]), j)
        same_day[int(t[j])].append(j)
    chain = np.zeros(n, dtype=np.bool_)
    at = int(best.argmax()) if n else -1
    while at >= 0:
        chain[at] = True
        at = int(before[at])
    return chain


class _PrefixMaximum:
    """The best (score, entry) over ranks up to a given one, updated as entries come: a Fenwick tree."""

    def __init__(self, size: int) -> None:
        self._score = [0] * (size + 1)
        self._entry = [-1] * (size + 1)

    def best(self, rank: int) -> tuple[int, int]:
        score, entry = 0, -1
        while rank > 0:
            if self._score[rank] > score:
                score, entry = self._score[rank], self._entry[rank]
            rank -= rank & -rank
        return score, entry

    def put(self, rank: int, score: int, entry: int) -> None:
        while rank < len(self._score):
            if score > self._score[rank]:
                self._score[rank], self._entry[rank] = score, entry
            rank += rank & -rank
