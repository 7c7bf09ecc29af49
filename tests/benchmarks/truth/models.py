"""The models that are scored: name -> function(training fleet, scored fleet, cases, limit) -> forecast."""

from __future__ import annotations

import inspect
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special
from truth.processes import RESOLUTION_MM, THRESHOLD_MM, Cases, Fleet, Process
from truth.scoring import Forecast

from fleetwear.errors import DoubtfulFitWarning
from fleetwear.forecast.setups import learn_setups, variance_factors
from fleetwear.wear import fit
from fleetwear.wear.labels import labelled_readings

Floats = NDArray[np.float64]
Model = Callable[[Process, Fleet, Fleet, Cases], Forecast]

NONE_SEEN_VARIANCE_RATIO = 3.0
HALF = RESOLUTION_MM / 2.0
_UP_TO = 100
"""More than the visits of any life: a life's readings up to visit i are labelled life * 100 + i."""


def reading_arguments(process: Process, fleet: Fleet, rows: NDArray[np.int64], takes: set[str]) -> dict[str, Any]:
    """Return the readings of some rows as keyword arguments, as far as the function takes them."""
    unseen = fleet.none_seen[rows]
    play = fleet.reading_mm[rows]
    given: dict[str, Any] = {"distance": fleet.distance_km[rows]}
    if "result" in takes:
        given["play"] = play
        if unseen.any() or process.soft_detection:
            given["result"] = np.where(unseen, "none seen", "measured")
    else:
        given["play"] = np.where(unseen, THRESHOLD_MM / 2.0, play)
        if unseen.any():
            given["variance_ratio"] = np.where(unseen, NONE_SEEN_VARIANCE_RATIO, 1.0)
    if "method" in takes and len(process.methods) > 1 and process.methods_told:
        given["method"] = np.array([m.name for m in process.methods])[fleet.method[rows]]
        if "reference_method" in takes:
            given["reference_method"] = process.methods[0].name
    return given


def prefixes(fleet: Fleet, cases: Cases) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return rows of the fleet and the label of each, case by case all readings up to the last; and the
    labels of the cases, shape (m,).
    """
    number = fleet.number_in_life()[cases.last]
    label = fleet.life[cases.last] * _UP_TO + number
    lengths = number + 1
    ends = np.cumsum(lengths)
    offset = np.arange(ends[-1]) - np.repeat(ends - lengths, lengths)
    rows = np.repeat(cases.last - number, lengths) + offset
    return rows, np.repeat(label, lengths), label


Variances = Callable[[Process, Fleet], Floats]
"""Returns the variance of a reading of each of a process's methods, on one scale, from the training fleet."""


def known_variances(process: Process, training: Fleet) -> Floats:
    """Return the variances of methods as they are, that of rounding with them."""
    return np.array([m.noise_mm**2 + HALF**2 / 3.0 for m in process.methods])


def visit_variances(process: Process, training: Fleet) -> Floats:
    """Return variances of a repeatability that a study tells and a setup that the training fleet's repeat visits do."""
    labelled = labelled_readings(training.life, training.distance_km, training.reading_mm, None)
    raw = labelled.readings
    names = np.array([m.name for m in process.methods], dtype=object)[training.method]
    strokes = np.array([m.strokes for m in process.methods], dtype=np.float64)[training.method]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DoubtfulFitWarning)
        found = learn_setups(
            raw,
            labelled.lives,
            labelled.cohorts,
            labelled.cohort_codes,
            pd.DataFrame({"way": "dial", "shop": names, "technician": "", "strokes": strokes, "setup_share": 1.0,
                          "squares": 0.0, "degrees": 0.0}),
            known={f"dial: {m.name}": m.stroke_mm for m in process.methods},
        )  # fmt: skip
    each = pd.Series([m.name for m in process.methods])
    way = pd.Series("dial", index=each.index)
    strokes = np.array([m.strokes for m in process.methods], dtype=np.float64)
    return variance_factors(found, way, each, strokes, np.ones(len(each)))


def wear_model(shape: str, *, slips: bool = True, variances: Variances | None = None) -> Model:
    """Return the model of fleetwear with a growth shape: fitted, updated per case, asked for the next.

    ``variances`` tells how readings of shops differ; without it they count alike.
    """

    def forecast(process: Process, training: Fleet, scored: Fleet, cases: Cases) -> Forecast:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always", DoubtfulFitWarning)
            every = np.arange(len(training.life))
            takes = set(inspect.signature(fit).parameters)
            given = reading_arguments(process, training, every, takes)
            rows, prefix, label = prefixes(scored, cases)
            asked = reading_arguments(process, scored, rows, takes)
            if variances is not None:
                of_method = variances(process, training)
                ratio = of_method / (of_method @ np.array([m.share for m in process.methods]))
                given["variance_ratio"] = ratio[training.method]
                asked["variance_ratio"] = ratio[scored.method[rows]]
            results = fit(training.life, shape=shape, slips=slips, **given)
            takes = set(inspect.signature(results.update).parameters)
            updated = results.update(prefix, **{name: value for name, value in asked.items() if name in takes})
            distance = scored.distance_km[cases.last + 1]
            p = updated.crossing_probability(label, distance, process.limit_mm)
            wide = updated.predict(label, distance, level=0.95)
            narrow = updated.predict(label, distance, level=0.80)
        doubts = [str(w.message) for w in caught if issubclass(w.category, DoubtfulFitWarning)]
        weights = ", ".join(f"{name} {weight:.2f}" for name, weight in results.weights.items())
        weights += f"; spread {results.spread:.2f}, evidence {results.evidence}" if shape == "auto" else ""
        columns = (
            wide["mean"],
            wide["se"],
            narrow["play_lower"],
            narrow["play_upper"],
            wide["play_lower"],
            wide["play_upper"],
        )
        return Forecast(
            np.asarray(p),
            *(column.to_numpy(dtype=np.float64) for column in columns),
            note=weights + ("; doubtful" if doubts else ""),
        )

    return forecast


def line_per_joint(process: Process, training: Fleet, scored: Fleet, cases: Cases) -> Forecast:
    """Return forecasts by a straight line through each life's own readings (least squares).

    The scatter about a line is that of the training lives, pooled. A life with one reading goes on from it at
    the mean slope of the training lives' lines, with their spread.
    """
    every = np.arange(len(training.life))
    sums = _LineSums(process, training, every, training.life, len(training.starts))
    slopes = sums.slope
    freedom = (sums.n - 2).sum()
    sigma2 = sums.residual.sum() / freedom

    rows, _, _ = prefixes(scored, cases)
    lengths = scored.number_in_life()[cases.last] + 1
    own = _LineSums(process, scored, rows, np.repeat(np.arange(len(lengths)), lengths), len(lengths))
    distance = scored.distance_km[cases.last + 1]
    single = own.n < 2
    slope = np.where(single, slopes.mean(), own.slope)
    ahead = distance - own.mean_x
    mean = own.mean_y + slope * ahead
    with np.errstate(divide="ignore", invalid="ignore"):
        slope_variance = np.where(single, slopes.var(), sigma2 / own.sxx)
    sd = np.sqrt(sigma2 / own.n + slope_variance * ahead**2)
    p = special.ndtr((mean - process.limit_mm) / sd)
    q80, q95 = special.ndtri(0.9), special.ndtri(0.975)
    return Forecast(p, mean, sd, mean - q80 * sd, mean + q80 * sd, mean - q95 * sd, mean + q95 * sd)


class _LineSums:
    """Least squares of each life."""

    def __init__(
        self, process: Process, fleet: Fleet, rows: NDArray[np.int64], life: NDArray[np.int64], lives: int
    ) -> None:
        given = reading_arguments(process, fleet, rows, set())
        x, y = given["distance"], given["play"]

        def total(values: Floats) -> Floats:
            return np.bincount(life, weights=values, minlength=lives)

        self.n = total(np.ones(len(x)))
        self.mean_x, self.mean_y = total(x) / self.n, total(y) / self.n
        dx, dy = x - self.mean_x[life], y - self.mean_y[life]
        self.sxx = total(dx * dx)
        with np.errstate(divide="ignore", invalid="ignore"):
            self.slope = total(dx * dy) / self.sxx
        self.residual = total(dy * dy) - np.nan_to_num(self.slope) * total(dx * dy)


MODELS: dict[str, Model] = {
    "line per joint": line_per_joint,
    "straight": wear_model("straight"),
    "power": wear_model("power"),
    "two-stage": wear_model("two-stage"),
    "wandering": wear_model("wandering"),
    "auto with normal errors": wear_model("auto", slips=False),
    "auto": wear_model("auto"),
}
"""Models for every process, by name."""

SHOP_MODELS: dict[str, Model] = {
    "auto, variance from visits": wear_model("auto", variances=visit_variances),
    "auto, variance known": wear_model("auto", variances=known_variances),
}
"""Models that are told which shop took a reading, for processes whose methods are shops."""


def models_for(process: Process, names: list[str]) -> list[str]:
    """Return those of the names that say something of a process of their own."""
    return [name for name in names if name in MODELS or not process.methods_told]
