"""Simulated fleets: random intercept and growth, four cohorts, five readings a life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleetwear.wear.sums import LifeSums, reading_arrays

COHORTS, READINGS = 4, 5
NAMES = [f"c{k}" for k in range(COHORTS)]


@dataclass(frozen=True)
class Fleet:
    """Readings, shape (n,); the cohort is a label."""

    life: np.ndarray
    distance: np.ndarray
    play: np.ndarray
    cohort: np.ndarray

    @property
    def n_lives(self) -> int:
        return len(self.life) // READINGS

    @property
    def codes(self) -> np.ndarray:
        """Cohort of each life."""
        return np.arange(self.n_lives) % COHORTS

    def sums(self) -> LifeSums:
        """Sums of the lives with g = distance."""
        return reading_arrays(self.life, self.distance, self.play, n_lives=self.n_lives).sums(1.0, 1.0)


def fleet(lives: int, *, seed: int = 0) -> Fleet:
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(lives), READINGS)
    distance = np.sort(rng.uniform(0.0, 2.0, (lives, READINGS)), axis=1).ravel()
    of_life = np.arange(lives) % COHORTS
    b = rng.multivariate_normal([0.0, 0.0], [[0.01, 0.003], [0.003, 0.04]], lives)
    play = 0.1 + 0.02 * of_life[life] + b[life, 0] + (0.4 + 0.05 * of_life[life] + b[life, 1]) * distance
    play = play + rng.normal(0.0, 0.05, len(life))
    return Fleet(life, distance, play, np.array(NAMES)[of_life][life])
