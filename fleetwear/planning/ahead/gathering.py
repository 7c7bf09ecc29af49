"""Gathering: draws of many rows into draws of the groups that they belong to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Integers


def any_of(draws: NDArray[np.bool_], group: Integers, n_groups: int) -> NDArray[np.bool_]:
    """Return whether any row of each group holds, draw by draw, (n_groups, K); False for a group without rows.

    Parameters
    ----------
    draws
        (n, K)
    group
        The group of each row, 0 .. n_groups - 1, in any order, (n,).
    n_groups
        How many groups there are.
    """
    gathered = np.zeros((n_groups, draws.shape[1]), dtype=bool)
    if len(group):
        order = np.argsort(group, kind="stable")
        codes, starts = np.unique(group[order], return_index=True)
        gathered[codes] = np.logical_or.reduceat(draws[order], starts, axis=0)
    return gathered
