"""The results of one fitted shape, in the reader's units and in statsmodels' words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.errors import InputError
from fleetwear.wear.labels import Labels, label_codes, labelled_readings, limits
from fleetwear.wear.population import parent_of
from fleetwear.wear.prediction import Components, checked_level, predict_frame

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fleetwear.wear.mixed_model import Optimum
    from fleetwear.wear.population import LifePosterior, Lines, Population
    from fleetwear.wear.sums import Floats, Integers

TERMS = ["intercept", "growth"]


@dataclass(frozen=True)
class Estimation:
    """How the population was estimated: what stands in the summary. K fixed-effect groups."""

    optimum: Optimum
    groups: list[str]
    alone: dict[str, bool]
    lives: dict[str, int]
    n_obs: int
    n_groups: int
    reml: bool
    loglik: float
    n_parameters: int
    note: str
    """What was assumed on the way, or empty."""


@dataclass(frozen=True)
class WearResults:
    """One shape fitted to a fleet, and what is known of each of J lives.

    ``update`` gives the same population with other lives.
    """

    population: Population
    estimation: Estimation
    life_labels: Labels
    cohort_labels: list[str]
    cohort_codes: Integers
    readings: Any
    """The lives' readings as judged: what gives their sums."""

    # the population -----------------------------------------------------------------------------

    @property
    def shape(self) -> str:
        """The growth shape: "straight", "power", "two-stage", "wandering" or "level"."""
        return self.population.shape.name

    @property
    def exponent(self) -> float:
        """The exponent gamma of the growth shape; 1 for a straight line."""
        return self.population.shape.exponent

    @property
    def reference_distance(self) -> float:
        """The distance at which the growth function g is 1, in the caller's unit of distance."""
        return self.population.shape.reference

    @property
    def _terms(self) -> list[str]:
        return TERMS[:1] if self.population.level else TERMS

    @cached_property
    def params(self) -> pd.Series[float]:
        """Generalised least-squares fixed effects of each group, index (cohort, term); play at distance
        zero, and growth in play per unit of g.
        """
        beta = self.estimation.optimum.profile.beta @ self.population.to_user().T
        return pd.Series(beta[:, : len(self._terms)].ravel(), index=self._index(), name="estimate")

    def _index(self) -> pd.MultiIndex:
        return pd.MultiIndex.from_product([self.estimation.groups, self._terms], names=["cohort", "term"])

    @property
    def fixed_effects(self) -> pd.Series[float]:
        """The same as :attr:`params`."""
        return self.params

    def cov_params(self) -> pd.DataFrame:
        """Return the covariance of the fixed effects, both axes (cohort, term)."""
        H, q = self.population.to_user(), len(self._terms)
        inverse = np.linalg.inv(self._information())
        blocks = self.population.residual_variance * (H @ inverse @ H.T)[:, :q, :q]
        size = q * len(blocks)
        full = np.zeros((size, size))
        for k, block in enumerate(blocks):
            full[q * k : q * k + q, q * k : q * k + q] = block
        return pd.DataFrame(full, index=self._index(), columns=self._index())

    def _information(self) -> Floats:
        information = self.estimation.optimum.profile.information.copy()
        if self.population.level:
            information[:, 0, 1] = information[:, 1, 0] = 0.0
            information[:, 1, 1] = 1.0
        return information

    @property
    def bse(self) -> pd.Series[float]:
        """Standard errors of the fixed effects."""
        cov = self.cov_params()
        return pd.Series(np.sqrt(np.diag(cov.to_numpy())), index=cov.index, name="std_error")

    def conf_int(self, level: float = 0.95) -> pd.DataFrame:
        """Return normal confidence intervals of the fixed effects, columns lower and upper."""
        from scipy import stats

        half = stats.norm.ppf(0.5 + checked_level(level) / 2.0) * self.bse
        return pd.DataFrame({"lower": self.params - half, "upper": self.params + half})

    @property
    def cov_re(self) -> pd.DataFrame:
        """Covariance of the random effects of lives about their cohort's line, in the reader's units."""
        H, q = self.population.to_user(), len(self._terms)
        cov = self.population.residual_variance * H @ self.population.relative_cov @ H.T
        return pd.DataFrame(cov[:q, :q], index=self._terms, columns=self._terms)

    @property
    def residual_variance(self) -> float:
        """Variance of a reading of variance ratio 1 about the true play, in play squared."""
        return self.population.residual_variance

    @property
    def loglik(self) -> float:
        """The (restricted) log-likelihood at the optimum."""
        return self.estimation.loglik

    @property
    def llf(self) -> float:
        """The same as :attr:`loglik`, under statsmodels' name."""
        return self.loglik

    @property
    def aic(self) -> float:
        """Akaike's criterion, from the likelihood maximised; compares shapes only after ML."""
        return 2.0 * self.estimation.n_parameters - 2.0 * self.loglik

    @property
    def bic(self) -> float:
        """Schwarz's criterion, from the likelihood maximised; compares shapes only after ML."""
        return float(np.log(self.n_obs)) * self.estimation.n_parameters - 2.0 * self.loglik

    @property
    def n_obs(self) -> int:
        """Readings that the population was fitted to."""
        return self.estimation.n_obs

    @property
    def n_groups(self) -> int:
        """Lives that the population was fitted to."""
        return self.estimation.n_groups

    @property
    def reml(self) -> bool:
        """Whether the restricted likelihood was maximised."""
        return self.estimation.reml

    @property
    def converged(self) -> bool:
        """Whether the optimiser came to rest."""
        return self.estimation.optimum.converged

    @property
    def doubt(self) -> str:
        """Empty, or why forecasts from this fit need care."""
        return self.population.doubt

    @cached_property
    def cohorts(self) -> pd.DataFrame:
        """One row a cohort: parent, n_lives, stands_alone, whose_line, and its shrunken mean line with
        standard errors (intercept, growth, intercept_se, growth_se) in the reader's units.
        """
        H = self.population.to_user()
        rows = []
        for cohort, n_lives in self.estimation.lives.items():
            line, whose = self.population.mean_line(cohort)
            mean, cov = H @ line.mean, H @ line.cov @ H.T
            se = np.sqrt(np.maximum(np.diag(cov), 0.0))
            parent = parent_of(cohort)
            rows.append(
                (cohort, parent, n_lives, self.estimation.alone[cohort], whose, *mean[:2], *se[:2]),
            )
        columns = [
            "cohort",
            "parent",
            "n_lives",
            "stands_alone",
            "whose_line",
            *TERMS,
            "intercept_se",
            "growth_se",
        ]
        return pd.DataFrame(rows, columns=columns).set_index("cohort")

    # the lives -----------------------------------------------------------------------------------

    def without_lives(self) -> WearResults:
        """Return the population with no lives: what is said of the fit stays, what is known of its lives goes."""
        return replace(self, life_labels=self.life_labels[:0], cohort_codes=self.cohort_codes[:0], readings=None)

    @cached_property
    def life_sums(self) -> Any:
        """The lives' sums, in the form that the population takes."""
        return self.population.sums_of(self.readings.arrays())

    @cached_property
    def _prior(self) -> Lines:
        return self.population.prior(self.cohort_labels, self.cohort_codes)

    @cached_property
    def posterior(self) -> LifePosterior:
        """What is known of each life's line, in the solver's coordinates."""
        return self.population.know(self.life_sums, self._prior)

    def random_effects(self) -> pd.DataFrame:
        """Return the predicted random effects, one row a life: cohort, intercept, growth and their
        standard errors (of the life's line about its cohort's line, in the reader's units).
        """
        H = self.population.to_user()
        effects, cov = self.population.effects(self.life_sums, self._prior)
        effects = effects @ H.T
        variance = np.einsum("ij,njk,ik->ni", H, cov, H)
        frame = pd.DataFrame(
            {
                "cohort": np.asarray(self.cohort_labels, dtype=object)[self.cohort_codes],
                "intercept": effects[:, 0],
                "growth": effects[:, 1],
                "intercept_se": np.sqrt(np.maximum(variance[:, 0], 0.0)),
                "growth_se": np.sqrt(np.maximum(variance[:, 1], 0.0)),
            },
            index=pd.Index(self.life_labels, name="life"),
        )
        return frame.drop(columns=["growth", "growth_se"]) if self.population.level else frame

    @property
    def weights(self) -> dict[str, float]:
        """The weight of each shape; here there is one."""
        return {self.shape: 1.0}

    def fit_of(self, shape: str) -> WearResults:
        """Return the fit of one shape."""
        if shape != self.shape:
            raise InputError(f"there is no fit of shape {shape!r} here", mend=f"This fit has {self.shape!r}.")
        return self

    def components(self, rows: NDArray[np.int64], distance: Floats) -> Components:
        """Return mean, variance and weight of the true play of lives at distances."""
        mean, variance, shares = self.posterior.at(self.population.coordinates(distance), rows)
        return Components(mean, variance, np.full_like(mean, self.residual_variance), shares)

    def predict(self, life: ArrayLike, distance: ArrayLike, level: float = 0.95) -> pd.DataFrame:
        """Return the forecast of lives at distances since their installation.

        Parameters
        ----------
        life
            Labels of lives that this object knows, shape (n,), or one label for all distances.
        distance
            Distances since installation, shape (n,).
        level
            Probability that an interval covers.

        Returns
        -------
        DataFrame of n rows: life, distance, mean, se (of the true play), play_lower, play_upper (prediction
        interval of the true play), reading_lower, reading_upper (of one reading), doubt.

        Raises
        ------
        InputError
            If a life is unknown; :meth:`update` makes it known from its own readings.
        """
        return predict_frame(self, life, distance, level=level)

    def crossing_probability(self, life: ArrayLike, distance: ArrayLike, limit: ArrayLike) -> Floats:
        """Return P(true play > limit) of lives at distances since installation, shape (n,).

        ``limit`` is in the unit of play, one for all or one a row. Raises InputError as :meth:`predict`.
        """
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
    ) -> WearResults:
        """Return results for the lives of these readings, the population unchanged.

        Parameters are those of :func:`fleetwear.wear.fit`. A cohort that the fit has not seen takes the
        line of the nearest parent that it has, made wider by the spread between cohorts; a method that it has not
        seen counts as the reference method, its error wider by what methods are assumed to differ by.
        """
        errors = self.population.errors
        labelled = labelled_readings(
            life, distance, play, cohort, variance_ratio=variance_ratio, result=result, resolution=resolution,
            method=method, known_methods=errors.methods.names if errors else None,
        )  # fmt: skip
        prior = self.population.prior(labelled.cohorts, labelled.cohort_codes)
        return WearResults(
            self.population,
            self.estimation,
            labelled.lives,
            labelled.cohorts,
            labelled.cohort_codes,
            self.population.settle(labelled.readings, prior),
        )

    def summary(self) -> str:
        """Return a table of the fit as text."""
        from fleetwear.wear.summary import summary_text

        return summary_text(self)
