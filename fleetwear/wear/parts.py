"""A fleet in parts: what each part says to the solver, in arrays that add up over parts.

With x = (1, P_11, P_12, P_22, e_1, e_2) of a life (see module ``criterion``; e here is that of its readings less a
line that its whole cohort shares), the criterion, its gradient and its second derivatives by T need no more of the
lives of a cohort than the sums of y' V^-1 y, of log |I + S T|, and of products of the elements of x, three at most::

    dP = -P dT P      de = -P dT e      d(y' V^-1 y) = -e' dT e      d log |I + S T| = tr(P dT)

and the same again, so that second derivatives are of third degree. A step of the iteration is one array a cohort
from every part, whatever the number of lives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from fleetwear.wear.checks import scatter
from fleetwear.wear.criterion import marginalise
from fleetwear.wear.mixed_model import OwnLines, own_lines
from fleetwear.wear.sums import LifeSums

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers

_BLOCK = 4_096
"""Lives whose products are made together: so many stay in the processor's cache."""

_LEFT, _RIGHT = 6, 17
N_MOMENTS = _LEFT * _RIGHT + 2
"""Numbers that a cohort takes at one step."""


class Parted(Protocol):
    """Parts of a fleet, wherever they lie: asked one by one, always told in the same order."""

    def ask(self, task: Callable[..., Any], *arguments: object) -> list[Any]:
        """Return what ``task(part, *arguments)`` gives, part by part."""

    def keep(self, task: Callable[..., Any], *arguments: object) -> Parted:
        """Return the same parts as what the task makes of each, kept where the part lies."""


@dataclass(frozen=True)
class HeldParts:
    """Parts in this process's own memory."""

    parts: Sequence[Any]

    def ask(self, task: Callable[..., Any], *arguments: object) -> list[Any]:
        """Return what the task gives, part by part."""
        return [task(part, *arguments) for part in self.parts]

    def keep(self, task: Callable[..., Any], *arguments: object) -> HeldParts:
        """Return what the task makes of each part."""
        return HeldParts(self.ask(task, *arguments))


@dataclass(frozen=True)
class PartSums:
    """The sums of the lives of one part, sorted by cohort."""

    sums: LifeSums
    starts: Integers
    """Where the lives of each of the fleet's C cohorts begin, and where the last ends, shape (C + 1,)."""

    @classmethod
    def of(cls, sums: LifeSums, cohort: Integers, n_cohorts: int) -> PartSums:
        """Return the sums of lives of these cohorts, shape (J,), sorted."""
        order = np.argsort(cohort, kind="stable")
        return cls(sums.take(order), np.searchsorted(cohort[order], np.arange(n_cohorts + 1)).astype(np.int64))

    def cohorts(self) -> list[tuple[int, slice]]:
        """Return every cohort that has lives here, with their places."""
        present = np.flatnonzero(np.diff(self.starts))
        return [(int(c), slice(int(self.starts[c]), int(self.starts[c + 1]))) for c in present]


@dataclass(frozen=True)
class CohortTotals:
    """Sums over the lives of each of C cohorts."""

    sums: LifeSums
    lives: Floats
    """Lives with a reading, shape (C,)."""

    @classmethod
    def joined(cls, parts: list[CohortTotals]) -> CohortTotals:
        """Return the totals of several parts, added in their order."""
        names = LifeSums.__dataclass_fields__
        columns = {name: total([getattr(part.sums, name) for part in parts]) for name in names}
        return cls(LifeSums(**columns), total([part.lives for part in parts]))


def total(arrays: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return the sum of arrays of one shape, added in their order."""
    added = np.zeros_like(arrays[0])
    for array in arrays:
        added += array
    return added


def cohort_totals(part: PartSums) -> CohortTotals:
    """Return what the lives of each cohort come to."""
    n_cohorts = len(part.starts) - 1
    totals = LifeSums.empty(n_cohorts)
    lives = np.zeros(n_cohorts)
    for cohort, rows in part.cohorts():
        for name in LifeSums.__dataclass_fields__:
            getattr(totals, name)[cohort] = getattr(part.sums, name)[rows].sum()
        lives[cohort] = np.count_nonzero(part.sums.n[rows])
    return CohortTotals(totals, lives)


def part_scatter(part: PartSums) -> Floats:
    """Return what :func:`fleetwear.wear.checks.scatter` gives of the part, shape (3,)."""
    return np.array(scatter(part.sums, level=False), dtype=np.float64)


def part_lines(part: PartSums) -> OwnLines:
    """Return what the lives' own lines say."""
    return own_lines(part.sums)


def centred(part: PartSums, centre: float, spread: float) -> PartSums:
    """Return the sums of (g - centre) / spread in place of g."""
    return PartSums(part.sums.centred(centre, spread), part.starts)


def moments(part: PartSums, T: NDArray[np.float64], about: Floats) -> Floats:
    """Return what each cohort's lives say of the criterion at T, shape (C, N_MOMENTS); zero without lives.

    ``about`` holds the line that each cohort's readings are taken from, shape (C, 2): the nearer to the mean line of
    the answer, the fewer digits are lost. The answer does not depend on it.
    """
    found = np.zeros((len(part.starts) - 1, N_MOMENTS))
    for cohort, rows in part.cohorts():
        for first in range(rows.start, rows.stop, _BLOCK):
            block = part.sums.take(np.arange(first, min(first + _BLOCK, rows.stop)))
            found[cohort] += _block_moments(block, T, about[cohort])
    return found


def _block_moments(sums: LifeSums, T: NDArray[np.float64], about: Floats) -> Floats:
    m = marginalise(sums, T)
    b1, b2 = (float(value) for value in about)
    pb1, pb2 = m.p11 * b1 + m.p12 * b2, m.p12 * b1 + m.p22 * b2
    yy = m.yy - 2.0 * (b1 * m.e1 + b2 * m.e2) + b1 * pb1 + b2 * pb2
    left = np.empty((_LEFT, len(sums)))
    left[0] = 1.0
    left[1], left[2], left[3] = m.p11, m.p12, m.p22
    left[4], left[5] = m.e1 - pb1, m.e2 - pb2
    p, e = left[1:4], left[4:6]
    right = np.empty((_RIGHT, len(sums)))
    right[:5] = left[1:]
    for k, (i, j) in enumerate(_PAIRS):
        np.multiply(p[i], p[j], out=right[5 + k])
    np.multiply(p[:, None, :], e[None, :, :], out=right[11:].reshape(3, 2, -1))
    return np.concatenate([(left @ right.T).ravel(), [yy.sum(), m.log_det.sum()]])


_PAIRS = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)]
_PLACE = np.array([[0, 1, 2], [1, 3, 4], [2, 4, 5]])
"""Where the product of two elements of P stands among the pairs."""
_P = np.array([[0, 1], [1, 2]])
"""Which element of (P_11, P_12, P_22) stands where in P."""


@dataclass(frozen=True)
class Moments:
    """Sums over the lives of each of G groups, of matrices P, vectors e and scalars; the first axis is the group."""

    p: Floats
    e: Floats
    pp: Floats
    """Of P_ab P_cd, shape (G, 2, 2, 2, 2); the others in the same manner."""
    pe: Floats
    ee: Floats
    ppp: Floats
    ppe: Floats
    epe: Floats
    """Of e_a P_bc e_d."""
    yy: Floats
    log_det: Floats

    @classmethod
    def of(cls, found: Floats) -> Moments:
        """Return the moments in what :func:`moments` gave, summed over parts and cohorts, shape (G, N_MOMENTS)."""
        block = found[:, :-2].reshape(-1, _LEFT, _RIGHT)
        p, q = _P, _PLACE[_P[:, :, None, None], _P[None, None]]
        pe = block[:, :, 11:].reshape(-1, _LEFT, 3, 2)
        return cls(
            p=block[:, 0, :3][:, p],
            e=block[:, 0, 3:5],
            pp=block[:, 0, 5:11][:, q],
            pe=pe[:, 0][:, p],
            ee=block[:, 4:, 3:5],
            ppp=block[:, 1:4, 5:11][:, p[:, :, None, None, None, None], q[None, None]],
            ppe=pe[:, 1:4][:, p[:, :, None, None], p[None, None]],
            epe=pe[:, 4:][:, :, p],
            yy=found[:, -2],
            log_det=found[:, -1],
        )
