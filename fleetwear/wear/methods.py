"""Methods of measuring: what each adds to the true play, how noisy it is, and what play it can show at all.

A reading of method m is the true play + offset_m + error, error variance ratio_m over that of the reference
method, whose offset is 0 and ratio 1. Movement is seen with probability Phi((z - threshold_m) / softness_m); a
method without a reading that saw none has no detection curve, and always sees.

Offsets are estimated with everything else profiled out: with M_j the readings of life j by method, the score and
information of the offsets are::

    U = sum_j M_j' W_j (y_j - M_j alpha - E z_j)
    I = sum_j M_j' V_j^-1 M_j - sum_c B_c' A_c^-1 B_c        B_c = sum_j Z_j' V_j^-1 M_j

(the generalised least squares of Laird & Ware 1982, Biometrics 38, with the cohorts' lines eliminated), and one
step alpha + I^-1 U is taken each time that readings are judged. A change of method between visits is so told from
wear by the lives in which methods change to and fro.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.detection import detected

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.judging import Judged
    from fleetwear.wear.population import Population
    from fleetwear.wear.sums import Floats, Integers, ReadingArrays

ASSUMED_OFFSET = 2.0
"""Standard deviation of offsets between methods over that of a reading, before any is seen: an assumption."""
_PRIOR_READINGS = 5.0
"""Readings' worth of variance ratio 1."""
_RATIO_RANGE = (0.05, 50.0)
_LONGER = 1.5
"""Step of log ratios over that of EM, which is short by what the lives' lines take up: about a third."""
_PRIOR_SD = np.array([1.0, 0.7])
"""Standard deviations of log threshold and log softness about what was first assumed."""
_FIRST_SOFTNESS = 0.25
"""Softness over the threshold, where neither is given."""
ALL = "all"
"""The name of the one method, where readings name none."""
UNSEEN_BEFORE = -1
"""Position of a method that the fit has not seen."""


@dataclass(frozen=True)
class Methods:
    """M methods; arrays of shape (M,)."""

    names: list[str]
    reference: int
    offset: Floats
    offset_se: Floats
    ratio: Floats
    """Error variance over that of the reference method."""
    threshold: Floats
    """Play that is seen every other time; nan without a detection curve."""
    softness: Floats
    assumed: Floats
    """Log threshold and log softness before any reading, shape (2,)."""
    readings: Floats

    @classmethod
    def one(cls) -> Methods:
        """Return one method whose readings are numbers."""
        nothing = np.full(1, np.nan)
        return cls([ALL], 0, np.zeros(1), np.zeros(1), np.ones(1), nothing, nothing, np.zeros(2), np.zeros(1))

    @classmethod
    def first(
        cls,
        readings: ReadingArrays,
        names: list[str],
        reference: str | None,
        detection: tuple[float, float] | None,
    ) -> Methods:
        """Return what is assumed before any reading is judged.

        The reference is the method of most readings where none is named. Where no detection curve is given to start
        from, its threshold is the lower quartile of what was measured.
        """
        m = len(names)
        codes = _codes(readings)
        count = np.bincount(codes, minlength=m).astype(np.float64)
        at = names.index(reference) if reference in names else int(count.argmax())
        unmeasured = (
            np.zeros(m) if readings.seen is None else np.bincount(codes, weights=readings.seen != 0, minlength=m)
        )
        if detection is None:
            measured = readings.play if readings.seen is None else readings.play[readings.seen == 0]
            guess = float(np.quantile(measured, 0.25)) if len(measured) else 1.0
            threshold = max(guess, 1e-9)
            softness = _FIRST_SOFTNESS * threshold
        else:
            threshold, softness = detection
        curve = unmeasured > 0
        return cls(
            names, at, np.zeros(m), np.zeros(m), np.ones(m),
            np.where(curve, threshold, np.nan), np.where(curve, softness, np.nan),
            np.log([threshold, softness]), count,
        )  # fmt: skip

    def of(self, readings: ReadingArrays) -> OfReadings:
        """Return what belongs to each reading, shape (n,); of a method not seen before, the reference's, wider."""
        codes = _codes(readings)
        unknown = codes < 0
        at = np.where(unknown, self.reference, codes)
        threshold, softness = self.threshold[at], self.softness[at]
        if readings.seen is not None:
            bare = (readings.seen != 0) & np.isnan(threshold)
            threshold = np.where(bare, np.exp(self.assumed[0]), threshold)
            softness = np.where(bare, np.exp(self.assumed[1]), softness)
        ratio = np.where(unknown, 1.0 + ASSUMED_OFFSET**2, self.ratio[at])
        return OfReadings(self.offset[at], ratio, threshold, softness)

    def improved(self, judged: Judged, readings: ReadingArrays, population: Population, cohorts: Integers) -> Methods:
        """Return the estimates after readings were judged under a population; cohorts are codes, shape (J,)."""
        found = self
        if len(self.names) > 1:
            offsets = self._with_offsets(judged, readings, population, cohorts)
            found = offsets._with_ratios(judged, readings, population)
        return found if readings.seen is None else found._with_curves(judged, readings)

    def _with_ratios(self, judged: Judged, readings: ReadingArrays, population: Population) -> Methods:
        codes, m = _codes(readings), len(self.names)
        kept = judged.kept
        square = judged.square / (population.residual_variance * readings.variance_ratio)
        total = np.bincount(codes, weights=kept * square, minlength=m) + _PRIOR_READINGS
        moved = total / (np.bincount(codes, weights=kept, minlength=m) + _PRIOR_READINGS) / self.ratio
        ratio = self.ratio * moved**_LONGER
        return replace(self, ratio=np.clip(ratio / ratio[self.reference], *_RATIO_RANGE))

    def _with_offsets(
        self, judged: Judged, readings: ReadingArrays, population: Population, cohorts: Integers
    ) -> Methods:
        codes, m, J = _codes(readings), len(self.names), readings.n_lives
        others = [k for k in range(m) if k != self.reference]
        w = judged.kept / (readings.variance_ratio * self.ratio[codes])
        z = population.coordinate(readings.distance)
        place = readings.life * m + codes

        def by_method(values: Floats) -> Floats:
            return np.bincount(place, weights=values, minlength=J * m).reshape(J, m).astype(np.float64, copy=False)

        D, Dz = by_method(w), by_method(w * z)
        C = np.stack([D, Dz], axis=1)
        weight = 1.0 / judged.settled.variance_ratio
        S = np.empty((J, 2, 2))
        for (a, b), values in (((0, 0), weight), ((0, 1), weight * z), ((1, 1), weight * z * z)):
            S[:, a, b] = S[:, b, a] = readings.total(values)
        T = population.relative_cov
        inner = np.linalg.inv(np.eye(2) + S @ T)
        B = inner @ C
        information = np.diag(D.sum(axis=0)) - np.einsum("jam,ab,jbn->mn", C, T, B)
        n_cohorts = int(cohorts.max()) + 1 if J else 0
        A_c, B_c = np.zeros((n_cohorts, 2, 2)), np.zeros((n_cohorts, 2, m))
        np.add.at(A_c, cohorts, inner @ S)
        np.add.at(B_c, cohorts, B)
        information -= np.einsum("cam,cab,cbn->mn", B_c, np.linalg.pinv(A_c), B_c)
        score = by_method(w * (readings.play - self.offset[codes] - judged.mean)).sum(axis=0)
        ridge = np.eye(len(others)) / ASSUMED_OFFSET**2
        solvable = information[np.ix_(others, others)] + ridge
        offset, se = self.offset.copy(), np.zeros(m)
        offset[others] += np.linalg.solve(solvable, score[others] - ridge @ offset[others])
        se[others] = np.sqrt(population.residual_variance * np.maximum(np.diag(np.linalg.inv(solvable)), 0.0))
        return replace(self, offset=offset, offset_se=se)

    def _with_curves(self, judged: Judged, readings: ReadingArrays) -> Methods:
        from scipy import optimize

        assert readings.seen is not None
        threshold, softness, codes = self.threshold.copy(), self.softness.copy(), _codes(readings)
        sign = np.where(readings.seen < 0, -1.0, 1.0)
        for k in np.flatnonzero(np.isfinite(threshold)):
            own = codes == k
            mean, variance, signs = judged.before_detection[0][own], judged.before_detection[1][own], sign[own]

            def deviance(logs: NDArray[np.float64], mean: Floats = mean, variance: Floats = variance,
                         signs: Floats = signs) -> float:  # fmt: skip
                t, d = np.exp(logs)
                said = detected(mean, variance, t, d, signs).log_z.sum()
                return float(((((logs - self.assumed) / _PRIOR_SD) ** 2).sum()) / 2.0 - said)

            start = np.log([threshold[k], softness[k]])
            best = optimize.minimize(deviance, start, method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-4})
            threshold[k], softness[k] = np.exp(best.x)
        return replace(self, threshold=threshold, softness=softness)


@dataclass(frozen=True)
class OfReadings:
    """What the methods of n readings say of each, shape (n,)."""

    offset: Floats
    ratio: Floats
    threshold: Floats
    softness: Floats


def _codes(readings: ReadingArrays) -> NDArray[np.int64]:
    return np.zeros(len(readings.life), dtype=np.int64) if readings.method is None else readings.method
