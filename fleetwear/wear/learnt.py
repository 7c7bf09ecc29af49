"""What the lives of a group have taught, the lives left out: enough to know any life by its own readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fleetwear.wear.population import Population
    from fleetwear.wear.sums import Floats


@dataclass(frozen=True)
class Learnt:
    """The populations of a group, one a shape, and how the shapes are weighed."""

    populations: dict[str, Population]
    weights: dict[str, float]
    """The weight of each shape over all cohorts."""
    cohort_weights: dict[str, list[float]]
    """Of cohorts that have scored visits: their own weights, in the order of the shapes."""
    spread: float
    """Factor of the variances of true play."""
    evidence: float
    """Power of the density of a life's own readings in its weights of shapes."""
    doubt: str
    """Empty, or why forecasts need care."""

    @property
    def best(self) -> Population:
        """The population of the shape of highest weight."""
        return self.populations[max(self.weights, key=lambda name: self.weights[name])]

    def weights_of(self, cohorts: list[str]) -> Floats:
        """Return the weights of cohorts, shape (C, shapes); the overall ones for a cohort without scored visits."""
        overall = [self.weights[name] for name in self.populations]
        return np.array([self.cohort_weights.get(cohort, overall) for cohort in cohorts]).reshape(-1, len(overall))
