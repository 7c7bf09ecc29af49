"""A simulated fleet as partitions, what is read back of them, and their numbers in one array."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd

import fleetwear
from fleetwear.partitions import Place
from fleetwear.partitions.place import LAYOUT
from fleetwear.wear import WearResults

PARTITIONS = 4
_DUTIES = ("city", "parcels", "school run")


def fleet_frames(*, vehicles: int = 48, seed: int = 0) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return readings and series of a fleet: a ball joint in two directions and a kingpin on every vehicle."""
    rng = np.random.default_rng(seed)
    readings, series = [], []
    for number in range(vehicles):
        duty = _DUTIES[number % 3]
        ahead = np.sort(rng.normal(110_000.0, 4_000.0, 7))
        for k, (kind, direction) in enumerate(
            (("ball joint", "in-out"), ("ball joint", "up-down"), ("kingpin", "in-out"))
        ):
            own = 3 * number + k
            unknown = own % 29 == 5
            growth = rng.normal(4e-6 + 5e-7 * (number % 3), 1e-6)
            start = rng.normal(0.1, 0.05)
            distance = np.sort(rng.uniform(2_000.0, 90_000.0, rng.integers(2, 7)))
            play = start + growth * distance + rng.normal(0.0, 0.03, len(distance))
            labels = {
                "series": own, "vehicle_id": number, "kind": kind, "direction": direction,
                "cohort": f"{kind}/{direction}/van/{duty}", "origin": "unknown" if unknown else "original",
            }  # fmt: skip
            seen = np.where(rng.random(len(distance)) < 0.05, -1, 0)
            readings.append(
                pd.DataFrame(
                    {**labels, "distance_km": distance, "play_mm": np.where(seen == 0, play, 0.0), "seen": seen,
                     "variance_ratio": rng.choice([1.0, 1.0, 2.0], len(distance))}
                )
            )  # fmt: skip
            series.append(
                labels
                | {
                    "unit": f"S{number}", "joint": f"left {kind}", "earlier_km_at_most": 30_000.0 if unknown else 0.0,
                    "n_visits": len(distance), "last_date": pd.Timestamp("2026-10-01"), "last_result": "measured",
                    "last_play_mm": play[-1], "life_start_km": 5_000.0, "limit_mm": np.nan if own % 31 == 3 else 0.6,
                    "limit_source": "workshop manual", "indicative": "", "service_km": ahead.tolist(),
                    "next_service_date": pd.Timestamp("2027-01-15"),
                }
            )  # fmt: skip
    return pd.concat(readings, ignore_index=True), pd.DataFrame(series)


def write_frames(place: Place, readings: pd.DataFrame, series: pd.DataFrame, partition: np.ndarray) -> None:
    """Write a fleet, ``partition`` being that of each vehicle."""
    with place.connection() as con:
        for number in range(PARTITIONS):
            for name, frame in (("readings", readings), ("series", series)):
                own = frame[partition[frame["vehicle_id"]] == number]  # noqa: F841
                place.write(con.sql("select * from own"), place.part(name, number))
        about = pd.DataFrame(
            {
                "layout": [LAYOUT], "partitions": [PARTITIONS], "as_of": [pd.Timestamp("2026-11-20")],
                "known_by": [pd.Timestamp("2026-11-20")], "made_at": [pd.Timestamp("2026-11-20")],
                "program_version": [fleetwear.__version__],
            }
        )  # fmt: skip
        place.write(con.from_df(about), place.file("about.parquet"))


def forecast_of(place: Place) -> pd.DataFrame:
    """Return the forecasts of all partitions by series."""
    files = [place.part("forecasts", number) for number in range(PARTITIONS)]
    frame = duckdb.sql(f"select * from read_parquet({files!r}) order by series").df()
    return frame.set_index("series")


def numbers(frame: pd.DataFrame) -> np.ndarray:
    """Return what is forecast of each series, shape (series, 4)."""
    return frame[["growth_mm_per_km", "play_next_mm", "play_next_sd_mm", "p_over_next"]].to_numpy(dtype=float)


def estimates(results: WearResults) -> np.ndarray:
    """Return everything that a fit estimates."""
    lines = results.cohorts[["intercept", "growth", "intercept_se", "growth_se"]].sort_index().to_numpy().ravel()
    cov = results.cov_re.to_numpy().ravel()
    return np.concatenate([results.params.sort_index(), cov, [results.residual_variance, results.llf], lines])
