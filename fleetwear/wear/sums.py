"""Sufficient statistics: what a life's readings say to the mixed model, in seven numbers.

For readings y_i of one life at growth values g_i, with relative error variance v_i and w_i = 1 / v_i::

    w = sum w_i            wg = sum w_i g_i        wgg = sum w_i g_i^2
    wy = sum w_i y_i       wgy = sum w_i g_i y_i   wyy = sum w_i y_i^2
    log_v = sum log v_i    n = number of readings

Sums from two halves of a fleet add up. They are taken of g scaled to order one (a distance over a
reference distance near the fleet's mean), so that squares of 500,000 km lose no digits.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from fleetwear.errors import InputError
from fleetwear.wear.shapes import power

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]


@dataclass(frozen=True)
class LifeSums:
    """The sums of J lives, each an array of shape (J,)."""

    n: Floats
    w: Floats
    wg: Floats
    wgg: Floats
    wy: Floats
    wgy: Floats
    wyy: Floats
    log_v: Floats

    def __len__(self) -> int:
        return len(self.n)

    def take(self, rows: NDArray[np.bool_] | Integers | slice) -> LifeSums:
        """Return the sums of some of the lives, chosen by a mask or by positions."""
        return LifeSums(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})

    def centred(self, centre: float, spread: float) -> LifeSums:
        """Return the sums of (g - centre) / spread in place of g."""
        wg = (self.wg - centre * self.w) / spread
        wgg = (self.wgg - 2.0 * centre * self.wg + centre**2 * self.w) / spread**2
        wgy = (self.wgy - centre * self.wy) / spread
        return LifeSums(self.n, self.w, wg, wgg, self.wy, wgy, self.wyy, self.log_v)

    def without_growth(self) -> LifeSums:
        """Return the sums of g = 0 in place of g: play that does not grow."""
        zero = np.zeros_like(self.w)
        return LifeSums(self.n, self.w, zero, zero, self.wy, zero, self.wyy, self.log_v)

    @classmethod
    def empty(cls, n_lives: int) -> LifeSums:
        """Return the sums of lives without a reading."""
        return cls(*(np.zeros(n_lives) for _ in fields(cls)))


class Readings(Protocol):
    """Anything that can give the sums of its lives at a growth exponent, and its readings as arrays."""

    @property
    def n_lives(self) -> int:
        """The number of lives J."""

    @property
    def mean_distance(self) -> float:
        """The mean distance of all readings, the reference distance of the growth shapes."""

    def sums(self, exponent: float, reference: float) -> LifeSums:
        """Return the sums with g = (distance / reference) ^ exponent, one row a life."""

    def arrays(self) -> ReadingArrays:
        """Return the readings themselves, sorted by life and distance."""


@dataclass(frozen=True)
class ReadingArrays:
    """Readings as flat arrays of shape (n,), sorted by life and distance; life runs from 0 to J - 1."""

    life: Integers
    distance: Floats
    play: Floats
    """What was read; anything finite where nothing was measured."""
    variance_ratio: Floats
    n_lives: int
    count: Floats | None = None
    """How much of a reading each counts as toward the residual variance; one where not given."""
    log_ratio: Floats | None = None
    """What each adds to log_v; the log of its variance ratio where not given."""
    seen: NDArray[np.int8] | None = None
    """0 measured, -1 none seen, 1 seen but not measured; all measured where not given."""
    method: Integers | None = None
    """Position of each reading's method; all of one method where not given."""
    half: Floats | None = None
    """Half the resolution that a reading was rounded to, 0 where it counts as exact."""

    @property
    def plain(self) -> bool:
        """Whether every reading is a number with a normal error about the true play, of one method."""
        return self.seen is None and self.method is None and self.half is None

    @property
    def mean_distance(self) -> float:
        """The mean distance of all readings, or 1 if all are zero."""
        return float(self.distance.mean()) or 1.0 if len(self.distance) else 1.0

    def arrays(self) -> ReadingArrays:
        """Return itself."""
        return self

    def of_lives(self, chosen: NDArray[np.bool_]) -> ReadingArrays:
        """Return the readings of lives chosen by a mask, shape (J,), under the same codes."""
        return self.chosen(chosen[self.life])

    def chosen(self, rows: NDArray[np.bool_] | Integers) -> ReadingArrays:
        """Return the readings of a mask, or at positions, the lives under the same codes."""
        given = {field.name: getattr(self, field.name) for field in fields(self)}
        taken: dict[str, Any] = {name: values[rows] for name, values in given.items() if isinstance(values, np.ndarray)}
        return replace(self, **taken)

    def only(self, chosen: NDArray[np.bool_]) -> ReadingArrays:
        """Return the readings of lives chosen by a mask, shape (J,), the lives numbered anew in their order."""
        if chosen.all():
            return self
        number = np.cumsum(chosen) - 1
        kept = self.of_lives(chosen)
        return replace(kept, life=number[kept.life], n_lives=int(chosen.sum()))

    def pasts(self, rows: Integers) -> ReadingArrays:
        """Return the past of some readings, each as a life of its own: the earlier readings (see :meth:`before`)."""
        life_start, visit_start = self._starts
        first, counts = life_start[rows], visit_start[rows] - life_start[rows]
        number = np.repeat(np.arange(len(rows)), counts)
        source = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts) + first[number]
        return replace(self.chosen(source), life=number, n_lives=len(rows))

    def total(self, values: Floats) -> Floats:
        """Return the sum over each life's readings, shape (J,), of values of shape (n,)."""
        return np.bincount(self.life, weights=values, minlength=self.n_lives).astype(np.float64, copy=False)

    @cached_property
    def _starts(self) -> tuple[Integers, Integers]:
        """Where the life, and the visit, of each reading start, shape (n,)."""
        n = len(self.life)
        new_life = np.ones(n, dtype=bool)
        new_life[1:] = self.life[1:] != self.life[:-1]
        new_visit = new_life.copy()
        new_visit[1:] |= self.distance[1:] != self.distance[:-1]
        place = np.arange(n)
        return (
            np.maximum.accumulate(np.where(new_life, place, 0)),
            np.maximum.accumulate(np.where(new_visit, place, 0)),
        )

    @property
    def visit_starts(self) -> Integers:
        """Position of the first reading at the distance of each reading in its life, shape (n,)."""
        return self._starts[1]

    def before(self, values: Floats) -> Floats:
        """Return, for each reading, the sum over the readings of its life at shorter distances, shape (n,).

        Readings at one distance (strokes of one visit) are not earlier than each other.
        """
        life_start, visit_start = self._starts
        running = np.concatenate([[0.0], np.cumsum(values)])
        return np.where(visit_start > life_start, running[visit_start] - running[life_start], 0.0)

    def sums(self, exponent: float, reference: float) -> LifeSums:
        """Return the sums with g = (distance / reference) ^ exponent, one row a life."""
        return self._summed(self.total, exponent, reference)

    def earlier_sums(self, exponent: float, reference: float) -> LifeSums:
        """Return, for each reading, the sums over earlier readings of its life (see :meth:`before`)."""
        return self._summed(self.before, exponent, reference)

    def _summed(self, add: Callable[[Floats], Floats], exponent: float, reference: float) -> LifeSums:
        g = power(self.distance, exponent, reference)
        w = 1.0 / self.variance_ratio
        wg, wy = w * g, w * self.play
        return LifeSums(
            n=add(np.ones_like(w) if self.count is None else self.count),
            w=add(w),
            wg=add(wg),
            wgg=add(wg * g),
            wy=add(wy),
            wgy=add(wg * self.play),
            wyy=add(wy * self.play),
            log_v=add(np.log(self.variance_ratio) if self.log_ratio is None else self.log_ratio),
        )


def evenly(n: int, most: int) -> NDArray[np.bool_]:
    """Return which of n things are taken where at most so many are: all, or evenly spaced ones, shape (n,)."""
    if n <= most:
        return np.ones(n, dtype=bool)
    chosen = np.zeros(n, dtype=bool)
    chosen[np.linspace(0, n - 1, most).astype(np.int64)] = True
    return chosen


def joined(parts: list[ReadingArrays], *, n_lives: int) -> ReadingArrays:
    """Return readings of several parts as one, their lives in order under common codes."""
    first = parts[0]
    columns: dict[str, Any] = {
        field.name: np.concatenate([getattr(part, field.name) for part in parts])
        for field in fields(ReadingArrays)
        if isinstance(getattr(first, field.name), np.ndarray)
    }
    return replace(first, **columns, n_lives=n_lives)


def reading_arrays(
    life: Integers,
    distance: ArrayLike,
    play: ArrayLike,
    *,
    n_lives: int,
    variance_ratio: ArrayLike | None = None,
    seen: NDArray[np.int8] | None = None,
    method: Integers | None = None,
    resolution: ArrayLike | None = None,
) -> ReadingArrays:
    """Return checked readings sorted by life and distance.

    Parameters
    ----------
    life
        Life of each reading, 0 to J - 1, shape (n,).
    distance, play
        Distance since installation (>= 0) and play, finite, shape (n,).
    n_lives
        J.
    variance_ratio
        Error variance of each reading over the residual variance, > 0; 1 where not given.
    seen
        0 where play was measured, -1 where none was seen, 1 where it was seen but not measured, shape (n,); the
        play of the latter two is not looked at.
    method
        Position of each reading's method, shape (n,).
    resolution
        What each reading was rounded to, in the unit of play, >= 0, one for all or one a reading; 0 or nan where
        it counts as exact.

    Raises
    ------
    InputError
        If lengths differ or values are not finite, naming the first offending reading.
    """
    x, y = as_numbers("distance", distance), as_numbers("play", play)
    if seen is not None and seen.shape == y.shape:
        y = np.where(seen == 0, y, 0.0)
        seen = seen if seen.any() else None
    half = None
    if resolution is not None:
        half = np.nan_to_num(np.broadcast_to(as_numbers("resolution", resolution), y.shape)) / 2.0
    v = np.ones_like(y) if variance_ratio is None else as_numbers("variance_ratio", variance_ratio)
    if not (x.shape == y.shape == v.shape == life.shape and x.ndim == 1):
        raise InputError(
            f"life, distance, play and variance_ratio have shapes {life.shape}, {x.shape}, {y.shape}, {v.shape}",
            mend="Give flat arrays of one length, one element a reading.",
        )
    for name, values, good, rule in (
        ("distance", x, np.isfinite(x) & (x >= 0), "finite and not negative"),
        ("play", y, np.isfinite(y), "finite"),
        ("variance_ratio", v, np.isfinite(v) & (v > 0), "finite and positive"),
        *((("resolution", half, half >= 0.0, "0 or more"),) if half is not None else ()),
    ):
        if not good.all():
            at = np.flatnonzero(~good)
            where = f"reading {at[0]}" + (f" and {len(at) - 1} more" if len(at) > 1 else "")
            raise InputError(f"{name} is {values[at[0]]}", where=where, mend=f"Every {name} must be {rule}.")
    half = half if half is not None and half.any() else None
    readings = ReadingArrays(life.astype(np.int64), x, y, v, n_lives, seen=seen, method=method, half=half)
    behind = life[1:] < life[:-1]
    behind |= (life[1:] == life[:-1]) & (x[1:] < x[:-1])
    return readings.chosen(np.lexsort((x, life))) if behind.any() else readings


def as_numbers(name: str, values: ArrayLike) -> Floats:
    """Return values as an array of floats, or raise InputError saying what cannot be one."""
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} is not numeric ({error})", mend=f"Give {name} as numbers.") from error
