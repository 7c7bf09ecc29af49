"""The design of a comparison: strata, factors and their levels, and which of them the lives can tell apart."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers

LEAST_LIVES, LEAST_CLUSTERS = 5, 3
"""Lives, and clusters, that a level or stratum needs before it is estimated."""

_ALIASED = 1e-8


@dataclass(frozen=True)
class Factor:
    """What lives differ in: the level of each of J lives."""

    name: str
    levels: tuple[str, ...]
    codes: Integers
    """Places in ``levels``, shape (J,)."""
    reference: str = ""
    """The level that others are compared with; the one with most lives if empty, or left out as thin."""

    def take(self, rows: NDArray[np.bool_] | Integers) -> Factor:
        """Return the factor of some of the lives, under the same codes."""
        return replace(self, codes=self.codes[rows])

    @property
    def n_lives(self) -> Integers:
        """The number of lives of each level."""
        return np.bincount(self.codes, minlength=len(self.levels)).astype(np.int64)

    def n_clusters(self, cluster: Integers) -> Integers:
        """Return the number of clusters with a life of each level."""
        pairs = np.unique(np.stack([self.codes, cluster]), axis=1)[0]
        return np.bincount(pairs, minlength=len(self.levels)).astype(np.int64)


@dataclass(frozen=True)
class Design:
    """Columns of zeros and ones: one a stratum, and one a level of each factor but its reference.

    Columns that others make up are left out of ``kept``; ``confounded`` holds every way in which they do.
    """

    labels: tuple[tuple[str, str], ...]
    """Factor ("" for strata) and level of each column."""
    references: dict[str, str]
    """The level of each factor that has no column."""
    matrix: Floats
    """Shape (J, q)."""
    kept: Integers
    """Places of independent columns that span all."""
    confounded: NDArray[np.float64]
    """Null space of the matrix, shape (q, k)."""

    @property
    def columns(self) -> Floats:
        """The independent columns, shape (J, r)."""
        return self.matrix[:, self.kept]

    def contrast(self, factor: str, weights: dict[str, float]) -> Floats:
        """Return the coefficients of a contrast of levels in all columns, shape (q,)."""
        return np.array([weights.get(level, 0.0) if name == factor else 0.0 for name, level in self.labels])

    def confounded_with(self, contrast: Floats, factor: str) -> tuple[str, ...]:
        """Return the names of the factors that a contrast cannot be told apart from; none if it can be.

        A contrast is estimable where no change of the coefficients that leaves every life as it is changes it.
        """
        along = contrast @ self.confounded
        if np.abs(along).max(initial=0.0) < _ALIASED**0.5:
            return ()
        # the change that moves the contrast most: factors whose levels it moves apart are mixed up with it
        moved = self.confounded @ along
        names = []
        for name in dict.fromkeys(label for label, _ in self.labels):
            own = moved[[label == name for label, _ in self.labels]]
            levels = own if name == "" else np.append(own, 0.0)
            if float(np.ptp(levels)) > 1e-6 and name != factor:
                names.append(name or "load direction")
        return tuple(names) or (factor,)


def make_design(stratum: Integers, stratum_names: Sequence[str], factors: Sequence[Factor]) -> Design:
    """Return the design of lives; levels and strata without lives have no column.

    Parameters
    ----------
    stratum
        The stratum of each life, shape (J,).
    stratum_names
        Their names.
    factors
        The factors of the same lives.
    """
    labels: list[tuple[str, str]] = []
    columns: list[Floats] = []
    references = {}
    for code in np.unique(stratum):
        labels.append(("", stratum_names[code]))
        columns.append((stratum == code).astype(np.float64))
    for factor in factors:
        counts = factor.n_lives
        wished = factor.levels.index(factor.reference) if factor.reference in factor.levels else -1
        reference = wished if wished >= 0 and counts[wished] else int(counts.argmax())
        references[factor.name] = factor.levels[reference]
        for code in np.flatnonzero(counts):
            if code != reference:
                labels.append((factor.name, factor.levels[code]))
                columns.append((factor.codes == code).astype(np.float64))
    matrix = np.stack(columns, axis=1)
    values, vectors = np.linalg.eigh(matrix.T @ matrix)
    null = vectors[:, values < _ALIASED * max(float(values[-1]), 1.0)]
    return Design(tuple(labels), references, matrix, _independent(matrix), null)


def _independent(matrix: Floats) -> Integers:
    """Return the places of the columns that are not made up of columns before them."""
    kept: list[int] = []
    basis = np.empty((len(matrix), 0))
    for at in range(matrix.shape[1]):
        column = matrix[:, at]
        rest = column - basis @ (basis.T @ column)
        rest = rest - basis @ (basis.T @ rest)
        size = float(np.linalg.norm(rest))
        if size > 1e-6 * float(np.linalg.norm(column)):
            kept.append(at)
            basis = np.column_stack([basis, rest / size])
    return np.array(kept, dtype=np.int64)


def enough(
    stratum: Integers, n_strata: int, factors: Sequence[Factor], cluster: Integers
) -> tuple[NDArray[np.bool_], set[tuple[str, int]]]:
    """Return which lives stay once thin strata and levels are left out, shape (J,), and what is thin.

    Leaving out the lives of one thin level can make another thin, so this goes on until nothing changes.
    Thin things are named by their factor ("" for strata) and code; a level without any life is not among them.
    """
    strata = Factor("", tuple(map(str, range(n_strata))), stratum)
    keep = np.ones(len(stratum), dtype=bool)
    thin: set[tuple[str, int]] = set()
    while True:
        found = set()
        for factor in (strata, *factors):
            some = factor.take(keep)
            lives, clusters = some.n_lives, some.n_clusters(cluster[keep])
            few = (lives > 0) & ((lives < LEAST_LIVES) | (clusters < LEAST_CLUSTERS))
            found |= {(factor.name, int(code)) for code in np.flatnonzero(few)}
        if not found:
            return keep, thin
        thin |= found
        for factor in (strata, *factors):
            codes = [code for name, code in found if name == factor.name]
            keep &= ~np.isin(factor.codes, codes)
