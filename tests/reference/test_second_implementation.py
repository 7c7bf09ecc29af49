"""statsmodels' MixedLM as a live second implementation on simulated fleets."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from fleetwear.wear import fit

TIGHT = {"xtol": 1e-9, "ftol": 1e-12, "pgtol": 1e-9, "factr": 10.0}


def fleet(seed, *, cohorts, lives):
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(lives), rng.integers(3, 7, lives))
    of_life = np.arange(lives) % cohorts
    x = rng.uniform(0.05, 2.0, len(life))
    b = rng.multivariate_normal([0, 0], [[0.04, 0.004], [0.004, 0.02]], lives)
    y = 0.5 + 0.2 * of_life[life] + b[life, 0] + (0.8 + 0.1 * of_life[life] + b[life, 1]) * x
    return life, x, y + rng.normal(0.0, 0.1, len(life)), np.array([f"c{k}" for k in of_life])[life]


@pytest.mark.parametrize(("seed", "cohorts", "lives"), [(0, 1, 40), (1, 3, 60), (2, 4, 60)])
@pytest.mark.parametrize("reml", [True, False])
def test_equals_mixedlm(seed, cohorts, lives, reml):
    """Cohorts are MixedLM's fixed interactions.

    Its default stopping rules leave estimates good to 1e-5 and covariances to 1e-2; with the tight ones here
    both are at one optimum, and what differs is the rounding of two different formulas.
    """
    life, x, y, cohort = fleet(seed, cohorts=cohorts, lives=lives)
    ours = fit(life, x, y, cohort, shape="straight", reml=reml)
    dummies = pd.get_dummies(cohort).to_numpy(float)
    exog = np.stack([column for d in dummies.T for column in (d, d * x)], axis=1)
    model = sm.MixedLM(y, exog, groups=life, exog_re=np.stack([np.ones_like(x), x], axis=1))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = model.fit(reml=reml, method=["powell", "lbfgs"], **TIGHT)
    np.testing.assert_allclose(ours.params, theirs.fe_params, rtol=1e-6)
    np.testing.assert_allclose(ours.cov_re, theirs.cov_re, rtol=1e-4)
    assert ours.residual_variance == pytest.approx(theirs.scale, rel=1e-6)
    assert ours.llf == pytest.approx(theirs.llf, abs=1e-6)
    assert ours.llf >= theirs.llf - 1e-8
    # its errors come from the Hessian of all parameters, ours given the covariances: 0.4 % apart here
    np.testing.assert_allclose(ours.bse, theirs.bse_fe, rtol=1e-2)


def test_by_default_ours_is_the_higher_likelihood():
    life, x, y, cohort = fleet(1, cohorts=3, lives=90)
    ours = fit(life, x, y, cohort, shape="straight")
    dummies = pd.get_dummies(cohort).to_numpy(float)
    exog = np.stack([column for d in dummies.T for column in (d, d * x)], axis=1)
    model = sm.MixedLM(y, exog, groups=life, exog_re=np.stack([np.ones_like(x), x], axis=1))
    theirs = model.fit(method=["powell", "lbfgs"])
    assert ours.llf >= theirs.llf
    # five digits of the fixed effects, as far as its default stopping rules carry them
    np.testing.assert_allclose(ours.params, theirs.fe_params, rtol=5e-5)
