"""Seeded fleets of every awkward shape, and what R's lme4 makes of them: run it to make ``lme4_sweep.csv`` anew."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

KEPT = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True)
class Fleet:
    """Readings, distances in 100,000 km; cohorts are labels."""

    life: np.ndarray
    distance: np.ndarray
    play: np.ndarray
    cohort: np.ndarray

    @property
    def n_cohorts(self) -> int:
        return len(np.unique(self.cohort))


def simulated(
    seed: int,
    counts: np.ndarray,
    *,
    sd: tuple[float, float] = (0.12, 0.09),
    correlation: float = 0.3,
    cohorts: tuple[int, ...] = (),
    span: tuple[float, float] = (0.05, 2.0),
) -> Fleet:
    """Lives with ``counts`` readings; the first ``cohorts[0]`` lives are of cohort a, the next of b, and so on."""
    rng = np.random.default_rng(seed)
    lives = len(counts)
    life = np.repeat(np.arange(lives), counts)
    sizes = cohorts or (lives,)
    of_life = np.repeat(np.arange(len(sizes)), sizes)
    first, second = rng.normal(size=(2, lives))
    b0 = sd[0] * first
    b1 = sd[1] * (correlation * first + np.sqrt(1.0 - correlation**2) * second)
    distance = rng.uniform(*span, len(life))
    middle = distance - 0.5 * sum(span)
    play = 0.5 + 0.1 * of_life[life] + b0[life] + (0.4 + 0.08 * of_life[life] + b1[life]) * middle
    return Fleet(life, distance, play + rng.normal(0.0, 0.05, len(life)), np.array(list("abcdef"))[of_life][life])


def fleets() -> dict[str, Fleet]:
    rng = np.random.default_rng(1)
    return {
        "two-readings": simulated(1, np.full(60, 2)),
        "forty-readings": simulated(2, np.full(30, 40)),
        "ragged": simulated(3, rng.integers(1, 41, 40)),
        "no-intercept-spread": simulated(10, np.full(50, 4), sd=(0.0, 0.08), correlation=0.0),
        "no-growth-spread": simulated(11, np.full(50, 4), sd=(0.1, 0.0), correlation=0.0),
        "no-spread": simulated(4, np.full(50, 4), sd=(0.0, 0.0)),
        "rising-together": simulated(9, np.full(50, 5), correlation=1.0),
        "rising-apart": simulated(3, np.full(50, 5), correlation=-1.0),
        "small-beside-large": simulated(8, np.full(65, 4), cohorts=(5, 60)),
        "tiny-beside-huge": simulated(9, np.full(2_005, 3), cohorts=(5, 2_000)),
        "three-ragged": simulated(10, rng.integers(1, 9, 54), cohorts=(28, 18, 8)),
        "far-away": simulated(11, np.full(40, 5), span=(9.0, 10.0)),
        "much-spread": simulated(12, np.full(40, 5), sd=(2.0, 1.5), correlation=0.6),
    }


def columns(fleet: Fleet) -> list[str]:
    labels = np.unique(fleet.cohort)
    return [*(f"intercept {label}" for label in labels), *(f"growth {label}" for label in labels)]


def lme4(given: dict[str, Fleet]) -> tuple[pd.DataFrame, str]:
    """Return what lme4 finds, one row a number, and its version; it and Rscript must be there."""
    table = pd.concat([pd.DataFrame({"fleet": name} | vars(fleet)) for name, fleet in given.items()])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fleets.csv"
        table.to_csv(path, index=False)
        script = Path(__file__).with_suffix(".R")
        done = subprocess.run(["Rscript", str(script), str(path)], capture_output=True, text=True, check=True)
    version, *lines = done.stdout.splitlines()
    rows = []
    for line in lines:
        name, *numbers = line.split()
        names = ["loglik", "singular", "residual variance", "var intercept", "covariance", "var growth"]
        names += columns(given[name])
        rows += [(name, what, value) for what, value in zip(names, map(float, numbers), strict=True)]
        rows.append((name, "sum of play", float(given[name].play.sum())))
    return pd.DataFrame(rows, columns=["fleet", "what", "value"]), version.strip()


def installed() -> bool:
    if shutil.which("Rscript") is None:
        return False
    asked = ["Rscript", "-e", "quit(status = !requireNamespace('lme4', quietly = TRUE))"]
    return subprocess.run(asked, capture_output=True, check=False).returncode == 0


def main() -> None:
    found, version = lme4(fleets())
    header = (
        f"# {version}: lme4_sweep.R on the fleets of lme4_sweep.py, written by python tests/reference/lme4_sweep.py"
    )
    KEPT.write_text(f"{header}\n{found.to_csv(index=False, float_format='%.14g', lineterminator=chr(10))}")


if __name__ == "__main__":
    main()
