"""Methods of measuring: offsets and variances against another implementation, and a change of method."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from fleetwear import wear
from fleetwear.errors import InputError

OFFSET, NOISE = 0.06, (0.03, 0.06)


def fleet(seed, *, lives=200, visits=6, offset=OFFSET, noise=NOISE, changes=False):
    """Lives measured by "dial" and "lever"; with ``changes`` by the lever first and the dial from some visit on."""
    rng = np.random.default_rng(seed)
    life = np.repeat(np.arange(lives), visits)
    x = np.sort(rng.uniform(0.1, 1.6, (lives, visits)), axis=1).ravel()
    line = np.array([0.15, 0.5]) + rng.normal(size=(lives, 2)) * [0.06, 0.15]
    true = line[life, 0] + line[life, 1] * x
    method = np.tile(np.arange(visits) >= visits // 2, lives) if changes else rng.random(len(x)) < 0.5
    lever = ~method if changes else method
    y = true + np.where(lever, offset, 0.0) + rng.normal(size=len(x)) * np.where(lever, noise[1], noise[0])
    return life, x, y, np.where(lever, "lever", "dial"), line


@pytest.mark.filterwarnings("ignore:The MLE may be on the boundary")
def test_offsets_equal_those_of_another_implementation():
    """statsmodels MixedLM (ML) with the method as a fixed effect: the offset to a hundredth of its standard error,
    where variances are alike. What is assumed of offsets draws ours in by one part in four hundred.
    """
    life, x, y, method, _ = fleet(1, noise=(0.03, 0.03))
    ours = wear.fit(life, x, y, shape="straight", method=method, reference_method="dial", reml=False)
    frame = pd.DataFrame({"y": y, "x": x, "lever": method == "lever", "life": life})
    theirs = smf.mixedlm("y ~ x + lever", frame, groups="life", re_formula="~x").fit(reml=False)
    methods = ours.population.errors.methods
    at = methods.names.index("lever")
    assert methods.reference == methods.names.index("dial")
    assert methods.offset[at] == pytest.approx(theirs.params["lever[T.True]"], abs=0.05 * theirs.bse["lever[T.True]"])
    assert methods.offset_se[at] == pytest.approx(theirs.bse["lever[T.True]"], rel=0.05)
    assert methods.ratio[at] == pytest.approx(1.0, abs=0.15)
    assert ours.residual_variance == pytest.approx(theirs.scale, rel=0.1)


def test_offsets_and_variances_are_found():
    off, ratios = [], []
    for seed in range(6):
        life, x, y, method, _ = fleet(seed)
        methods = wear.fit(
            life, x, y, shape="straight", method=method, reference_method="dial"
        ).population.errors.methods
        at = methods.names.index("lever")
        off.append((methods.offset[at] - OFFSET) / methods.offset_se[at])
        ratios.append(methods.ratio[at])
    assert np.abs(off).max() < 3.5
    assert np.mean(ratios) == pytest.approx((NOISE[1] / NOISE[0]) ** 2, rel=0.1)


def test_a_change_of_method_does_not_look_like_wear():
    """Read high by the lever for three visits and by the dial from then on, growth looks a fifth too slow unless
    methods are told apart; here some lives are measured by both ways at all times.
    """
    one, two = fleet(3, changes=True, offset=0.12), fleet(4, offset=0.12)
    life = np.concatenate([one[0], two[0] + 1000])
    x, y, method = (np.concatenate([a, b]) for a, b in zip(one[1:4], two[1:4], strict=True))
    told = wear.fit(life, x, y, shape="straight", method=method, reference_method="dial")
    blind = wear.fit(life, x, y, shape="straight")
    changing = np.arange(200)
    truth = one[4] @ [1.0, 2.0]
    bias = [np.mean(results.predict(changing, 2.0)["mean"] - truth) for results in (told, blind)]
    assert abs(bias[0]) < 0.01
    assert bias[1] < -0.03


def test_forecasts_of_lives_read_by_either_method_agree():
    life, x, y, method, _ = fleet(5)
    results = wear.fit(life, x, y, shape="straight", method=method, reference_method="dial")
    at, play = np.array([0.4, 0.8, 1.2]), np.array([0.35, 0.55, 0.75])
    dial = results.update(["a"] * 3, at, play, method=["dial"] * 3).predict("a", 1.8)
    lever = results.update(["a"] * 3, at, play + OFFSET, method=["lever"] * 3).predict("a", 1.8)
    assert lever["mean"][0] == pytest.approx(dial["mean"][0], abs=0.02)
    assert lever["se"][0] > dial["se"][0], "the lever is the noisier"
    other = results.update(["a"] * 3, at, play, method=["string and ruler"] * 3).predict("a", 1.8)
    assert other["se"][0] > dial["se"][0], "a method that was never seen tells less"


def test_a_detection_curve_is_found():
    """Truth: threshold 0.25, softness 0.05; a third of the readings saw nothing."""
    rng = np.random.default_rng(2)
    life, x, _, _, line = fleet(7, lives=400)
    true = 0.5 * (line[life, 0] + line[life, 1] * x)
    unseen = rng.random(len(x)) < 1 / (1 + np.exp((true - 0.25) / 0.03))
    y = np.where(unseen, np.nan, true + rng.normal(0, 0.03, len(x)))
    results = wear.fit(life, x, y, shape="straight", result=np.where(unseen, "none seen", "measured"))
    methods = results.population.errors.methods
    assert unseen.mean() > 0.2
    assert methods.threshold[0] == pytest.approx(0.25, abs=0.01)
    assert methods.softness[0] == pytest.approx(0.03 * 1.702, rel=0.3), "a logistic curve is nearly a probit one"
    ahead = results.predict(np.arange(400), 1.8)
    truth = 0.5 * (line @ [1.0, 1.8])
    assert abs(np.mean(ahead["mean"] - truth)) < 0.01
    assert np.mean((truth >= ahead["play_lower"]) & (truth <= ahead["play_upper"])) == pytest.approx(0.95, abs=0.035)


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({"result": ["measured"] * 11 + ["loose"]}, "none seen"),
        ({"result": ["measured"] * 3}, "one result a reading"),
        ({"method": ["dial"] * 11 + [None]}, "every reading a method"),
        ({"method": ["dial"]}, "one method a reading"),
        ({"method": ["dial"] * 12, "reference_method": "lever"}, "Choose one of"),
        ({"resolution": -0.1}, "0 or more"),
    ],
)
def test_what_cannot_be_taken(given, word):
    life, x = np.repeat(np.arange(4), 3), np.tile([1.0, 2.0, 3.0], 4)
    with pytest.raises(InputError) as caught:
        wear.fit(life, x, 0.1 * x, shape="straight", **given)
    assert word in f"{caught.value}"
