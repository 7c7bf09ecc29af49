"""Scores of forecasts: Brier, log and CRPS (Gneiting & Raftery 2007, JASA 102), calibration, misses.

Arrays have shape (m,), one entry a case; p is the probability given to an event.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FLOOR = 1e-4
"""Probabilities are held within FLOOR and 1 - FLOOR where their logarithm is taken."""


@dataclass(frozen=True)
class Forecast:
    """What one model says of m cases; play in mm."""

    probability: Floats
    """That the true play at the next visit is beyond the limit."""
    mean: Floats
    sd: Floats
    lower80: Floats
    upper80: Floats
    lower95: Floats
    upper95: Floats
    note: str = ""


def brier(p: Floats, event: Flags) -> Floats:
    """Return the Brier score of each case."""
    return np.asarray((p - event) ** 2)


def log_score(p: Floats, event: Flags) -> Floats:
    """Return minus the log of the probability given to what happened."""
    return np.asarray(-np.where(event, np.log(p), np.log1p(-p)))


def crps_normal(mean: Floats, sd: Floats, outcome: Floats) -> Floats:
    """Return the continuous ranked probability score of normal forecasts (equation 21)."""
    z = (outcome - mean) / sd
    density = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    return np.asarray(sd * (z * (2.0 * special.ndtr(z) - 1.0) + 2.0 * density - 1.0 / np.sqrt(np.pi)))


def brier_skill(p: Floats, event: Flags) -> float:
    """Return one less the mean Brier score over that of the share of events given to every case."""
    base = event.mean()
    return float(1.0 - brier(p, event).mean() / (base * (1.0 - base)))


def held(p: Floats) -> Floats:
    """Return probabilities held within the floor."""
    return np.clip(p, FLOOR, 1.0 - FLOOR)


def calibration(p: Floats, event: Flags) -> tuple[float, float]:
    """Return intercept and slope of the logistic regression of the event on logit p; nan if p says nothing.

    Newton's method, steps halved until they help; 1 is a slope as it should be, less means that forecasts are too
    sure.
    """
    x = special.logit(held(p))
    if np.ptp(x) < 1e-9 or event.all() or not event.any():
        return np.nan, np.nan
    design = np.stack([np.ones_like(x), x], axis=1)
    sign = np.where(event, 1.0, -1.0)

    def log_likelihood(at: Floats) -> float:
        return float(-np.logaddexp(0.0, -sign * (design @ at)).sum())

    coefficients = np.array([0.0, 1.0])
    for _ in range(100):
        fitted = special.expit(design @ coefficients)
        information = design.T @ (design * (fitted * (1.0 - fitted))[:, None])
        step = np.linalg.solve(information, design.T @ (event - fitted))
        now = log_likelihood(coefficients)
        while log_likelihood(coefficients + step) < now - 1e-9 and np.abs(step).max() > 1e-10:
            step = step / 2.0
        coefficients = coefficients + step
        if np.abs(step).max() < 1e-9:
            return float(coefficients[0]), float(coefficients[1])
    return np.nan, np.nan


def coverage(lower: Floats, upper: Floats, truth: Floats) -> float:
    """Return the share of intervals that hold the truth."""
    return float(((lower <= truth) & (truth <= upper)).mean())


def most_likely(p: Floats, flags: int) -> Flags:
    """Return the cases of highest probability, as many as given; ties go to the earlier case."""
    chosen = np.zeros(len(p), dtype=bool)
    chosen[np.argsort(-p, kind="stable")[:flags]] = True
    return chosen


def missed(flagged: Flags, event: Flags) -> float:
    """Return the share of events that were not flagged."""
    return float((event & ~flagged).sum() / event.sum())


def false_per_true(flagged: Flags, event: Flags) -> float:
    """Return flags without an event over flags with one; nan if there are none of those."""
    true = (flagged & event).sum()
    return float((flagged & ~event).sum() / true) if true else np.nan


def figures(forecast: Forecast, event: Flags, truth: Floats, rule: Flags) -> dict[str, float]:
    """Return all figures of a forecast; ``rule`` flags the cases that the rule of thumb would."""
    p = forecast.probability
    chosen = most_likely(p, int(rule.sum()))
    return {
        "skill": brier_skill(p, event),
        "log_score": float(log_score(held(p), event).mean()),
        "crps_um": 1000.0 * float(crps_normal(forecast.mean, forecast.sd, truth).mean()),
        "cover80": 100.0 * coverage(forecast.lower80, forecast.upper80, truth),
        "cover95": 100.0 * coverage(forecast.lower95, forecast.upper95, truth),
        "slope": calibration(p, event)[1],
        "missed": 100.0 * missed(chosen, event),
        "false": false_per_true(chosen, event),
        "mean_p": float(p.mean()),
        "events": float(event.mean()),
    }
