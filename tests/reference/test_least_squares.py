"""Certified and published least squares, through the project's own sums where they apply.

With no spread between lives the mixed model is least squares, and its sums are the normal equations.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm

from fleetwear.wear.criterion import Criterion
from fleetwear.wear.sums import reading_arrays


def least_squares(x, y):
    """Intercept, growth, their standard errors and s: REML at zero spread, of sums that are centred."""
    life = np.arange(len(x)) % 3
    raw = reading_arrays(life, x, y, n_lives=3).sums(1.0, float(x.mean()))
    centre = raw.wg.sum() / raw.w.sum()
    spread = np.sqrt(raw.wgg.sum() / raw.w.sum() - centre**2)
    profile = Criterion(raw.centred(centre, spread), np.zeros(3, dtype=np.int64), 1, True).profile(np.zeros(3))
    unit = spread * x.mean()
    H = np.array([[1.0, -centre / spread], [0.0, 1.0 / unit]])
    cov = profile.sigma2 * H @ np.linalg.inv(profile.information[0]) @ H.T
    return H @ profile.beta[0], np.sqrt(np.diag(cov)), np.sqrt(profile.sigma2)


def norris():
    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_linregress" / "Norris.dat"
    rows = np.array([line.split() for line in path.read_text().splitlines()[60:] if line.strip()], dtype=float)
    return rows[:, 1], rows[:, 0]


NORRIS = (
    [-0.262323073774029, 1.00211681802045],
    [0.232818234301152, 0.429796848199937e-03],
    0.884796396144373,
)


def test_norris_certified_values():
    """NIST Statistical Reference Datasets, Norris (linear regression, lower difficulty), certified values."""
    x, y = norris()
    assert len(x) == 36
    estimate, error, s = least_squares(x, y)
    # the normal equations square the condition number: of sixteen digits about nine are left
    np.testing.assert_allclose(estimate, NORRIS[0], rtol=1e-9)
    np.testing.assert_allclose(error, NORRIS[1], rtol=1e-9)
    assert s == pytest.approx(NORRIS[2], rel=1e-9)


def test_norris_through_statsmodels():
    """The same values from the peer, so that the reading of the file is checked apart from our sums."""
    x, y = norris()
    found = sm.OLS(y, sm.add_constant(x)).fit()
    np.testing.assert_allclose(found.params, NORRIS[0], rtol=1e-9)
    np.testing.assert_allclose(found.bse, NORRIS[1], rtol=1e-9)


DEGRADATION = {
    65.0: """
        0.87 1.48 2.81   0.33 0.96 2.13   0.94 2.91 5.67   0.72 1.98 4.28   0.66 0.99 2.14
    """,
    85.0: """
        1.41 2.47 5.71   3.61 8.99 17.69   2.13 5.72 11.54   4.36 9.82 19.55   6.91 17.37 34.84
    """,
    105.0: """
        24.58 62.02 124.10   9.73 24.07 48.06   4.74 11.53 23.72   23.61 58.21 117.20   10.90 27.85 54.97
    """,
}
"""Percent degradation of five units a temperature (Celsius), each at 200, 500 and 1000 hours."""


def test_accelerated_degradation():
    """NIST/SEMATECH e-Handbook of Statistical Methods, degradation data (8.4.2.3, from memory).

    Each reading is projected to 30 percent in proportion, and the logarithm of that time regressed on
    1e5 / (8.617 (T + 273.16)). Five to seven digits are published: half a unit of the last.
    """
    x, y = [], []
    for celsius, units in DEGRADATION.items():
        for hours, percent in zip((200.0, 500.0, 1000.0) * 5, units.split(), strict=True):
            x.append(1e5 / (8.617 * (celsius + 273.16)))
            y.append(np.log(30.0) - (np.log(float(percent)) - np.log(hours)))
    estimate, error, s = least_squares(np.array(x), np.array(y))
    assert len(y) == 45
    np.testing.assert_allclose(estimate, [-18.94337, 0.81877], atol=5e-6)
    np.testing.assert_allclose(error, [1.83343, 0.05641], atol=5e-6)
    assert s == pytest.approx(0.5611, abs=5e-5)
    assert 1 - 43 * s**2 / ((y - np.mean(y)) ** 2).sum() == pytest.approx(0.8305, abs=5e-5)
