"""Predictive distributions: mixtures of normals, one component a shape."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
import pandas as pd

from fleetwear.errors import InputError
from fleetwear.wear.labels import Labels, label_codes

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fleetwear.wear.sums import Floats

_MOST_STEPS = 100
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))
_CLOSE_SD, _CLOSE = 1e-10, 1e-15
"""A quantile is found once a step is this small beside the narrowest component, or beside where it lies."""


@dataclass(frozen=True)
class Components:
    """n predictive distributions of k normal components each; arrays of shape (n, k).

    ``variance`` is that of the true play, ``noise`` what one reading adds to it.
    """

    mean: Floats
    variance: Floats
    noise: Floats
    weight: Floats

    def exceeds(self, limit: Floats, *, reading: bool = False) -> Floats:
        """Return P(true play > limit), or P(reading > limit), shape (n,)."""
        from scipy import special

        deviation = np.broadcast_to(limit, self.mean.shape[:1])[:, None] - self.mean
        sd = np.sqrt(self.variance + (self.noise if reading else 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            standard = np.where(sd > 0.0, deviation / sd, np.where(deviation >= 0.0, np.inf, -np.inf))
        return np.asarray((self.weight * special.ndtr(-standard)).sum(axis=1))

    def moments(self) -> tuple[Floats, Floats]:
        """Return mean and standard deviation of the true play, shape (n,)."""
        mean = (self.weight * self.mean).sum(axis=1)
        second = (self.weight * (self.variance + (self.mean - mean[:, None]) ** 2)).sum(axis=1)
        return mean, np.sqrt(np.maximum(second, 0.0))

    def quantile(self, probability: float, *, reading: bool = False) -> Floats:
        """Return the quantile of the true play or of a reading, shape (n,): Newton's steps, halving where they fail."""
        from scipy import stats

        sd = np.sqrt(self.variance + (self.noise if reading else 0.0))
        each = self.mean + stats.norm.ppf(probability) * sd
        low, high = each.min(axis=1), each.max(axis=1)
        if self.mean.shape[1] == 1:
            return np.asarray(low)
        narrow = _CLOSE_SD * sd.min(axis=1)
        at, step = (low + high) / 2.0, high - low
        for _ in range(_MOST_STEPS):
            beyond = self.exceeds(at, reading=reading) - (1.0 - probability)
            low, high = np.where(beyond > 0.0, at, low), np.where(beyond > 0.0, high, at)
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                density = (self.weight * np.exp(-(((at[:, None] - self.mean) / sd) ** 2) / 2.0) / sd).sum(axis=1)
                following = at + beyond / (density / _ROOT_TWO_PI)
            is_inside = (following >= low) & (following <= high) & (np.abs(following - at) <= step / 2.0)
            following = np.where(is_inside, following, (low + high) / 2.0)
            close = np.maximum(narrow, _CLOSE * np.abs(at))
            following = np.where(step <= close, at, following)  # what is found stays, however long others take
            step = np.abs(following - at)
            at = following
            if (step <= close).all():
                break
        return np.asarray(at)


class Forecaster(Protocol):
    """Results that can give the predictive components of their lives."""

    @property
    def life_labels(self) -> Labels:
        """The labels of the lives."""

    @property
    def doubt(self) -> str:
        """Why forecasts need care, or empty."""

    def components(self, rows: NDArray[np.int64], distance: Floats) -> Components:
        """Return the predictive components of lives, by position, at distances."""


def predict_frame(results: Forecaster, life: ArrayLike, distance: ArrayLike, *, level: float) -> pd.DataFrame:
    """Return the forecast table that ``predict`` documents."""
    tail = (1.0 - checked_level(level)) / 2.0
    rows, x = label_codes(results.life_labels, life, distance)
    parts = results.components(rows, x)
    mean, se = parts.moments()
    return pd.DataFrame(
        {
            "life": results.life_labels[rows],
            "distance": x,
            "mean": mean,
            "se": se,
            "play_lower": parts.quantile(tail),
            "play_upper": parts.quantile(1.0 - tail),
            "reading_lower": parts.quantile(tail, reading=True),
            "reading_upper": parts.quantile(1.0 - tail, reading=True),
            "doubt": results.doubt,
        }
    )


def checked_level(level: float) -> float:
    """Return the level of an interval, or raise InputError if it is not between 0 and 1."""
    if not 0.0 < level < 1.0:
        raise InputError(f"level is {level}", mend="Give a probability between 0 and 1, such as 0.95.")
    return level
