"""Growth curves of a series from its stored posterior: mean and prediction band by distance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.wear.prediction import Components

if TYPE_CHECKING:
    from fleetwear.wear.sums import Floats


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
    scaled = (distance_km[:, None] + lines["shift_km"].to_numpy(float)) / lines["reference_km"].to_numpy(
        float
    )
    g = np.maximum(scaled, 0.0) ** lines["exponent"].to_numpy(float)
    mean = lines["intercept"].to_numpy(float) + g * lines["growth"].to_numpy(float)
    variance = lines["var_intercept"].to_numpy(float) + g * (
        2.0 * lines["cov_cross"].to_numpy(float) + g * lines["var_growth"].to_numpy(float)
    )
    weight = np.broadcast_to(lines["weight"].to_numpy(float) / lines["weight"].sum(), mean.shape)
    noise = np.broadcast_to(lines["residual_variance"].to_numpy(float), mean.shape)
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
