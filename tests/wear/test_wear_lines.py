"""A straight fit from the sums alone is that from the readings."""

import numpy as np
import pytest

from fleetwear.errors import FitError
from fleetwear.wear import fit, fit_sums
from fleetwear.wear.labels import labelled_readings

REFERENCE = 90_000.0


def summed(readings):
    labelled = labelled_readings(*readings)
    return labelled.readings.sums(1.0, REFERENCE), labelled.cohorts, labelled.cohort_codes


@pytest.mark.parametrize("reml", [True, False])
def test_the_sums_are_enough(make_fleet, reml):
    fleet = make_fleet(3, lives=80, cohorts=("a/b", "a/c", "d"))
    results = fit(*fleet.readings, shape="straight", reml=reml)
    population, estimation = fit_sums(*summed(fleet.readings), reference=REFERENCE, reml=reml)
    # the same sums over another reference distance: rounding only
    assert estimation.loglik == pytest.approx(results.llf, rel=1e-10)
    assert estimation.n_obs == len(fleet.life)
    assert estimation.lives == results.estimation.lives
    assert population.residual_variance == pytest.approx(results.residual_variance, rel=1e-9)
    H = population.to_user()
    np.testing.assert_allclose(
        population.residual_variance * H @ population.relative_cov @ H.T, results.cov_re, rtol=1e-6
    )
    for cohort in ("a/b", "a", "d", "all"):
        mean = H @ population.lines[cohort].mean
        other = results.population.to_user() @ results.population.lines[cohort].mean
        np.testing.assert_allclose(mean, other, rtol=1e-7)


def test_what_is_known_of_a_life_follows_from_its_sums(make_fleet):
    fleet = make_fleet(4, cohorts=("a", "b"))
    results = fit(*fleet.readings, shape="straight")
    sums, cohorts, codes = summed(fleet.readings)
    population, _ = fit_sums(sums, cohorts, codes, reference=REFERENCE)
    own = labelled_readings(*fleet.readings).readings.sums(1.0, 1.0)
    effects, _ = population.effects(own, population.prior(cohorts, codes))
    expected, _ = results.population.effects(own, results.population.prior(cohorts, codes))
    np.testing.assert_allclose(effects, expected, rtol=1e-6, atol=1e-9)


def test_too_few_lives_are_refused(make_fleet):
    sums, cohorts, codes = summed(make_fleet(5).readings)
    few = np.arange(3)
    with pytest.raises(FitError, match="too few"):
        fit_sums(sums.take(few), cohorts, codes[few], reference=REFERENCE)
