"""Straight fits beside MixedLM and lme4 on the same data in the same run, and what other shapes cost.

MixedLM is given distances in units of 100,000 and its L-BFGS optimiser: of its default (BFGS), L-BFGS and
Powell followed by L-BFGS, that is the quickest on these fleets, and it arrives.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from fleets import COHORTS, NAMES, Fleet, fleet
from timing import Timed, as_table, said, show, timed, times

from fleetwear.wear import fit, fit_sums

OURS_FOR_S = 3.0
"""Seconds that fleetwear's own fits are repeated for."""


@dataclass(frozen=True)
class Estimates:
    """Fixed effects (8,), three (co)variances and the residual variance; and the log-likelihood."""

    numbers: np.ndarray
    loglik: float

    def apart(self, other: Estimates) -> str:
        """Largest relative differences of fixed effects and of (co)variances, and that of the likelihoods."""
        split = 2 * COHORTS
        size = np.abs(other.numbers)
        size[split + 1] = np.sqrt(size[split] * size[split + 2])  # a covariance may be near zero
        gap = np.abs(self.numbers - other.numbers) / size
        return f"{gap[:split].max():.0e}, {gap[split:].max():.0e}, {self.loglik - other.loglik:+.1e}"


def ours(data: Fleet, shape: str = "straight") -> Estimates:
    results = fit(data.life, data.distance, data.play, data.cohort, shape=shape)
    cov = results.cov_re.to_numpy()
    return Estimates(
        np.array([*results.params, cov[0, 0], cov[0, -1], cov[-1, -1], results.residual_variance]), results.llf
    )


def from_sums(data: Fleet, runs: int) -> Timed:
    """Time the fit of lives of which only the sums are at hand."""
    sums, codes = data.sums(), data.codes
    return timed(lambda: fit_sums(sums, NAMES, codes, reference=1.0), runs, for_seconds=OURS_FOR_S)


def mixedlm(data: Fleet) -> Estimates:
    """Return MixedLM's estimates; cohorts are fixed interactions."""
    import statsmodels.api as sm

    dummies = pd.get_dummies(data.cohort).to_numpy(float)
    exog = np.stack([column for d in dummies.T for column in (d, d * data.distance)], axis=1)
    model = sm.MixedLM(data.play, exog, groups=data.life, exog_re=np.stack([np.ones(len(exog)), data.distance], axis=1))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = model.fit(method="lbfgs")
    cov = np.asarray(found.cov_re)
    return Estimates(np.array([*found.fe_params, cov[0, 0], cov[0, 1], cov[1, 1], found.scale]), float(found.llf))


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
cat("version", as.character(packageVersion("lme4")), "\\n")
"""


def lmer(data: Fleet, runs: int) -> tuple[Timed, str] | None:
    """Time lme4's fit, the reading of its data left out, and return its version too; None where it is not installed."""
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
    found = Estimates(np.array([*fixed, *values[2 * COHORTS : -1]]), float(values[-1]))
    return Timed(seconds, found), next(line[1] for line in lines if line[0] == "version")


def compare(lives: int, runs: int, peers: dict[str, int]) -> list[list[str]]:
    """Rows of the table for one size; ``peers`` says how often each is run."""
    data = fleet(lives)
    mine = timed(lambda: ours(data), runs, for_seconds=OURS_FOR_S)
    quickest = from_sums(data, runs)
    loglik = quickest.found[1].loglik
    assert abs(loglik - mine.found.loglik) < 1e-9 * abs(loglik)
    rows = [
        [
            f"{lives:,}",
            f"{len(data.life):,}",
            "fleetwear, from readings",
            said(mine.median),
            str(len(mine.seconds)),
            "",
            "",
            "",
        ],
        ["", "", "fleetwear, from the sums", said(quickest.median), str(len(quickest.seconds)), "", "", ""],
    ]
    for row in rows:
        show(row)
    for name, n in peers.items():
        theirs: Timed | None
        if name == "MixedLM":
            theirs = timed(lambda: mixedlm(data), n)
        else:
            found = lmer(data, n)
            theirs = None if found is None else found[0]
            name = name if found is None else f"{name} {found[1]}"
        if theirs is None:
            continue
        ratios = [times(theirs.median / own.median) for own in (mine, quickest)]
        rows.append(["", "", name, said(theirs.median), str(n), *ratios, mine.found.apart(theirs.found)])
        show(rows[-1])
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


def fit_section(*, quick: bool) -> str:
    ours(fleet(50))  # imports and caches are not timed
    mixedlm(fleet(20))
    rows = compare(500, 11, {"MixedLM": 3, "lme4": 3})
    rows += compare(2_000, 11, {"MixedLM": 1 if quick else 3, "lme4": 3})
    rows += compare(10_000, 11, {} if quick else {"MixedLM": 1, "lme4": 3})
    large = compare(100_000, 5, {} if quick else {"lme4": 1})
    rows += large
    if not quick:
        rows += compare(200_000, 5, {"lme4": 1})
    reached = same_time(timed(lambda: ours(fleet(100_000)), 1).median)
    header = ["lives", "readings", "program", "median", "runs", "times from readings", "times from the sums", "apart"]
    return f"""Random intercept and growth, {COHORTS} cohorts, five readings a life, REML. MixedLM has scaled distances
and its quickest optimiser on these fleets (L-BFGS); lme4 has its defaults, and the reading of its data is not timed.
*From the sums* leaves out labels and the sums themselves. *Times*: the median over fleetwear's. *Apart*: the largest
relative difference from fleetwear of a fixed effect, of a (co)variance, and fleetwear's log-likelihood less the peer's.

{as_table(header, rows)}

In the time in which fleetwear makes and fits 100,000 lives, MixedLM fits {reached} (doubled from ten, one run each)."""


def shapes_section(*, quick: bool) -> str:
    ours(fleet(50), "auto")
    rows = []
    for lives in (500, 2_000, 10_000) if quick else (500, 2_000, 10_000, 100_000):
        data = fleet(lives)
        straight = timed(lambda data=data: ours(data), 5).median
        power = timed(lambda data=data: ours(data, "power"), 5).median
        auto = timed(lambda data=data: ours(data, "auto"), 3).median
        rows.append(
            [f"{lives:,}", said(straight), said(power), times(power / straight), said(auto), times(auto / straight)]
        )
        show(rows[-1])
    header = ["lives", "straight", "power", "in straight fits", "auto", "in straight fits"]
    return f"""What a power curve costs, and "auto" (every shape, and each again in five folds of a sample), from
readings:

{as_table(header, rows)}"""
