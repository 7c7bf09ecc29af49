"""A limit for another procedure: what it adds, how surely, and that the probability moves toward one half."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleetwear.forecast.draws import Procedure, SeriesDraws, forecast_draws
from fleetwear.forecast.horizon import Ahead
from fleetwear.forecast.procedures import indicative_words, procedure_errors
from fleetwear.wear.methods import ASSUMED_OFFSET
from fleetwear.wear.shared import Sharing

LEVER, PRY = "lever under tyre, read at the joint", "pry bar, read at the joint"
METHODS = pd.DataFrame(
    {"model_group": "ball joint", "way": [LEVER, PRY], "n_readings": [90, 10], "offset_mm": [0.0, -0.02],
     "offset_se": [0.0, 0.015], "residual_variance": 0.0016}
)  # fmt: skip
UNSEEN = ASSUMED_OFFSET * 0.04
STATED = {"limit_method": "lever under tyre", "limit_read_at": "joint", "limit_support": None}
READ = {"last_method": "lever under tyre", "last_read_at": "joint", "last_support": "hanging", "last_way": LEVER}
BY_PRY = {"last_method": "pry bar", "last_way": PRY}


def row(**changed):
    return {"model_group": "ball joint", "last_date": pd.Timestamp("2026-09-01")} | STATED | READ | changed


@pytest.mark.parametrize(
    ("changed", "offset", "sd"),
    [
        ({}, 0.0, 0.0),
        ({"limit_method": None, "limit_read_at": None}, 0.0, 0.0),
        (BY_PRY, 0.0, 0.015),
        (BY_PRY | {"limit_method": "pry bar"}, -0.02, 0.0),
        ({"limit_method": "pry bar"}, -0.02, 0.015),
        ({"limit_method": "hand rock"}, 0.0, UNSEEN),
        (BY_PRY | {"limit_method": "hand rock"}, 0.0, np.hypot(UNSEEN, 0.015)),
        ({"limit_support": "loaded"}, 0.0, UNSEEN),
        (BY_PRY | {"limit_support": "loaded"}, 0.0, np.hypot(UNSEEN, 0.015)),
        ({"last_method": None, "last_way": "method not recorded"}, 0.0, UNSEEN),
        ({"last_date": pd.NaT, "last_method": None, "last_read_at": None, "last_way": None}, 0.0, 0.0),
        ({"model_group": ""}, 0.0, 0.0),
    ],
)
def test_what_the_procedure_adds(changed, offset, sd):
    found = procedure_errors(pd.DataFrame([row(**changed)]), METHODS).iloc[0]
    assert found["procedure_offset_mm"] == pytest.approx(offset)
    assert found["procedure_sd_mm"] == pytest.approx(sd)


def test_indicative_is_said_of_method_place_and_support():
    rows = [
        row(), row(**BY_PRY), row(limit_support="loaded"), row(limit_read_at="tyre tread", **BY_PRY),
        row(last_method=None), row(last_date=pd.NaT, last_method=None),
    ]  # fmt: skip
    assert indicative_words(pd.DataFrame(rows)).tolist() == [
        "",
        "indicative: limit is for lever under tyre, reading pry bar",
        "indicative: limit is for a joint that is loaded, reading hanging",
        "indicative: limit is for lever under tyre, reading pry bar; limit is read at the tyre tread, reading joint",
        "indicative: limit is for lever under tyre, reading not recorded",
        "",
    ]


def ahead(n_draws):
    shape = (1, n_draws)
    return Ahead(
        np.full(shape, 100.0), np.full(shape, 50_000.0), np.full(shape, 60_000.0), np.full(shape, 100.0),
        np.zeros(1, dtype=bool), np.full(1, 1e-6), np.zeros(shape, dtype=bool),
    )  # fmt: skip


def probabilities(limit, procedure, n_draws=40_000):
    lines = pd.DataFrame(
        {"series": [0, 1], "shape": "straight", "shift_km": 0.0, "weight": 1.0, "intercept": 0.1, "growth": 8e-6,
         "var_intercept": 4e-4, "cov_cross": 0.0, "var_growth": 0.0, "exponent": 1.0, "reference_km": 1.0, "pace": 1.0,
         "onset_km": 0.0, "wander_mm2_per_km": 0.0, "from_km": 0.0, "residual_variance": 0.0016}
    )  # fmt: skip
    of = SeriesDraws(
        np.zeros(2, dtype=np.int64), np.arange(2), np.zeros(2), np.full(2, limit), np.zeros(2), np.full(2, 0.5), lines,
        procedure,
    )  # fmt: skip
    found = forecast_draws(of, ahead(n_draws), Sharing(0.0, 0.0, ""), horizon_days=3652.5, rng=np.random.default_rng(1))
    return found.series["p_over_next"].to_numpy(), found.any_over[0]


@pytest.mark.parametrize("limit", [0.54, 0.56, 0.60, 0.62])
def test_the_probability_moves_toward_one_half_by_the_normal_law(limit):
    """Play at the next service is normal about 0.58 mm, sd 0.02 mm: over by Phi((0.58 - limit) / total sd)."""
    sd = 0.03
    usual, _ = probabilities(limit, None)
    wider, _ = probabilities(limit, Procedure(np.zeros(2), np.array([sd, 0.0]), np.array([0, 1])))
    five_se = 5 * np.sqrt(0.25 / 40_000)
    assert usual[0] == pytest.approx(stats.norm.cdf((0.58 - limit) / 0.02), abs=five_se)
    assert wider[0] == pytest.approx(stats.norm.cdf((0.58 - limit) / np.hypot(0.02, sd)), abs=five_se)
    assert abs(wider[0] - 0.5) < abs(usual[0] - 0.5) - 0.05
    assert wider[1] == usual[1], "the other series, and the draws of every series, stay as they were"


def test_an_offset_shifts_the_comparison():
    shifted, _ = probabilities(0.60, Procedure(np.full(2, 0.02), np.zeros(2), np.array([0, 0])))
    assert shifted[0] == pytest.approx(0.5, abs=5 * np.sqrt(0.25 / 40_000))


def test_series_of_one_pair_of_procedures_share_their_error():
    together, any_together = probabilities(0.58, Procedure(np.zeros(2), np.full(2, 0.2), np.array([0, 0])))
    apart, any_apart = probabilities(0.58, Procedure(np.zeros(2), np.full(2, 0.2), np.array([0, 1])))
    assert together == pytest.approx(apart, abs=0.02)
    assert any_apart == pytest.approx(0.75, abs=0.02)
    assert any_together < 0.6
