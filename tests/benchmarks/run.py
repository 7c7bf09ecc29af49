"""Timed runs of the mixed model against peers on the same data in the same run.

    python tests/benchmarks/run.py            every case
    python tests/benchmarks/run.py --quick    without the peers' large cases

Prints a table and writes results.md beside this file. Nothing passes or fails on seconds: what matters
are the ratios, and whether the estimates agree. R's lme4 is timed where Rscript and lme4 are installed.

MixedLM is given distances in units of 100,000 and its L-BFGS optimiser: of its default (BFGS), L-BFGS and
Powell followed by L-BFGS, that is the quickest on these fleets, and it arrives.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import loading
import numpy as np
import pandas as pd

from fleetwear.wear import fit

RESULTS = Path(__file__).with_name("results.md")
COHORTS = 4


@dataclass(frozen=True)
class Fleet:
    """Readings of a simulated fleet: random intercept and slope, four cohorts, five readings a life."""

    life: np.ndarray
    distance: np.ndarray
    play: np.ndarray
    cohort: np.ndarray


def fleet(lives: int, *, seed: int = 0) -> Fleet:
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(lives), 5)
    distance = np.sort(rng.uniform(0.0, 2.0, (lives, 5)), axis=1).ravel()
    of_life = np.arange(lives) % COHORTS
    b = rng.multivariate_normal([0.0, 0.0], [[0.01, 0.003], [0.003, 0.04]], lives)
    play = 0.1 + 0.02 * of_life[life] + b[life, 0] + (0.4 + 0.05 * of_life[life] + b[life, 1]) * distance
    play = play + rng.normal(0.0, 0.05, len(life))
    return Fleet(life, distance, play, np.array([f"c{k}" for k in of_life])[life])


@dataclass(frozen=True)
class Timed:
    """Seconds of each run, and estimates: fixed effects (8,), three (co)variances, residual variance."""

    seconds: list[float]
    estimates: np.ndarray
    loglik: float

    @property
    def median(self) -> float:
        return float(np.median(self.seconds))


def timed(run: Callable[[], tuple[np.ndarray, float]], runs: int) -> Timed:
    seconds = []
    for _ in range(runs):
        began = time.perf_counter()
        estimates, loglik = run()
        seconds.append(time.perf_counter() - began)
    return Timed(seconds, estimates, loglik)


def ours(data: Fleet, shape: str = "straight") -> tuple[np.ndarray, float]:
    results = fit(data.life, data.distance, data.play, data.cohort, shape=shape)
    cov = results.cov_re.to_numpy()
    return np.array([*results.params, cov[0, 0], cov[0, -1], cov[-1, -1], results.residual_variance]), results.llf


def mixedlm(data: Fleet) -> tuple[np.ndarray, float]:
    """Return MixedLM's estimates; cohorts are fixed interactions."""
    import statsmodels.api as sm

    dummies = pd.get_dummies(data.cohort).to_numpy(float)
    exog = np.stack([column for d in dummies.T for column in (d, d * data.distance)], axis=1)
    model = sm.MixedLM(data.play, exog, groups=data.life, exog_re=np.stack([np.ones(len(exog)), data.distance], axis=1))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = model.fit(method="lbfgs")
    cov = np.asarray(found.cov_re)
    return np.array([*found.fe_params, cov[0, 0], cov[0, 1], cov[1, 1], found.scale]), float(found.llf)


LMER = """
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1])
runs <- as.integer(commandArgs(TRUE)[2])
for (i in 1:runs) {
  t <- system.time(m <- lmer(play ~ 0 + cohort + cohort:distance + (1 + distance | life), d, REML = TRUE))
  cat("seconds", t[["elapsed"]], "\\n")
}
v <- as.matrix(VarCorr(m)$life)
found <- c(fixef(m), v[1, 1], v[1, 2], v[2, 2], sigma(m)^2, as.numeric(logLik(m)))
cat("estimates", format(found, digits = 15), "\\n")
"""


def lmer(data: Fleet, runs: int) -> Timed | None:
    """Time lme4's fit, the reading of its data left out; None where it is not installed."""
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        table, script = Path(folder) / "fleet.csv", Path(folder) / "fit.R"
        pd.DataFrame(vars(data)).to_csv(table, index=False)
        script.write_text(LMER)
        done = subprocess.run(
            ["Rscript", str(script), str(table), str(runs)], capture_output=True, text=True, check=False
        )
    if done.returncode:
        return None
    lines = [line.split() for line in done.stdout.splitlines()]
    values = np.array(next(line[1:] for line in lines if line[0] == "estimates"), dtype=float)
    seconds = [float(line[1]) for line in lines if line[0] == "seconds"]
    # lme4 gives all intercepts first
    fixed = values[: 2 * COHORTS].reshape(2, COHORTS).T.ravel()
    return Timed(seconds, np.array([*fixed, *values[2 * COHORTS : -1]]), float(values[-1]))


def said(seconds: float) -> str:
    return f"{seconds:.3f} s" if seconds < 1.0 else f"{seconds:.1f} s"


def apart(one: Timed, other: Timed) -> str:
    """Largest relative differences of fixed effects and of (co)variances, and that of the likelihoods."""
    split = 2 * COHORTS
    size = np.abs(other.estimates)
    size[split + 1] = np.sqrt(size[split] * size[split + 2])  # a covariance may be near zero
    gap = np.abs(one.estimates - other.estimates) / size
    return f"{gap[:split].max():.0e}, {gap[split:].max():.0e}, {one.loglik - other.loglik:+.1e}"


def compare(lives: int, runs: int, peers: dict[str, int]) -> list[list[str]]:
    """Rows of the table for one size; ``peers`` says how often each is run."""
    data = fleet(lives)
    mine = timed(lambda: ours(data), runs)
    rows = [[f"{lives:,}", f"{len(data.life):,}", "fleetwear", said(mine.median), str(runs), "", ""]]
    for name, times in peers.items():
        theirs = lmer(data, times) if name == "lme4 lmer" else timed(lambda: mixedlm(data), times)
        if theirs is None:
            continue
        ratio = f"{theirs.median / mine.median:,.0f}"
        rows.append(["", "", name, said(theirs.median), str(times), ratio, apart(mine, theirs)])
    for row in rows:
        print("  ".join(f"{cell:>14}" for cell in row), flush=True)
    return rows


def same_time(seconds: float) -> str:
    """Return how many lives MixedLM fits in these seconds, by doubling from ten."""
    reached = "fewer than 10"
    for lives in (10, 20, 40, 80, 160, 320):
        data = fleet(lives)
        if timed(lambda data=data: mixedlm(data), 1).median > seconds:
            break
        reached = f"{lives}"
    return reached


def shapes(lives: int, runs: int) -> list[str]:
    """One line on what the other shapes cost, in straight fits."""
    data = fleet(lives)
    straight = timed(lambda: ours(data), runs).median
    power = timed(lambda: ours(data, "power"), runs).median
    auto = timed(lambda: ours(data, "auto"), runs).median
    row = [f"{lives:,}", said(straight), f"{power / straight:.1f}", f"{auto / straight:.1f}"]
    print("  ".join(f"{cell:>14}" for cell in row), flush=True)
    return row


def machine() -> str:
    names = ["numpy", "scipy", "pandas", "statsmodels"]
    processor = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        lines = info.read_text().splitlines()
        found = [line.split(":")[1].strip() for line in lines if line.startswith("model name")]
        processor = found[0] if found else processor
    load = f", load average {os.getloadavg()[0]:.1f} at the start" if hasattr(os, "getloadavg") else ""
    versions = ", ".join(f"{name} {version(name)}" for name in names)
    return f"{os.cpu_count()} cores ({processor}){load}. Python {platform.python_version()}, {versions}."


def as_table(header: list[str], rows: list[list[str]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def main() -> int:
    parser = argparse.ArgumentParser(description="Time the mixed model against its peers.")
    parser.add_argument("--quick", action="store_true", help="leave out the peers' large cases")
    quick = parser.parse_args().quick
    warnings.simplefilter("ignore")
    where = machine()
    ours(fleet(50), "auto")  # imports and caches are not timed
    mixedlm(fleet(20))
    rows = compare(500, 7, {"MixedLM": 3, "lme4 lmer": 3})
    rows += compare(2_000, 7, {"MixedLM": 1 if quick else 3, "lme4 lmer": 3})
    rows += compare(10_000, 7, {} if quick else {"MixedLM": 1, "lme4 lmer": 3})
    large = compare(100_000, 5, {} if quick else {"lme4 lmer": 1})
    rows += large
    reached = same_time(float(large[0][3].removesuffix(" s")))
    costs = [shapes(lives, 5) for lives in (500, 2_000, 10_000, 100_000)]
    loads = [loading.compare(rows) for rows in ((100_000,) if quick else (100_000, 1_000_000))]
    text = f"""# Timed runs

Written by `python tests/benchmarks/run.py`. {where}

Other programs shared the machine, so seconds are orders of magnitude; ratios are of medians of one run.
Random intercept and growth, {COHORTS} cohorts, five readings a life, REML. MixedLM has scaled distances and
its quickest optimiser on these fleets (L-BFGS). *Apart*: the largest relative difference from fleetwear of a
fixed effect, of a (co)variance, and fleetwear's log-likelihood less the peer's.

{as_table(["lives", "readings", "program", "median", "runs", "ratio", "apart"], rows)}

In the time in which fleetwear fits 100,000 lives, MixedLM fits {reached} (doubled from ten, one run each).

What a power curve costs, and "auto" (both shapes, and both in each of five folds), in straight fits:

{as_table(["lives", "straight", "power", "auto"], costs)}

Loading a clean readings CSV, checked against the contract and the store, beside DuckDB's `create table as select` from
the same file, which checks nothing:

{as_table(["rows", "file", "fleetwear", "DuckDB", "ratio", "of processor seconds", "most memory"], loads)}
"""
    RESULTS.write_text(text)
    print(f"\nwritten to {RESULTS.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
