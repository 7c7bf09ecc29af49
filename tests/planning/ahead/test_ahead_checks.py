"""The next check against a plain computation, and the cost of the other side by hand."""

import math

import numpy as np
import pandas as pd
import pytest

from fleetwear.planning.ahead.next_check import check_distances, probability_over
from fleetwear.planning.ahead.settings import PlanSettings
from fleetwear.planning.ahead.together import worth_together


def component(series, **changed):
    values = {
        "series": series, "shift_km": 0.0, "weight": 1.0, "intercept": 0.1, "growth": 8e-6, "var_intercept": 4e-4,
        "cov_cross": -6e-9, "var_growth": 1e-12, "exponent": 1.0, "reference_km": 1.0, "pace": 1.0, "onset_km": 0.0,
        "residual_variance": 0.0016, "wander_mm2_per_km": 0.0, "from_km": 0.0,
    }  # fmt: skip
    return values | changed


LINES = pd.DataFrame(
    [
        component(0),
        component(1, weight=0.6, wander_mm2_per_km=2e-8, from_km=40_000.0),
        component(1, weight=0.4, growth=0.4, var_growth=0.002, cov_cross=0.0, exponent=1.4, reference_km=50_000.0,
                  shift_km=5_000.0),
        component(2, growth=0.2, var_growth=1e-3, cov_cross=0.0, reference_km=50_000.0, pace=4.0, onset_km=60_000.0),
        component(3, growth=1e-9, cov_cross=0.0, var_growth=0.0),
    ]
)  # fmt: skip
ROWS = {j: LINES[LINES["series"] == j].to_dict("records") for j in range(4)}
LIMIT = np.array([0.8, 0.7, 0.76, 0.8])
SURE = np.zeros(4)
BY_ANOTHER = np.array([0.05, 0.12, 0.0, 0.1])
"""What the limits' own procedures add is known only so well, mm."""
NOW = np.array([50_000.0, 40_000.0, 45_000.0, 10_000.0])


def plain_probability(series, x, limit, sd=0.0):
    """Return P(play > limit) at a distance, written out component by component."""
    total = whole = 0.0
    for row in ROWS[series]:
        t = x + row["shift_km"]
        g = (t / row["reference_km"]) ** row["exponent"]
        g += (row["pace"] - 1) * max(t - row["onset_km"], 0) / row["reference_km"]
        mean = row["intercept"] + row["growth"] * g
        variance = row["var_intercept"] + 2 * g * row["cov_cross"] + g * g * row["var_growth"]
        variance += row["wander_mm2_per_km"] * abs(t - row["from_km"]) + sd**2
        total += row["weight"] * 0.5 * math.erfc((limit - mean) / math.sqrt(2 * variance))
        whole += row["weight"]
    return total / whole


@pytest.mark.parametrize("sd", [SURE, BY_ANOTHER])
def test_the_probability_is_that_of_the_mixture_written_out(sd):
    for x in (50_000.0, 70_000.0, 95_000.0):
        got = probability_over(LINES, LIMIT, np.full(4, x), limit_sd_mm=sd)
        plain = [plain_probability(j, x, LIMIT[j], sd[j]) for j in range(4)]
        assert got == pytest.approx(plain, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("sd", [SURE, BY_ANOTHER])
@pytest.mark.parametrize("risk", [0.05, 0.1, 0.3])
def test_the_check_is_where_a_plain_walk_first_finds_the_accepted_risk(risk, sd):
    got = check_distances(LINES, LIMIT, np.full(4, risk), NOW, NOW + 200_000.0, limit_sd_mm=sd)
    for j in range(3):
        x = NOW[j]
        while plain_probability(j, x, LIMIT[j], sd[j]) < risk:
            x += 25.0
        assert x - 25.0 <= got[j] <= max(x, NOW[j])
        if got[j] > NOW[j]:
            assert plain_probability(j, got[j], LIMIT[j], sd[j]) == pytest.approx(risk, rel=1e-4)
    assert np.isnan(got[3])


def test_a_reading_by_another_procedure_is_looked_at_again_sooner():
    risk, far = np.full(4, 0.05), NOW + 200_000.0
    sure = check_distances(LINES, LIMIT, risk, NOW, far, limit_sd_mm=SURE)
    wider = check_distances(LINES, LIMIT, risk, NOW, far, limit_sd_mm=BY_ANOTHER)
    assert (wider[:2] < sure[:2] - 100.0).all()
    assert wider[2] == sure[2]


def test_a_risk_that_is_reached_already_gives_the_distance_now():
    got = check_distances(LINES, LIMIT, np.full(4, 1e-9), NOW + 60_000.0, NOW + 70_000.0, limit_sd_mm=SURE)
    assert got[:3] == pytest.approx(NOW[:3] + 60_000.0)


def side(name, *, presses, **changed):
    values = {
        "unit": "A1", "depot": "Hill", "vehicle_id": 1, "position_id": {"left": 1, "right": 2}[name],
        "joint": f"{name} front ball joint", "axle": "front", "side": name, "place": None, "kind": "ball joint",
        "presses": presses, "p_after_next": 0.5, "part_number": "P", "cost": 40.0, "pieces_per_joint": 2.0,
        "labour_hours": 1.5, "alignment_after": True, "ordered_in_pairs": False,
    }  # fmt: skip
    return values | changed


def test_doing_the_other_side_now_is_worth_it_where_later_costs_more():
    settings = PlanSettings(alignment_hours=1.0, hour_cost=100.0, visit_cost=120.0)
    left, right = side("left", presses=True), side("right", presses=False)
    (row,) = worth_together(pd.DataFrame([left, right]), settings).to_dict("records")
    now = 2 * 40 + 1.5 * 100
    assert (row["joint"], row["done_with"]) == ("right front ball joint", "left front ball joint")
    assert row["cost_now"] == now
    assert row["cost_later"] == pytest.approx(0.5 * (now + 100 + 120))
    assert not row["now"]
    break_even = now / (now + 220)
    for p, worth in ((break_even - 0.001, False), (break_even + 0.001, True)):
        frame = pd.DataFrame([left, right | {"p_after_next": p}])
        assert worth_together(frame, settings)["now"].tolist() == [worth]


def test_what_is_not_known_is_said_and_pairs_and_pressing_sides_are_not_listed():
    settings = PlanSettings()
    left = side("left", presses=True)
    for changed, note in (
        ({"part_number": None, "cost": np.nan}, "no part on record"),
        ({"labour_hours": np.nan}, "cost or labour hours not on record"),
        ({"p_after_next": np.nan}, "no probability: no limit or no model"),
    ):
        table = worth_together(pd.DataFrame([left, side("right", presses=False, **changed)]), settings)
        assert table["note"].tolist() == [note]
        assert table["now"].tolist() == [False]
    assert worth_together(pd.DataFrame([left, side("right", presses=True)]), settings).empty
    pair = [one | {"ordered_in_pairs": True} for one in (left, side("right", presses=False))]
    assert worth_together(pd.DataFrame(pair), settings).empty
    other = side("right", presses=False, place="upper")
    assert worth_together(pd.DataFrame([left, other]), settings).empty
