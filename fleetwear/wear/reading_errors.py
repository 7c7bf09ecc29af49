"""What stands between the true play and what is on record: slips, methods, detection, rounding."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fleetwear.wear.slips import Slips

if TYPE_CHECKING:
    from fleetwear.wear.judging import Judged
    from fleetwear.wear.methods import Methods
    from fleetwear.wear.population import Population
    from fleetwear.wear.sums import Integers, ReadingArrays


@dataclass(frozen=True)
class ReadingErrors:
    """How readings come from true plays."""

    methods: Methods
    slips: Slips | None = None
    """None where errors are taken as normal."""

    def with_slips(self, residual_variance: float) -> ReadingErrors:
        """Return the same with slips as they are first assumed."""
        return replace(self, slips=self.slips or Slips.first(residual_variance))

    def improved(
        self, judged: Judged, readings: ReadingArrays, population: Population, cohorts: Integers
    ) -> ReadingErrors:
        """Return the estimates after readings were judged under a population; cohorts are codes, shape (J,)."""
        slips = None if self.slips is None else self.slips.improved(judged, population.residual_variance)
        return ReadingErrors(self.methods.improved(judged, readings, population, cohorts), slips)
