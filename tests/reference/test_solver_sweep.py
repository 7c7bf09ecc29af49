"""The solver beside statsmodels' MixedLM and R's lme4 over fleets of every awkward shape.

The criterion must be as low as theirs or lower; where no variance ends at its edge, all three are at one optimum, and
fixed effects agree to six digits. lme4's numbers are kept in ``lme4_sweep.csv`` and made live where it is installed.
"""

from __future__ import annotations

import sys
import warnings
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

sys.path.append(str(Path(__file__).parent))

import lme4_sweep
from lme4_sweep import Fleet

from fleetwear.errors import DoubtfulFitWarning
from fleetwear.wear import WearResults, fit

FLEETS = lme4_sweep.fleets()
EDGE = {"no-intercept-spread", "no-growth-spread", "no-spread", "rising-together", "rising-apart"}
"""Fleets that were made with a variance of zero or a correlation of one."""

LEFT_TO_LME4 = {"tiny-beside-huge", "much-spread"}
"""Fleets that MixedLM is not asked for: the first takes it half a minute."""

TIGHT = {"xtol": 1e-9, "ftol": 1e-12, "pgtol": 1e-9, "factr": 10.0}


@cache
def ours(name: str) -> WearResults:
    fleet = FLEETS[name]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DoubtfulFitWarning)
        found = fit(fleet.life, fleet.distance, fleet.play, fleet.cohort, shape="straight")
    assert isinstance(found, WearResults)
    assert found.converged
    return found


def compare(name: str, other: pd.Series, *, singular: bool) -> None:
    """Compare with what another program found, by the names of ``lme4_sweep.csv``."""
    results = ours(name)
    # both likelihoods are sums over some hundred to six thousand readings: rounding is left
    assert results.llf >= other["loglik"] - 1e-7
    if singular:
        return
    assert results.llf == pytest.approx(other["loglik"], abs=1e-6)
    fixed = results.params.to_numpy().reshape(-1, 2)
    theirs = other[lme4_sweep.columns(FLEETS[name])].to_numpy().reshape(2, -1).T
    np.testing.assert_allclose(fixed, theirs, rtol=1e-6)
    # the likelihood is flat about variances: their optimisers stop where it no longer changes
    cov = results.cov_re.to_numpy()
    size = np.sqrt(other["var intercept"] * other["var growth"])
    assert cov[0, 0] == pytest.approx(other["var intercept"], rel=1e-4)
    assert cov[0, 1] == pytest.approx(other["covariance"], abs=1e-4 * size)
    assert cov[1, 1] == pytest.approx(other["var growth"], rel=1e-4)
    assert results.residual_variance == pytest.approx(other["residual variance"], rel=1e-5)


@pytest.fixture(scope="module")
def kept() -> pd.DataFrame:
    frame = pd.read_csv(lme4_sweep.KEPT, comment="#").set_index(["fleet", "what"])["value"].unstack()
    sums = pd.Series({name: fleet.play.sum() for name, fleet in FLEETS.items()})
    # the seeded fleets are those that lme4 was given
    np.testing.assert_allclose(frame.loc[list(FLEETS), "sum of play"], sums, rtol=1e-12)
    return frame


@pytest.mark.parametrize("name", FLEETS)
def test_as_lme4_found_it(name: str, kept: pd.DataFrame) -> None:
    compare(name, kept.loc[name].dropna(), singular=bool(kept.loc[name, "singular"]))


def test_the_sweep_reaches_the_edges(kept: pd.DataFrame) -> None:
    """Both programs say which fleets end with a variance of zero or a correlation of one, and say the same."""
    assert {name for name in FLEETS if ours(name).doubt} == EDGE
    assert {name for name in FLEETS if kept.loc[name, "singular"]} == EDGE


def test_as_lme4_finds_it_live(kept: pd.DataFrame) -> None:
    if not lme4_sweep.installed():
        pytest.skip("Rscript with lme4 is not installed")
    found, _ = lme4_sweep.lme4(FLEETS)
    live = found.set_index(["fleet", "what"])["value"].unstack()
    for name in FLEETS:
        # another version may stop elsewhere on the flat, never far below
        assert live.loc[name, "loglik"] == pytest.approx(kept.loc[name, "loglik"], abs=1e-5)
        compare(name, live.loc[name].dropna(), singular=bool(live.loc[name, "singular"]))


def mixedlm(fleet: Fleet) -> pd.Series:
    dummies = pd.get_dummies(fleet.cohort).to_numpy(float)
    x = fleet.distance
    exog = np.concatenate([dummies, dummies * x[:, None]], axis=1)
    model = sm.MixedLM(fleet.play, exog, groups=fleet.life, exog_re=np.stack([np.ones_like(x), x], axis=1))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = model.fit(method=["powell", "lbfgs"], **TIGHT)
    cov = np.asarray(found.cov_re)
    named = dict(zip(lme4_sweep.columns(fleet), found.fe_params, strict=True))
    variances = {"var intercept": cov[0, 0], "covariance": cov[0, 1], "var growth": cov[1, 1]}
    return pd.Series(named | variances | {"loglik": found.llf, "residual variance": found.scale})


def dense_loglik(fleet: Fleet, cov: np.ndarray, scale: float) -> float:
    """Return the restricted log-likelihood at a covariance over the residual variance, from the matrix of all readings.

    beta and the residual variance are profiled out (Bates and others 2015, equation 42); nothing is shared with
    either program.
    """
    x, y = fleet.distance, fleet.play
    dummies = (fleet.cohort[:, None] == np.unique(fleet.cohort)).astype(float)
    X, Z = np.concatenate([dummies, dummies * x[:, None]], axis=1), np.stack([np.ones_like(x), x], axis=1)
    V = np.eye(len(y)) + np.where(fleet.life[:, None] == fleet.life, Z @ (cov / scale) @ Z.T, 0.0)
    factor = np.linalg.cholesky(V)
    right = np.linalg.solve(factor, np.column_stack([X, y]))
    information = right[:, :-1].T @ right[:, :-1]
    beta = np.linalg.solve(information, right[:, :-1].T @ right[:, -1])
    rss, dof = float(((right[:, -1] - right[:, :-1] @ beta) ** 2).sum()), len(y) - X.shape[1]
    dets = 2.0 * np.log(np.diag(factor)).sum() + np.linalg.slogdet(information)[1]
    return float(-0.5 * (dets + dof * np.log(2.0 * np.pi * rss / dof) + dof))


@pytest.mark.parametrize("name", [name for name in FLEETS if name not in LEFT_TO_LME4])
def test_as_mixedlm_finds_it(name: str) -> None:
    """Both optima are judged by the dense likelihood.

    What MixedLM itself says of a covariance that is singular is off by up to 1e-4.
    """
    fleet, results = FLEETS[name], ours(name)
    theirs = mixedlm(fleet)
    cov = np.array([[theirs["var intercept"], theirs["covariance"]], [theirs["covariance"], theirs["var growth"]]])
    theirs["loglik"] = dense_loglik(fleet, cov, theirs["residual variance"])
    own = dense_loglik(fleet, results.cov_re.to_numpy(), results.residual_variance)
    assert results.llf == pytest.approx(own, abs=1e-8)
    compare(name, theirs, singular=bool(results.doubt))


@pytest.mark.parametrize("name", ["two-readings", "ragged", "three-ragged"])
@pytest.mark.parametrize("unit", [1.0, 1e5, 1.609344e5])
@pytest.mark.parametrize("offset", [0.0, 10.0])
def test_neither_unit_nor_a_million_kilometres_lose_digits(name: str, unit: float, offset: float) -> None:
    """Distances in other units, and a million kilometres further on: the same lines to nine digits.

    An identity of the model: det(X'V^-1 X) grows by the square of the unit for each growth, and a shift moves
    intercepts along their lines; nothing else changes.
    """
    fleet, first = FLEETS[name], ours(name)
    other = fit(fleet.life, (fleet.distance + offset) * unit, fleet.play, fleet.cohort, shape="straight")
    assert other.llf + fleet.n_cohorts * np.log(unit) == pytest.approx(first.llf, rel=1e-9)
    assert other.residual_variance == pytest.approx(first.residual_variance, rel=1e-9)
    fixed, moved = first.params.to_numpy().reshape(-1, 2), other.params.to_numpy().reshape(-1, 2)
    np.testing.assert_allclose(moved[:, 1] * unit, fixed[:, 1], rtol=1e-9)
    np.testing.assert_allclose(moved[:, 0] + offset * unit * moved[:, 1], fixed[:, 0], rtol=1e-9)
    lives = np.unique(fleet.life)
    one, two = first.predict(lives, 1.5), other.predict(lives, (1.5 + offset) * unit)
    np.testing.assert_allclose(two["mean"], one["mean"], rtol=1e-8)
    np.testing.assert_allclose(two["se"], one["se"], rtol=1e-6)
