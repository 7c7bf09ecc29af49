"""Published figures of measurement: studies, pooled repeatability, rounding, guard bands, probability of conformity."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleetwear.measurement import analyse, decide, make_budget, pool_deviations, probability_within
from fleetwear.measurement.ranges import D2, D2_ONE_SAMPLE, d2_star
from fleetwear.vocabulary import Verdict

# AIAG, Measurement Systems Analysis, 4th ed. (2010), chapter III: 10 parts x 3 appraisers x 3 trials, read in a copy.
AIAG = np.array(
    [
        [[0.29, 0.41, 0.64], [0.08, 0.25, 0.07], [0.04, -0.11, -0.15]],
        [[-0.56, -0.68, -0.58], [-0.47, -1.22, -0.68], [-1.38, -1.13, -0.96]],
        [[1.34, 1.17, 1.27], [1.19, 0.94, 1.34], [0.88, 1.09, 0.67]],
        [[0.47, 0.50, 0.64], [0.01, 1.03, 0.20], [0.14, 0.20, 0.11]],
        [[-0.80, -0.92, -0.84], [-0.56, -1.20, -1.28], [-1.46, -1.07, -1.45]],
        [[0.02, -0.11, -0.21], [-0.20, 0.22, 0.06], [-0.29, -0.67, -0.49]],
        [[0.59, 0.75, 0.66], [0.47, 0.55, 0.83], [0.02, 0.01, 0.21]],
        [[-0.31, -0.20, -0.17], [-0.63, 0.08, -0.34], [-0.46, -0.56, -0.49]],
        [[2.26, 1.99, 2.01], [1.80, 2.12, 2.19], [1.77, 1.45, 1.87]],
        [[-1.36, -1.25, -1.31], [-1.68, -1.62, -1.50], [-1.49, -1.77, -2.16]],
    ]
)


@pytest.fixture(scope="module")
def long():
    joint, person, _ = np.indices(AIAG.shape)
    return joint.ravel(), person.ravel(), AIAG.ravel()


def test_aiag_analysis_of_variance(long):
    """AIAG (2010), chapter III, figures of the ANOVA method; six digits recomputed, so half of the sixth is allowed."""
    study = analyse(*long)
    assert study.method == "anova"
    assert study.pooled
    assert study.interaction_f == pytest.approx(0.434, abs=5e-4)
    assert study.interaction_p == pytest.approx(0.9741, abs=5e-5)
    expected = (0.199933, 0.226838, 0.302373, 1.042327)
    found = [study.deviation(name) for name in ("repeatability", "reproducibility", "gauge R&R", "joint to joint")]
    assert found == pytest.approx(expected, abs=5e-6)
    assert study.deviation("total") == pytest.approx(1.0853, abs=5e-5)
    assert study.share_of_total == pytest.approx(0.2786, abs=5e-5)
    assert study.distinct_categories == pytest.approx(4.86, abs=5e-3)


def test_aiag_average_and_range(long):
    """AIAG (2010), chapter III, the report of the average-and-range method: 26.68 % and ndc 5.09.

    The report rounds its constants and averages to three or four digits, hence 0.05 %.
    """
    study = analyse(*long, method="average and range")
    assert study.share_of_total == pytest.approx(0.2668, abs=5e-4)
    assert study.distinct_categories == pytest.approx(5.09, abs=5e-3)
    assert study.deviation("repeatability") == pytest.approx(0.20188, abs=5e-5)


def test_restricted_likelihood_equals_the_analysis_of_variance_where_balanced(long):
    """Searle, Casella & McCulloch (1992): in balanced data REML equals ANOVA where no estimate is below nought."""
    study, other = analyse(*long, method="reml"), analyse(*long)
    for name in ("repeatability", "reproducibility", "joint to joint", "total"):
        assert study.deviation(name) == pytest.approx(other.deviation(name), rel=1e-5)


@pytest.mark.parametrize("pooled", [True, False])
def test_restricted_likelihood_against_mixedlm_on_an_incomplete_study(long, pooled):
    """statsmodels' MixedLM with crossed variance components on the AIAG data less a quarter, with an interaction added.

    Both search numerically: log-likelihoods agree to 1e-4, deviations to a thousandth.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(5)
    keep = rng.random(90) > 0.25
    joint, person, play = (values[keep] for values in long)
    play = play + 0.4 * rng.normal(size=(10, 3))[joint, person]
    study = analyse(joint, person, play, pool_above=-1.0 if pooled else 0.25)
    assert study.pooled == pooled
    frame = pd.DataFrame({"joint": joint, "person": person, "play": play, "all": 1})
    parts = {"joint": "0 + C(joint)", "people": "0 + C(person)"}
    if not study.pooled:
        parts["interaction"] = "0 + C(joint):C(person)"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = MixedLM.from_formula("play ~ 1", frame, groups="all", vc_formula=parts).fit(reml=True)
    assert study.method == "reml"
    assert study.loglik == pytest.approx(other.llf, abs=1e-4)
    theirs = dict(zip(other.model.exog_vc.names, other.vcomp, strict=True)) | {"repeatability": other.scale}
    for name, variance in theirs.items():
        assert np.sqrt(study.variances[name]) == pytest.approx(np.sqrt(variance), rel=1e-3), name


def test_pooled_repeatability_of_the_handbook():
    """NIST/SEMATECH e-Handbook, 2.4.4: s = sqrt(3.17635 / 300) = 0.102897 from five sums of squares on 300 degrees.

    Half of the last printed digit is allowed.
    """
    pooled = pool_deviations([0.48115, 0.69209, 0.48483, 1.21752, 0.30076], 300)
    assert pooled.deviation == pytest.approx(0.102897, abs=5e-7)
    assert pooled.lower < pooled.deviation < pooled.upper


def test_probability_of_conformity():
    """JCGM 106:2012, 7.4: y 13.6, u 1.8, limits 12.5 and 16.3 give 0.66 (inputs read, printed value from memory)."""
    assert probability_within(13.6, 1.8, lower=12.5, upper=16.3) == pytest.approx(0.66, abs=0.005)
    assert probability_within(13.6, 1.8, lower=12.5, upper=16.3) == pytest.approx(0.66263, abs=5e-6)


def test_rounding():
    """JCGM 100:2008, F.2.2.1 (from memory): a step of 0.001 in has standard uncertainty 0.000289 in."""
    budget = make_budget(0.0, resolution=0.001)
    assert budget.combined == pytest.approx(0.000289, abs=1e-6)
    assert budget.combined == pytest.approx(0.001 / np.sqrt(12.0), rel=1e-12)


def test_guard_band():
    """ISO 14253-1 (form of the rule from memory): at a guard band of U = 2 u the risk at its edge is 0.02275."""
    budget = make_budget(0.05)
    edge = 0.5 + budget.expanded
    assert decide(edge, 0.5, budget).probability_over == pytest.approx(1.0 - 0.02275, abs=1e-5)
    assert decide(0.5 - budget.expanded, 0.5, budget).probability_over == pytest.approx(0.02275, abs=1e-5)
    assert decide(edge + 1e-9, 0.5, budget).verdict == Verdict.BEYOND_DOUBT_OVER
    assert decide(edge - 1e-9, 0.5, budget).verdict == Verdict.OVER
    # the edition of 2017 (95 % rule, from memory): 1.645 u
    assert decide(0.5 - 1.6449 * 0.05, 0.5, budget).verdict == Verdict.UNDER
    assert decide(0.5 - 1.6448 * 0.05, 0.5, budget).verdict == Verdict.TOO_CLOSE


@pytest.mark.parametrize("values", sorted(D2))
def test_range_constants_follow_from_the_normal_law(values):
    """AIAG (2010), appendix C (table from memory): d2 is the mean of a normal range, d2* of one sample its root mean
    square. Integrated here on a grid; the table has five decimals."""
    x = np.linspace(-8.5, 8.5, 1201)
    step, low, density = x[1] - x[0], stats.norm.cdf(x), stats.norm.pdf(x)
    mean = (1.0 - low**values - (1.0 - low) ** values).sum() * step
    between = np.maximum(low[None, :] - low[:, None], 0.0)
    joint = values * (values - 1) * between ** (values - 2) * np.outer(density, density)
    wide = np.maximum(x[None, :] - x[:, None], 0.0)
    square = (np.where(wide > 0.0, joint, 0.0) * wide**2).sum() * step**2
    assert D2[values] == pytest.approx(mean, abs=6e-6)
    assert D2_ONE_SAMPLE[values] == pytest.approx(np.sqrt(square), abs=2e-5)
    assert d2_star(values, 1) == pytest.approx(D2_ONE_SAMPLE[values])
