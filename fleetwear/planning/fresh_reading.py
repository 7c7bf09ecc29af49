"""A reading that has just been taken against what its joint's history foretold, from stored posteriors: no fit.

The forecast of a reading y at the distance x that the part has run is the mixture of the posterior components::

    y ~ sum_k w_k N(m_k(x) + a_k, v_k(x) + se_k^2 + s_k r_k + h^2 / 3)

m and v are the component's play and its variance (`forecast.curves.components_at`), s its residual variance; a, se
and r what the fit found of the method of reading in the component's shape (`fit_methods`), and h half the step of a
coarse indicator (a uniform error of half width h has the variance h^2 / 3; JCGM 100:2008, 4.3.7). The mean of the
strokes of one visit counts as one reading, as it does in the fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.forecast.curves import LINE, components_at
from fleetwear.planning.wording import is_known, say_play
from fleetwear.units import factor
from fleetwear.vocabulary import FreshReading, Result
from fleetwear.wear.methods import ASSUMED_OFFSET
from fleetwear.wear.prediction import Components

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

LEVEL = 0.99
"""Probability of the interval outside of which a reading is to be taken again: one true reading in a hundred lies
outside. The flags ask later (`Settings.recheck_z`); in the bay a second look costs a minute."""
_UNSEEN_METHOD = 1.0 + ASSUMED_OFFSET**2
"""Variance ratio of a method that the fit has not seen, as in `wear.methods`."""
_EQUAL = 1e-9


@dataclass(frozen=True)
class Expected:
    """What is expected of the next reading of one joint in one load direction.

    Attributes
    ----------
    reading
        Its distribution: one row of components, the method's offset counted.
    threshold_mm, softness_mm
        Of each component, the method's detection curve, shape (k,).
    own_history
        Whether the joint itself was read in this load direction; otherwise the forecast is that of joints of its kind.
    method_seen
        Whether the fit knows the method.
    """

    reading: Components
    threshold_mm: np.ndarray
    softness_mm: np.ndarray
    own_history: bool
    method_seen: bool

    def interval_mm(self, level: float = LEVEL) -> tuple[float, float, float]:
        """Return the lower end, the middle and the upper end of the interval of one reading, mm, never below zero."""
        tail = (1.0 - level) / 2.0
        low, middle, high = (float(self.reading.quantile(p, reading=True)[0]) for p in (tail, 0.5, 1.0 - tail))
        return max(low, 0.0), max(middle, 0.0), max(high, 0.0)

    def p_seen(self) -> float:
        """Return the probability that movement is seen with this method."""
        from scipy import special

        scale = np.sqrt(self.softness_mm**2 + self.reading.variance[0])
        return float((self.reading.weight[0] * special.ndtr((self.reading.mean[0] - self.threshold_mm) / scale)).sum())


def way_of_reading(method: str | None, read_at: str | None) -> str:
    """Return a way of reading as the fit names it: "pry bar, read at the joint"."""
    return (method or "method not recorded") + (f", read at the {read_at}" if read_at else "")


def expect_reading(
    lines: pd.DataFrame,
    methods: pd.DataFrame,
    *,
    distance_km: float,
    way: str,
    detection: tuple[float, float],
    step_mm: float = 0.0,
    own_history: bool = True,
) -> Expected | None:
    """Return what is expected of a reading, None without posterior components.

    Parameters
    ----------
    lines
        The posterior components of the series: shape and the columns ``forecast.curves.LINE``.
    methods
        What the fit found of methods, in the columns of ``fit_methods``; rows of other ways are left out.
    distance_km
        The distance that the part has run, km.
    way
        How it is read, see `way_of_reading`.
    detection
        Threshold and softness, mm, of a method without a detection curve of its own.
    step_mm
        The step to which the indicator is read, mm.
    own_history
        Whether the joint itself was read in this load direction.
    """
    if lines.empty:
        return None
    at = components_at({name: lines[name].to_numpy(float) for name in LINE}, np.array([[max(distance_km, 0.0)]]))
    own = methods[methods["method"] == way].drop_duplicates("shape").set_index("shape")
    found = own.reindex(lines["shape"])
    seen = not own.empty or methods.empty
    offset = found["offset_mm"].fillna(0.0).to_numpy(float)
    spread = found["offset_se"].fillna(0.0).to_numpy(float) ** 2
    ratio = found["variance_ratio"].fillna(1.0 if seen else _UNSEEN_METHOD).to_numpy(float)
    return Expected(
        Components(at.mean + offset, at.variance + spread, at.noise * ratio + step_mm**2 / 12.0, at.weight),
        found["threshold_mm"].fillna(detection[0]).to_numpy(float) + offset,
        found["softness_mm"].fillna(detection[1]).to_numpy(float),
        own_history,
        seen,
    )


@dataclass(frozen=True)
class FreshAnswer:
    """What is said at once of a reading.

    Attributes
    ----------
    says
        The answer.
    reason
        It in a sentence or two, in the person's unit.
    again
        Whether it is to be measured again, whatever else is said.
    """

    says: FreshReading
    reason: str
    again: bool


def answer_at_once(
    strokes_mm: Sequence[float],
    result: str,
    expected: Expected | None,
    *,
    limit_mm: float | None,
    limit_source: str = "",
    play_unit: str = "mm",
    without: str = "there is no forecast of this joint yet",
    level: float = LEVEL,
) -> FreshAnswer:
    """Return what is said at once of a reading.

    A stroke over the limit leads, whatever was expected; a reading equal to its limit passes. A reading in line with
    its history never clears a joint.

    Parameters
    ----------
    strokes_mm
        The strokes of the indicator, mm; none where nothing was measured. Their mean is the reading.
    result
        A word of ``vocabulary.Result``.
    expected
        What was expected, None where there is no forecast; ``without`` says why.
    limit_mm, limit_source
        The limit and where it stands.
    play_unit
        The person's unit.
    level
        Probability of the interval of one reading.
    """
    measured = len(strokes_mm) > 0
    mean = float(np.mean(strokes_mm)) if measured else None
    over = measured and limit_mm is not None and max(strokes_mm) > limit_mm * (1.0 + _EQUAL)
    departs = None if expected is None else _departure(mean, result, expected, level)
    sentences = []
    if measured and limit_mm is not None:
        sentences.append(_against_limit(max(strokes_mm), limit_mm, limit_source, play_unit))
    sentences.append(_against_history(departs, expected, play_unit, without, level))
    if not measured and result == Result.SEEN:
        sentences.insert(0, "Movement was seen but not measured: put the indicator on it.")
    if limit_mm is None:
        sentences.append("No limit on record to compare with: look up the maker's.")
    if over:
        says = FreshReading.OVER_LIMIT
    elif departs is not None:
        says = departs
    elif not measured and result == Result.SEEN:
        says = FreshReading.SEEN
    else:
        says = FreshReading.NO_FORECAST if expected is None else FreshReading.IN_LINE
    return FreshAnswer(says, " ".join(sentences), departs is not None or says is FreshReading.SEEN)


def _departure(mean: float | None, result: str, expected: Expected, level: float) -> FreshReading | None:
    """Return in which way a reading departs from what was expected, None where it does not."""
    tail = (1.0 - level) / 2.0
    if mean is not None:
        low, _, high = (float(expected.reading.quantile(p, reading=True)[0]) for p in (tail, 0.5, 1.0 - tail))
        if mean > high:
            return FreshReading.WELL_ABOVE
        return FreshReading.WELL_BELOW if mean < low else None
    if result == Result.SEEN:  # one side only, at the same level
        return FreshReading.WELL_ABOVE if expected.p_seen() < 1.0 - level else None
    return FreshReading.WELL_BELOW if 1.0 - expected.p_seen() < 1.0 - level else None


def _against_limit(largest_mm: float, limit_mm: float, source: str, unit: str) -> str:
    over = largest_mm > limit_mm * (1.0 + _EQUAL)
    said = f" ({source})" if is_known(source) and source else ""
    how = "over its limit of" if over else f"{largest_mm / limit_mm:.0%} of its limit of"
    end = ". Do not release the vehicle on this reading; follow the maker's procedure." if over else "."
    return f"{say_play(largest_mm, unit)} is {how} {say_play(limit_mm, unit)}{said}{end}"


def _against_history(
    departs: FreshReading | None, expected: Expected | None, unit: str, without: str, level: float
) -> str:
    if expected is None:
        return f"{without[:1].upper()}{without[1:]}."
    low, middle, high = (say_play(value, unit) for value in expected.interval_mm(level))
    whose = "its history foretold" if expected.own_history else "joints of its kind foretell"
    foretold = f"{whose} {middle} ({level:.0%}: {low} to {high})"
    strange = "" if expected.method_seen else " The fleet has not read such joints in this way: compare with care."
    if departs is None:
        return f"{foretold[:1].upper()}{foretold[1:]}.{strange}"
    way = "above" if departs is FreshReading.WELL_ABOVE else "below"
    return (
        f"It lies well {way} what was expected: {foretold}. Set lever and indicator up afresh and measure again "
        f"before trusting either.{strange}"
    )


def repeatability_mm(strokes_mm: Sequence[float]) -> float | None:
    """Return the sample standard deviation of strokes of one setup, mm; None for fewer than two.

    It is the repeatability of the strokes themselves: what another setup adds is not in it (JCGM 100:2008, 4.2.2).
    """
    return float(np.std(strokes_mm, ddof=1)) if len(strokes_mm) > 1 else None


def say_strokes(strokes_mm: Sequence[float], unit: str) -> str:
    """Return the strokes of one setup in words: "mean of 3 strokes 0.430 mm; they spread by 0.030 mm, ..."."""
    digits = {"thou": 1, "in": 4, "mm": 3, "um": 0}[unit]
    mean, spread, sd = (
        f"{value * factor('mm', unit):.{digits}f} {unit}"
        for value in (float(np.mean(strokes_mm)), float(np.ptp(strokes_mm)), repeatability_mm(strokes_mm) or 0.0)
    )
    if len(strokes_mm) < 2:
        return f"one stroke, {mean}; a second one would show how well it repeats"
    return f"mean of {len(strokes_mm)} strokes {mean}; they spread by {spread}, standard deviation {sd}"
