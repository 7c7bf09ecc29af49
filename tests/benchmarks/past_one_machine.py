"""What a fit and a forecast over partitions cost: seconds, traffic, memory and storage of N lives.

    python tests/benchmarks/past_one_machine.py FOLDER --lives 1000000 --partitions 16 --workers 1 2

Writes invented lives (five readings each, 24 cohorts of one kind) as Parquet into FOLDER where it holds none, fits
and forecasts them with so many worker processes of this machine, and prints JSON. Nothing passes or fails. Processor
seconds tell what work costs on a machine that others share; seconds tell what it took. DEVELOPERS.md, "Past one
machine", rests on it.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import platform
import resource
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import fleetwear
from fleetwear.partitions import (
    ClusterParts,
    Place,
    cluster_client,
    fit_partitions,
    forecast_partitions,
    partitions_of,
)
from fleetwear.partitions.place import LAYOUT

READINGS, NODES, JOINTS_A_VEHICLE = 5, 31, 8
MODELS, DUTIES = 8, 3


def write_lives(place: Place, lives: int, partitions: int) -> None:
    """Write invented lives, each with five readings and a forecast to make."""
    each = -(-lives // partitions)
    with place.connection() as con:
        for number in range(partitions):
            n = min(each, lives - number * each)
            readings, series = some_lives(number * each, n, np.random.default_rng(number))
            place.write(con.from_df(readings), place.part("readings", number))
            place.write(con.from_df(series), place.part("series", number))
        day = pd.Timestamp("2026-11-20")
        about = {"layout": LAYOUT, "partitions": partitions, "as_of": day, "known_by": day, "made_at": day}
        frame = pd.DataFrame([about | {"program_version": fleetwear.__version__}])
        place.write(con.from_df(frame), place.file("about.parquet"))


def some_lives(first: int, n: int, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return readings and series of n lives, numbered from ``first``."""
    number = first + np.arange(n)
    vehicle = number // JOINTS_A_VEHICLE
    model, duty = vehicle % MODELS, vehicle // MODELS % DUTIES
    cohort = np.array([f"ball joint/in-out/model {m}/duty {d}" for m in range(MODELS) for d in range(DUTIES)])
    own = cohort[model * DUTIES + duty]
    line = rng.multivariate_normal([0.1, 0.3], [[0.0025, 0.0008], [0.0008, 0.01]], n)
    line[:, 1] += 0.02 * model + 0.03 * duty
    distance = np.sort(rng.uniform(2.0, 150.0, (n, READINGS)), axis=1).round(3) * 1000.0
    play = line[:, :1] + line[:, 1:] * distance / 1e5 + rng.normal(0.0, 0.05, (n, READINGS))
    labels = pd.DataFrame({"series": number, "vehicle_id": vehicle, "cohort": own}).assign(
        kind="ball joint", direction="in-out", origin="original"
    )
    readings = labels.loc[np.repeat(np.arange(n), READINGS)].assign(
        seen=np.int8(0), variance_ratio=1.0, distance_km=distance.ravel(), play_mm=play.ravel().round(3)
    )
    ahead = np.sort(rng.normal(165_000.0, 4_000.0, (n // JOINTS_A_VEHICLE + 2, NODES)), axis=1)
    series = labels.assign(
        unit=[f"S{one}" for one in vehicle], joint="left front lower ball joint",
        earlier_km_at_most=0.0, n_visits=READINGS, last_date=pd.Timestamp("2026-10-01"), last_result="measured",
        last_play_mm=play[:, -1].round(3), life_start_km=0.0, limit_mm=0.8, limit_source="invented", indicative="",
        next_service_date=pd.Timestamp("2027-01-15"), service_km=list(ahead[vehicle - vehicle[0]]),
    )  # fmt: skip
    return readings, series


@dataclass
class Measured:
    """Parts of a cluster, with what is sent and told task by task."""

    of: ClusterParts
    told: dict[str, dict[str, float]] = field(default_factory=dict)

    def _note(self, task: Callable[..., Any], arguments: tuple[object, ...], seconds: float, gathered: int) -> None:
        row = self.told.setdefault(task.__name__, {"calls": 0, "seconds": 0.0, "bytes_sent": 0, "bytes_gathered": 0})
        row["calls"] += 1
        row["seconds"] = round(row["seconds"] + seconds, 3)
        row["bytes_sent"] += len(pickle.dumps(arguments)) * len(self.of.parts)
        row["bytes_gathered"] += gathered

    def ask(self, task: Callable[..., Any], *arguments: object) -> list[Any]:
        began = time.perf_counter()
        found = self.of.ask(task, *arguments)
        seconds = time.perf_counter() - began
        self._note(task, arguments, seconds, sum(len(pickle.dumps(one)) for one in found))
        return found

    def keep(self, task: Callable[..., Any], *arguments: object) -> Measured:
        from distributed import wait

        began = time.perf_counter()
        kept = self.of.keep(task, *arguments)
        wait(kept.parts)  # so that the seconds are those of this task
        self._note(task, arguments, time.perf_counter() - began, 0)
        return Measured(kept, self.told)


def peak_bytes() -> int:
    """Return the most memory that this process has had (Linux), without what its parent had before it began."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) * 1024


def busy_seconds() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def all_busy(client: Any) -> np.ndarray:
    """Return the processor seconds so far of the workers together, and of the coordinator with its scheduler."""
    return np.array([sum(client.run(busy_seconds).values()), busy_seconds()])


def run(place: Place, workers: int) -> dict[str, Any]:
    """Fit and forecast the place once; return what it cost."""
    with cluster_client(workers=workers) as client:
        idle = max(client.run(peak_bytes).values())
        parts = Measured(ClusterParts(client, partitions_of(place)))
        start = all_busy(client)
        began = time.perf_counter()
        fitted = fit_partitions(parts)
        fit_seconds = time.perf_counter() - began
        fit_busy = all_busy(client) - start
        after_fit = max(client.run(peak_bytes).values())
        began = time.perf_counter()
        forecast_partitions(parts, fitted, place)
        forecast_seconds = time.perf_counter() - began
        forecast_busy = all_busy(client) - start - fit_busy
        peak = max(client.run(peak_bytes).values())
    results = fitted.fits["ball joint"]
    return {
        "workers": workers,
        "fit_seconds": round(fit_seconds, 2),
        "forecast_seconds": round(forecast_seconds, 2),
        "fit_processor_seconds_of_workers_and_coordinator": fit_busy.round(2).tolist(),
        "forecast_processor_seconds_of_workers_and_coordinator": forecast_busy.round(2).tolist(),
        "worker_bytes_idle": idle,
        "worker_bytes_after_fit": after_fit,
        "worker_bytes_peak": peak,
        "tasks": parts.told,
        "lives": results.n_groups,
        "readings": results.n_obs,
        "converged": results.converged,
        "residual_variance": results.residual_variance,
    }


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("folder", type=Path)
    arguments.add_argument("--lives", type=int, default=1_000_000)
    arguments.add_argument("--partitions", type=int, default=16)
    arguments.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    asked = arguments.parse_args()
    place = Place(str(asked.folder))
    began = time.perf_counter()
    if not (asked.folder / "about.parquet").exists():
        write_lives(place, asked.lives, asked.partitions)
    said: dict[str, Any] = {
        "machine": f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}",
        "distributed": version("distributed"),
        "duckdb": version("duckdb"),
        "load_average": os.getloadavg()[0],
        "partitions": asked.partitions,
        "writing_seconds": round(time.perf_counter() - began, 1),
        "runs": [],
    }
    for workers in asked.workers:
        said["runs"].append(run(place, workers))
        said["runs"][-1]["load_average_after"] = os.getloadavg()[0]
    for table in ("readings", "series", "forecasts"):
        said[f"bytes_{table}"] = sum(file.stat().st_size for file in (asked.folder / table).glob("part-*.parquet"))
    print(json.dumps(said, indent=1))


if __name__ == "__main__":
    main()
