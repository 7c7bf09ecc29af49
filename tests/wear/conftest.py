"""Simulated fleets and dense-matrix twins of the mixed model for the tests of the wear model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from fleetwear.wear.methods import Methods
from fleetwear.wear.problem import Problem
from fleetwear.wear.reading_errors import ReadingErrors


@dataclass(frozen=True)
class Fleet:
    """Readings (n,) with the truth: each life's intercept and growth (J, 2)."""

    life: np.ndarray
    distance: np.ndarray
    play: np.ndarray
    cohort: np.ndarray
    line: np.ndarray

    @property
    def readings(self):
        return self.life, self.distance, self.play, self.cohort


def simulated_fleet(
    seed, *, lives=60, readings=(3, 7), cohorts=("all",), beta=None, sd=(0.05, 1.5e-6), corr=0.2, noise=0.03,
    longest=200_000.0, exponent=1.0,
):  # fmt: skip
    """Lives dealt to cohorts in turn; play = line at (x / 1)^exponent (over 100,000 unless 1) + noise."""
    rng = np.random.default_rng(seed)
    count = rng.integers(readings[0], readings[1] + 1, lives)
    life = np.repeat(np.arange(lives), count)
    of_life = np.arange(lives) % len(cohorts)
    if beta is None:
        beta = np.array([[0.1 + 0.03 * k, 4e-6 + 5e-7 * k] for k in range(len(cohorts))])
    cov = np.array([[sd[0] ** 2, corr * sd[0] * sd[1]], [corr * sd[0] * sd[1], sd[1] ** 2]])
    line = np.asarray(beta)[of_life] + rng.multivariate_normal([0.0, 0.0], cov, lives)
    distance = rng.uniform(0.02, 1.0, len(life)) * longest
    growth = distance if exponent == 1.0 else 1e5 * (distance / 1e5) ** exponent
    play = line[life, 0] + line[life, 1] * growth + rng.normal(0.0, noise, len(life))
    return Fleet(life, distance, play, np.asarray(cohorts, dtype=object)[of_life][life], line)


def dense_deviance(life, g, y, v, group, T, *, reml, level=False, known_variance=None):
    """Minus twice the log-likelihood at T from the full covariance matrix; sigma2 and beta profiled out."""
    groups = np.unique(group)
    columns = [(group == k).astype(float) for k in groups]
    if not level:
        columns += [np.where(group == k, g, 0.0) for k in groups]
    X = np.stack(columns, axis=1)
    Z = np.stack([np.ones_like(g), np.zeros_like(g) if level else g], axis=1)
    same = life[:, None] == life[None, :]
    V = np.diag(v) + np.where(same, Z @ T @ Z.T, 0.0)
    inverse = np.linalg.inv(V)
    information = X.T @ inverse @ X
    beta = np.linalg.solve(information, X.T @ inverse @ y)
    residual = y - X @ beta
    rss = residual @ inverse @ residual
    dof = len(y) - (X.shape[1] if reml else 0)
    sigma2 = rss / dof if known_variance is None else known_variance
    deviance = np.linalg.slogdet(V)[1] + dof * np.log(2.0 * np.pi * sigma2) + rss / sigma2
    if reml:
        deviance += np.linalg.slogdet(information)[1]
    half = len(groups)
    return deviance, beta.reshape(-1, half).T, sigma2


@pytest.fixture(scope="session")
def make_fleet():
    return simulated_fleet


@pytest.fixture(scope="session")
def dense():
    return dense_deviance


@pytest.fixture(scope="session")
def make_problem():
    """Return the problem of labelled readings of one method, as numbers with normal errors."""

    def make(labelled):
        errors = ReadingErrors(Methods.one())
        return Problem(
            labelled.readings, labelled.lives, labelled.cohorts, labelled.cohort_codes, reml=True, errors=errors
        )

    return make
