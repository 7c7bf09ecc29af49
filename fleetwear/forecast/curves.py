"""The play of series at distances, from their stored posterior components: mean, variance and prediction band."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from fleetwear.wear.prediction import Components

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleetwear.wear.sums import Floats

Band = Literal["play", "reading"]

LINE = (
    "shift_km", "weight", "intercept", "growth", "var_intercept", "cov_cross", "var_growth", "exponent",
    "reference_km", "pace", "onset_km", "residual_variance", "wander_mm2_per_km", "from_km",
)  # fmt: skip
"""What a component holds, as the table ``posteriors`` says."""


def growth_factor(run_km: Floats, reference_km: Floats, exponent: Floats, pace: Floats, onset_km: Floats) -> Floats:
    """Return what multiplies the growth of a component at distances run; arrays that broadcast together."""
    g = np.maximum(run_km / reference_km, 0.0) ** exponent
    return np.asarray(g + (pace - 1.0) * np.maximum(run_km - onset_km, 0.0) / reference_km)


def components_at(part: Mapping[str, Floats], distance_km: Floats) -> Components:
    """Return the true play and one reading of series at distances since their lives began.

    Where wear wanders, a component holds from the last reading on; before it the band widens as it does ahead,
    which is wider than what the readings there tell.

    Parameters
    ----------
    part
        The columns ``LINE`` of k components a row, each of a shape that broadcasts to (n, k).
    distance_km
        Shape (n, 1).
    """
    run = distance_km + part["shift_km"]
    g = growth_factor(run, part["reference_km"], part["exponent"], part["pace"], part["onset_km"])
    mean = part["intercept"] + g * part["growth"]
    variance = part["var_intercept"] + g * (2.0 * part["cov_cross"] + g * part["var_growth"])
    variance = variance + part["wander_mm2_per_km"] * np.abs(run - part["from_km"])
    weight = np.broadcast_to(part["weight"], mean.shape)
    return Components(
        mean,
        np.maximum(variance, 0.0),
        np.broadcast_to(part["residual_variance"], mean.shape),
        weight / weight.sum(axis=1, keepdims=True),
    )


def growth_curve(
    lines: pd.DataFrame, distance_km: Floats, *, level: float = 0.95, bands: Sequence[Band] = ("play", "reading")
) -> pd.DataFrame:
    """Return the forecast play of one series at distances since its life began.

    Parameters
    ----------
    lines
        The posterior components of the series, in the columns of the table ``posteriors``.
    distance_km
        Distances since the life began, km, shape (n,).
    level
        Probability that a band covers.
    bands
        Of what: of the true play, of one reading. They take most of the time.

    Returns
    -------
    DataFrame of n rows: distance_km, play_mm (mean), play_lower, play_upper (true play), reading_lower,
    reading_upper (one reading), all in mm; only the bands asked for.
    """
    parts = components_at({name: lines[name].to_numpy(float) for name in LINE}, distance_km[:, None])
    tail = (1.0 - level) / 2.0
    curve = pd.DataFrame({"distance_km": distance_km, "play_mm": parts.moments()[0]})
    for band in bands:
        for end, probability in (("lower", tail), ("upper", 1.0 - tail)):
            curve[f"{band}_{end}"] = parts.quantile(probability, reading=band == "reading")
    return curve
