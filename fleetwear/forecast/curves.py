"""Growth curves of a series from its stored posterior: mean and prediction band by distance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.wear.prediction import Components

if TYPE_CHECKING:
    from fleetwear.wear.sums import Floats

_LINE = (
    "shift_km", "weight", "intercept", "growth", "var_intercept", "cov_cross", "var_growth", "exponent",
    "reference_km", "pace", "onset_km", "residual_variance",
)  # fmt: skip


def growth_curve(lines: pd.DataFrame, distance_km: Floats, *, level: float = 0.95) -> pd.DataFrame:
    """Return the forecast play of one series at distances since its life began.

    Parameters
    ----------
    lines
        The posterior components of the series, in the columns of the table ``posteriors``.
    distance_km
        Distances since the life began, km, shape (n,).
    level
        Probability that a band covers.

    Returns
    -------
    DataFrame of n rows: distance_km, play_mm (mean), play_lower, play_upper (true play), reading_lower,
    reading_upper (one reading), all in mm.
    """
    part = {name: lines[name].to_numpy(float) for name in _LINE}
    run = distance_km[:, None] + part["shift_km"]
    g = np.maximum(run / part["reference_km"], 0.0) ** part["exponent"]
    g = g + (part["pace"] - 1.0) * np.maximum(run - part["onset_km"], 0.0) / part["reference_km"]
    mean = part["intercept"] + g * part["growth"]
    variance = part["var_intercept"] + g * (2.0 * part["cov_cross"] + g * part["var_growth"])
    weight = np.broadcast_to(part["weight"] / part["weight"].sum(), mean.shape)
    noise = np.broadcast_to(part["residual_variance"], mean.shape)
    parts = Components(mean, np.maximum(variance, 0.0), noise, weight)
    tail = (1.0 - level) / 2.0
    return pd.DataFrame(
        {
            "distance_km": distance_km,
            "play_mm": parts.moments()[0],
            "play_lower": parts.quantile(tail),
            "play_upper": parts.quantile(1.0 - tail),
            "reading_lower": parts.quantile(tail, reading=True),
            "reading_upper": parts.quantile(1.0 - tail, reading=True),
        }
    )
