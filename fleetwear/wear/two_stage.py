"""The population of two-stage wear: one mixed model a possible onset, and the onsets' weights.

Beyond the records the onset hazard goes on as it was over their last third, so that onsets between today
and the next service carry mass; what is left is "never within twice the records".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.wear.onset import OnsetSums, TwoStage, mix, onset_sums
from fleetwear.wear.population import LifePosterior, Lines, Population

if TYPE_CHECKING:
    from fleetwear.wear.sums import Floats, ReadingArrays

_LAST_PART = 1.0 / 3.0


@dataclass(frozen=True)
class TwoStagePopulation(Population):
    """A population whose lives wear faster from an unknown onset on."""

    pace: float
    """By how much growth is faster after the onset."""
    onset_grid: Floats
    """Onsets in the unit of distance, infinity last, shape (C,)."""
    onset_weights: Floats
    """Their weights over the fleet, shape (C,)."""

    @property
    def paces(self) -> Floats:
        """By how much growth is faster after each onset; 1 where there is none, shape (C,)."""
        return np.where(np.isfinite(self.onset_grid), self.pace, 1.0)

    @property
    def onsets(self) -> Floats:
        """The onset of each component; 0 where there is none, shape (C,)."""
        return np.where(np.isfinite(self.onset_grid), self.onset_grid, 0.0)

    def coordinates(self, distance: Floats) -> Floats:
        """Return the solver's growth coordinate at distances under each onset, shape (n, C)."""
        x = distance[:, None]
        g = (x + (self.pace - 1.0) * np.maximum(x - self.onset_grid, 0.0)) / self.shape.reference
        return np.asarray((g - self.centre) / self.spread)

    def sums_of(self, readings: ReadingArrays, *, earlier: bool = False) -> OnsetSums:
        """Return the sums of each life, or of each reading's past, under every onset."""
        return onset_sums(readings, self.onset_grid, self.shape.reference, earlier=earlier)

    def know(self, sums: OnsetSums, prior: Lines) -> LifePosterior:
        """Return what is known of each life, onset by onset."""
        each, flat = self._each(prior), sums.at(self.pace)
        lines, _ = self.posterior(flat, each)
        log_density = self.log_marginal(flat, each).reshape(-1, sums.n_onsets)
        total, shares = mix(log_density, self.onset_weights)
        return LifePosterior(lines, shares, total)

    def effects(self, sums: OnsetSums, prior: Lines) -> tuple[Floats, Floats]:
        """Return the random effects of each life, averaged over its onsets, and their covariance."""
        each = self._each(prior)
        means, covs = super().effects(sums.at(self.pace), each)
        shares = self.know(sums, prior).shares
        mean = means.reshape(*shares.shape, 2)
        middle = np.einsum("jc,jca->ja", shares, mean)
        gap = mean - middle[:, None, :]
        cov = np.einsum("jc,jcab->jab", shares, covs.reshape(*shares.shape, 2, 2))
        return middle, cov + np.einsum("jc,jca,jcb->jab", shares, gap, gap)

    def _each(self, prior: Lines) -> Lines:
        """Return the prior line of each life once for every onset."""
        return prior.take(np.repeat(np.arange(len(prior.mean)), len(self.onset_grid)))


def beyond_records(onsets: Floats, found: TwoStage) -> tuple[Floats, Floats]:
    """Return the onset grid, and its weights, with the weight of "later" spread beyond the records.

    Parameters
    ----------
    onsets
        The grid of the fit, evenly spaced and infinity last, shape (C,).
    found
        The fit.
    """
    inner, weights = onsets[:-1], found.onset_weights
    later = float(weights[-1])
    n_last = max(int(len(inner) * _LAST_PART), 1)
    hazard = np.log1p(float(weights[:-1][-n_last:].sum()) / max(later, 1e-12)) / n_last
    step = float(inner[1] - inner[0])
    ahead = np.arange(len(inner))
    mass = later * (np.exp(-hazard * ahead) - np.exp(-hazard * (ahead + 1)))
    grid = np.concatenate([inner, inner[-1] + step * (ahead + 1), [np.inf]])
    return grid, np.concatenate([weights[:-1], mass, [max(later - float(mass.sum()), 0.0)]])
