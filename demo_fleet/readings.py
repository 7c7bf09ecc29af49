"""What was read of each joint's true play: how it was tested, the setup's error, each stroke's error.

A measured stroke is (true play * factor + offset + setup error + stroke error), rounded to what the
shop's indicator shows, and never below zero. In a slipped setup most of the travel is lost, or a little
is added. By eye, play is seen with a probability that rises around 0.25 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.catalogue import DEPOTS
from fleetwear.vocabulary import Kind, Method, ReadAt, Result, Support

if TYPE_CHECKING:
    from numpy.typing import NDArray

SETUP_SD_MM = 0.04
STROKE_SD_MM = 0.01
SLIPPED_SHARE = 0.03
SLIPPED_LOW_SHARE = 0.85
SEEN_AT_MM = 0.25
SEEN_SD_MM = 0.06

METHODS = (Method.LEVER_UNDER_TYRE, Method.JACK_AND_UNLOAD, Method.PRY_BAR, Method.HAND_ROCK)
METHOD_SHARES = (0.78, 0.12, 0.10, 0.0)
METHOD_OFFSETS_MM = (0.0, 0.03, -0.02, 0.0)
READ_AT = (ReadAt.JOINT, ReadAt.TYRE_TREAD)
READ_AT_SHARES = (0.96, 0.04)
READ_AT_FACTORS = (1.0, 1.2)

_LEVER, _JACK, _PRY, _HAND = range(4)
_BY_EYE_SHARE = 0.08
_LEFT_UNMEASURED_SHARE = 0.2
"""Of what is seen by eye, the share for which no indicator is set up after all."""
_STROKES_SHARES = (0.90, 0.07, 0.03)
_SECOND_SESSION_SHARE = 0.02
_HAND_ROCKED = (Kind.WHEEL_BEARING, Kind.TIE_ROD_END, Kind.STABILIZER_LINK)


@dataclass(frozen=True)
class Readings:
    """Strokes and results, one a row; every array of shape (readings,).

    ``play_mm`` is what the indicator showed and nan where nothing was measured, ``true_mm`` the true play,
    ``expected_mm`` what an errorless setup by that method would have shown. ``method``, ``read_at`` and
    ``result`` are places in ``METHODS``, ``READ_AT`` and ``list(Result)``; ``timing`` is 0 where no work
    was done on the joint at that visit, 1 before it, 2 after it.
    """

    visit: NDArray[np.int64]
    series: NDArray[np.int64]
    life: NDArray[np.int64]
    method: NDArray[np.int64]
    loaded: NDArray[np.bool_]
    read_at: NDArray[np.int64]
    session: NDArray[np.int64]
    stroke: NDArray[np.int64]
    result: NDArray[np.int64]
    timing: NDArray[np.int64]
    slipped: NDArray[np.bool_]
    play_mm: NDArray[np.float64]
    true_mm: NDArray[np.float64]
    expected_mm: NDArray[np.float64]

    def take(self, rows: NDArray[np.int64]) -> Readings:
        """Return the readings of those rows, in that order."""
        return Readings(**{name: values[rows] for name, values in vars(self).items()})


RESULTS = (Result.MEASURED, Result.NONE_SEEN, Result.SEEN)
SUPPORTS = (Support.HANGING, Support.LOADED)
_MEASURED, _NONE_SEEN, _SEEN = range(3)


def join(parts: list[Readings]) -> Readings:
    """Return several lots of readings as one."""
    return Readings(**{name: np.concatenate([vars(part)[name] for part in parts]) for name in vars(parts[0])})


def read(
    visit: NDArray[np.int64],
    series: NDArray[np.int64],
    life: NDArray[np.int64],
    kind: NDArray[np.str_],
    depot: NDArray[np.int64],
    true_mm: NDArray[np.float64],
    *,
    careful: NDArray[np.bool_],
    timing: NDArray[np.int64],
    rng: np.random.Generator,
) -> Readings:
    """Return the readings of series at visits, one or more strokes for each.

    Parameters
    ----------
    visit, series, life, kind, depot, true_mm
        Which series was tested at which visit, in which life of its joint, and its true play then;
        shape (tests,).
    careful
        Tests by lever and dial at the joint, without a slip.
    timing
        0 without work, 1 before it, 2 after it.
    """
    n = series.size
    seen = true_mm + rng.normal(0, SEEN_SD_MM, n) > SEEN_AT_MM
    by_eye = (rng.random(n) < _BY_EYE_SHARE) & ~careful & (timing == 0)
    by_eye &= ~seen | (rng.random(n) < _LEFT_UNMEASURED_SHARE)
    method = np.where(careful, _LEVER, rng.choice(len(METHODS), n, p=METHOD_SHARES))
    rocked = np.isin(kind, _HAND_ROCKED)
    method = np.where(by_eye, np.where(rocked, _HAND, _PRY), method)
    read_at = np.where(careful | by_eye, 0, rng.choice(len(READ_AT), n, p=READ_AT_SHARES))
    loaded = np.where(method == _JACK, False, rng.random(n) < 0.35)

    sessions = np.where(by_eye, 1, 1 + (rng.random(n) < _SECOND_SESSION_SHARE))
    test = np.repeat(np.arange(n), sessions)
    session = 1 + np.arange(test.size) - np.searchsorted(test, test)
    setup = rng.normal(0, SETUP_SD_MM, test.size)
    slipped = (rng.random(test.size) < SLIPPED_SHARE) & ~careful[test] & ~by_eye[test]
    low = rng.random(test.size) < SLIPPED_LOW_SHARE
    lost = np.where(slipped & low, rng.uniform(0.15, 0.6, test.size), 1.0)
    added = np.where(slipped & ~low, rng.uniform(0.2, 0.6, test.size), 0.0)

    strokes = np.where(by_eye[test], 1, rng.choice((1, 2, 3), test.size, p=_STROKES_SHARES))
    setup_of = np.repeat(np.arange(test.size), strokes)
    stroke = 1 + np.arange(setup_of.size) - np.searchsorted(setup_of, setup_of)
    row = test[setup_of]
    expected = true_mm[row] * np.array(READ_AT_FACTORS)[read_at[row]] + np.array(METHOD_OFFSETS_MM)[method[row]]
    shown = expected * lost[setup_of] + added[setup_of] + setup[setup_of] + rng.normal(0, STROKE_SD_MM, row.size)
    step = np.array([place.resolution_mm for place in DEPOTS])[depot[row]]
    shown = np.round(np.maximum(shown, 0) / step) * step
    result = np.where(by_eye[row], np.where(seen[row], _SEEN, _NONE_SEEN), _MEASURED)
    return Readings(
        visit[row], series[row], life[row], method[row], loaded[row], read_at[row], session[setup_of], stroke,
        result, timing[row], slipped[setup_of], np.where(by_eye[row], np.nan, shown), true_mm[row], expected,
    )  # fmt: skip


def mean_play(readings: Readings, n_series: int) -> NDArray[np.float64]:
    """Return the mean measured play of each series, -inf where there is none; shape (series,)."""
    measured = readings.result == _MEASURED
    count = np.bincount(readings.series[measured], minlength=n_series)
    total = np.bincount(readings.series[measured], weights=readings.play_mm[measured], minlength=n_series)
    return np.where(count > 0, total / np.maximum(count, 1), -np.inf)
