"""The cells of a study: what every person read at every joint, as counts, means, ranges and scatter within.

Cell means and the scatter within cells are all that normal readings of a crossed study tell (they are sufficient),
so every method works from them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

from fleetwear.errors import FitError, InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

MAX_CELLS = 1_000
"""The largest number of joints times people."""


@dataclass(frozen=True)
class Cells:
    """A crossed study of n joints and k people.

    Attributes
    ----------
    joints, people
        Their names, sorted (n, k).
    counts, means, ranges
        Strokes, mean and range of each cell, (n, k); means and ranges of empty cells are nan.
    within_ss, within_df
        Sum of squares of strokes about their cell's mean, and its degrees of freedom.
    """

    joints: tuple[str, ...]
    people: tuple[str, ...]
    counts: NDArray[np.int64]
    means: Floats
    ranges: Floats
    within_ss: float
    within_df: int

    @property
    def n_readings(self) -> int:
        """How many readings there are."""
        return int(self.counts.sum())

    @property
    def is_balanced(self) -> bool:
        """Whether every person read every joint, all with the same number of strokes."""
        return bool((self.counts == self.counts.flat[0]).all())

    @property
    def mean(self) -> float:
        """The mean of all readings."""
        return float(np.nansum(self.means * self.counts) / self.counts.sum())


def gather(joint: ArrayLike, person: ArrayLike, play: ArrayLike) -> Cells:
    """Return the cells of readings.

    Parameters
    ----------
    joint, person
        What was read and who read it, one a reading; compared as text.
    play
        The readings.

    Raises
    ------
    InputError
        If the arrays differ in length or a reading is not a finite number.
    FitError
        If there are fewer than two joints, no repeats of any sort, or people who share no joints.
    """
    joints, people = np.asarray(joint).astype(str), np.asarray(person).astype(str)
    values = np.asarray(play, dtype=np.float64)
    if not joints.shape == people.shape == values.shape or values.ndim != 1:
        raise InputError(
            f"{joints.size} joints, {people.size} people and {values.size} readings do not go together",
            mend="Give one joint, one person and one number for each reading.",
        )
    if not np.isfinite(values).all():
        place = int(np.flatnonzero(~np.isfinite(values))[0])
        raise InputError(f"reading {place + 1} is {values[place]}", mend="Leave it out, or give the number.")
    frame = pd.DataFrame({"joint": joints, "person": people, "play": values})
    names, who = tuple(sorted(set(joints))), tuple(sorted(set(people)))
    if len(names) * len(who) > MAX_CELLS:
        raise InputError(
            f"{len(names)} joints times {len(who)} people are more than {MAX_CELLS} cells",
            mend="Study fewer joints or people at a time.",
        )
    table = frame.groupby(["joint", "person"])["play"].agg(["count", "mean", "max", "min"])
    full = pd.MultiIndex.from_product([names, who])
    table = table.reindex(full)
    shape = (len(names), len(who))
    counts = table["count"].fillna(0).to_numpy(np.int64).reshape(shape)
    means = table["mean"].to_numpy(np.float64).reshape(shape)
    ranges = (table["max"] - table["min"]).to_numpy(np.float64).reshape(shape)
    centred = frame["play"] - frame.groupby(["joint", "person"])["play"].transform("mean")
    within_ss = float((centred**2).sum())
    if within_ss <= 1e-24 * float((values**2).sum()):
        within_ss = 0.0  # the rounding of means of equal numbers
    cells = Cells(names, who, counts, means, ranges, within_ss, int(counts.sum() - (counts > 0).sum()))
    _check(cells)
    return cells


def _check(cells: Cells) -> None:
    if len(cells.joints) < 2:
        raise FitError(
            f"the study has {len(cells.joints)} joint{'' if len(cells.joints) == 1 else 's'}",
            mend="Read at least two joints, better ten, that span what you meet.",
        )
    rank = int(np.linalg.matrix_rank(additive_design(cells)))
    if rank < len(cells.joints) + len(cells.people) - 1:
        raise FitError(
            "people and joints fall apart into groups that share none, so people cannot be told from joints",
            mend="Let every person read every joint, or at least some joints of the others.",
        )
    if cells.n_readings <= rank:
        raise FitError(
            f"{cells.n_readings} readings of {len(cells.joints)} joints by {len(cells.people)} people hold no repeats",
            mend="Take at least two strokes of each joint, each with a fresh setup of lever and indicator.",
        )


def additive_design(cells: Cells) -> Floats:
    """Return the columns of joints and people for the filled cells, (filled cells, n + k)."""
    i, j = np.nonzero(cells.counts)
    out = np.zeros((i.size, len(cells.joints) + len(cells.people)))
    out[np.arange(i.size), i] = 1.0
    out[np.arange(i.size), len(cells.joints) + j] = 1.0
    return out


def interaction_test(cells: Cells) -> tuple[float, int, float, float]:
    """Return sum of squares, degrees of freedom, F and p of the interaction of joints and people.

    F compares what an additive fit of cell means leaves with the scatter within cells; it is exact for unbalanced
    studies too and the usual one for balanced ones. F and p are nan where one of the two has no degrees of freedom.
    """
    filled = cells.counts > 0
    root = np.sqrt(cells.counts[filled].astype(np.float64))
    design, target = additive_design(cells) * root[:, None], cells.means[filled] * root
    coefficients, _, rank, _ = np.linalg.lstsq(design, target, rcond=None)
    left = float(((target - design @ coefficients) ** 2).sum())
    if left <= 1e-24 * float((target**2).sum()):
        left = 0.0  # rounding, as in the scatter within cells
    df = int(filled.sum() - rank)
    if df == 0 or cells.within_df == 0 or cells.within_ss == 0.0:
        return left, df, float("nan"), float("nan")
    f = left / df / (cells.within_ss / cells.within_df)
    return left, df, f, float(stats.f.sf(f, df, cells.within_df))
