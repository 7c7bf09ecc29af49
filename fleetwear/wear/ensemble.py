"""The results of "auto": one fit a shape, and their weights."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import InputError
from fleetwear.wear.labels import Labels, label_codes, limits
from fleetwear.wear.learnt import Learnt
from fleetwear.wear.prediction import Components, predict_frame
from fleetwear.wear.stacking import Weights, by_evidence, stacking_weights

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fleetwear.wear.results import WearResults
    from fleetwear.wear.sums import Floats


@dataclass(frozen=True)
class EnsembleResults:
    """Fits of several shapes to the same lives; forecasts are their mixture by the weights of each life's cohort.

    Properties that belong to one fit (fixed effects, covariances, likelihood) are those of the shape of
    highest weight; :meth:`fit_of` gives any.
    """

    fits: dict[str, WearResults]
    stacked: Weights
    scores: pd.DataFrame
    """Log scores of next visits, one row a scored reading, one column a shape, and cohort and fold."""
    scored_cohorts: list[str]
    """Labels that the cohorts of the scores stand for."""
    spread: float = 1.0
    """Factor of the variances of true play, from held-out visits: what the shapes' own variances leave out."""
    evidence: float = 0.0
    """Power of the density of a life's own readings in the weights of shapes for that life."""

    @classmethod
    def of_one(cls, fit: WearResults) -> EnsembleResults:
        """Return one fit as an ensemble."""
        scores = pd.DataFrame(columns=[fit.shape, "cohort", "fold"])
        return cls({fit.shape: fit}, stacking_weights(scores), scores, fit.cohort_labels)

    @property
    def weights(self) -> dict[str, float]:
        """The weight of each shape over all cohorts."""
        return self.stacked.overall

    @cached_property
    def cohort_weights(self) -> pd.DataFrame:
        """The weights of each cohort that has scored visits: one row a cohort, one column a shape, n_scored."""
        frame = self.stacked.by_cohort
        return frame.set_axis(pd.Index([self.scored_cohorts[code] for code in frame.index], name="cohort"))

    @cached_property
    def learnt(self) -> Learnt:
        """What the lives have taught, without them."""
        own = self.cohort_weights[list(self.fits)]
        weights = {str(cohort): row for cohort, row in zip(own.index, own.to_numpy().tolist(), strict=True)}
        populations = {name: fit.population for name, fit in self.fits.items()}
        return Learnt(populations, self.weights, weights, self.spread, self.evidence, self.doubt)

    def weights_of(self, cohorts: list[str]) -> Floats:
        """Return the weights of cohorts, shape (C, shapes); the overall ones for a cohort without scored visits."""
        return self.learnt.weights_of(cohorts)

    def without_lives(self) -> EnsembleResults:
        """Return the fits with no lives: what is said of them stays, and what a large fleet takes in memory goes."""
        return replace(self, fits={name: fit.without_lives() for name, fit in self.fits.items()})

    @property
    def shape(self) -> str:
        """The shape of highest weight."""
        return max(self.weights, key=lambda name: self.weights[name])

    @property
    def best(self) -> WearResults:
        """The fit of highest weight."""
        return self.fits[self.shape]

    def fit_of(self, shape: str) -> WearResults:
        """Return the fit of one shape.

        Raises
        ------
        InputError
            If that shape is not among the fits.
        """
        if shape not in self.fits:
            known = ", ".join(self.fits)
            raise InputError(f"there is no fit of shape {shape!r} here", mend=f"Choose one of: {known}.")
        return self.fits[shape]

    @property
    def life_labels(self) -> Labels:
        """The labels of the lives."""
        return self.best.life_labels

    @property
    def fixed_effects(self) -> pd.Series[float]:
        """Fixed effects of the shape of highest weight."""
        return self.best.fixed_effects

    @property
    def params(self) -> pd.Series[float]:
        """The same as :attr:`fixed_effects`."""
        return self.best.params

    @property
    def bse(self) -> pd.Series[float]:
        """Standard errors of the fixed effects of the shape of highest weight."""
        return self.best.bse

    def cov_params(self) -> pd.DataFrame:
        """Return the covariance of the fixed effects of the shape of highest weight."""
        return self.best.cov_params()

    @property
    def cov_re(self) -> pd.DataFrame:
        """Covariance of the random effects in the shape of highest weight."""
        return self.best.cov_re

    @property
    def residual_variance(self) -> float:
        """Residual variance of the shape of highest weight."""
        return self.best.residual_variance

    @property
    def loglik(self) -> float:
        """Log-likelihood of the shape of highest weight."""
        return self.best.loglik

    @property
    def llf(self) -> float:
        """The same as :attr:`loglik`."""
        return self.best.llf

    @property
    def converged(self) -> bool:
        """Whether every fit of any weight converged."""
        return all(fit.converged for name, fit in self.fits.items() if self.weights[name] > 0.01)

    @property
    def doubt(self) -> str:
        """Empty, or why forecasts need care, with the shape it concerns."""
        said = [f"{name}: {fit.doubt}" for name, fit in self.fits.items() if fit.doubt and self.weights[name] > 0.01]
        if self.scores.empty:
            said.append("too few lives to weigh the shapes, so they count equally")
        return "; ".join(said)

    def conf_int(self, level: float = 0.95) -> pd.DataFrame:
        """Return confidence intervals of the fixed effects of the shape of highest weight."""
        return self.best.conf_int(level)

    def random_effects(self) -> pd.DataFrame:
        """Return the random effects of the shape of highest weight, one row a life."""
        return self.best.random_effects()

    def components(self, rows: NDArray[np.int64], distance: Floats) -> Components:
        """Return mean, variance and weight of the true play of lives at distances, the components of all shapes."""
        parts = [fit.components(rows, distance) for fit in self.fits.values()]
        own = self.best
        weights = self.weights_of(own.cohort_labels)[own.cohort_codes[rows]]
        if self.evidence:
            density = np.stack([fit.posterior.log_density[rows] for fit in self.fits.values()], axis=1)
            weights = by_evidence(weights, density, self.evidence)
        return Components(
            np.concatenate([part.mean for part in parts], axis=1),
            self.spread * np.concatenate([part.variance for part in parts], axis=1),
            np.concatenate([part.noise for part in parts], axis=1),
            np.concatenate([weights[:, [k]] * part.weight for k, part in enumerate(parts)], axis=1),
        )

    def predict(self, life: ArrayLike, distance: ArrayLike, level: float = 0.95) -> pd.DataFrame:
        """Return the forecast of lives at distances; as :meth:`WearResults.predict`, from the mixture."""
        return predict_frame(self, life, distance, level=level)

    def crossing_probability(self, life: ArrayLike, distance: ArrayLike, limit: ArrayLike) -> Floats:
        """Return P(true play > limit) of lives at distances since installation, shape (n,)."""
        rows, x = label_codes(self.life_labels, life, distance)
        return self.components(rows, x).exceeds(limits(limit, len(x)))

    def update(
        self,
        life: ArrayLike,
        distance: ArrayLike,
        play: ArrayLike,
        cohort: ArrayLike | None = None,
        *,
        variance_ratio: ArrayLike | None = None,
        result: ArrayLike | None = None,
        resolution: ArrayLike | None = None,
        method: ArrayLike | None = None,
    ) -> EnsembleResults:
        """Return results for the lives of these readings, populations and weights unchanged."""
        fits = {
            name: fit.update(
                life,
                distance,
                play,
                cohort,
                variance_ratio=variance_ratio,
                result=result,
                resolution=resolution,
                method=method,
            )
            for name, fit in self.fits.items()
        }
        return EnsembleResults(fits, self.stacked, self.scores, self.scored_cohorts, self.spread, self.evidence)

    def summary(self) -> str:
        """Return the weights and the summary of each fit as text."""
        head = "Weights by next-visit score: " + ", ".join(
            f"{name} {weight:.3f}" for name, weight in self.weights.items()
        )
        return "\n\n".join([head, *(fit.summary() for fit in self.fits.values())])
