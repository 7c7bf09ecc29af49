"""Joint draws: single series against the closed form, vehicles against known joint probabilities."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleetwear.forecast.draws import SeriesDraws, forecast_draws
from fleetwear.forecast.horizon import Ahead
from fleetwear.wear.shared import Sharing

N_DRAWS = 40_000
FIVE_SE = 5 * np.sqrt(0.25 / N_DRAWS)
HORIZON = 3652.5


def still(n_vehicles, *, now=50_000.0, then=60_000.0, rate=100.0):
    """Return distances ahead that are known: the same in every draw."""
    shape = (n_vehicles, N_DRAWS)
    return Ahead(
        rate=np.full(shape, rate),
        now_km=np.full(shape, now),
        service_km=np.full(shape, then),
        service_days=np.full(shape, (then - now) / rate),
        overdue=np.zeros(n_vehicles, dtype=bool),
        phi2=np.full(n_vehicles, 1e-6),
        by_distance=np.ones(shape, dtype=bool),
    )


def component(series, **changed):
    values = {
        "series": series, "shape": "straight", "shift_km": 0.0, "weight": 1.0, "intercept": 0.1, "growth": 8e-6,
        "var_intercept": 4e-4, "cov_cross": -6e-9, "var_growth": 1e-12, "exponent": 1.0, "reference_km": 1.0,
        "pace": 1.0, "onset_km": 0.0, "wander_mm2_per_km": 0.0, "from_km": 0.0,
        "residual_variance": 0.0016,
    }  # fmt: skip
    return values | changed


def of(lines, *, limit, vehicle=None, joint=None, effect=None, reliability=None):
    n = 1 + max(line["series"] for line in lines)
    return SeriesDraws(
        vehicle=np.zeros(n, dtype=np.int64) if vehicle is None else np.asarray(vehicle),
        joint=np.arange(n) if joint is None else np.asarray(joint),
        start_km=np.zeros(n),
        limit_mm=np.full(n, limit) if np.isscalar(limit) else np.asarray(limit),
        effect=np.zeros(n) if effect is None else np.asarray(effect),
        reliability=np.full(n, 0.5) if reliability is None else np.asarray(reliability),
        lines=pd.DataFrame(lines),
    )


ALONE = Sharing(0.0, 0.0, "")


def test_one_series_agrees_with_the_normal_probability():
    line = component(0)
    x = 60_000.0
    mean = line["intercept"] + line["growth"] * x
    sd = np.sqrt(line["var_intercept"] + 2 * x * line["cov_cross"] + x**2 * line["var_growth"])
    made = forecast_draws(
        of([line], limit=0.62), still(1), ALONE, horizon_days=HORIZON, rng=np.random.default_rng(1)
    ).series.iloc[0]
    assert made["p_over_next"] == pytest.approx(stats.norm.sf(0.62, mean, sd), abs=FIVE_SE)
    with_noise = stats.norm.sf(0.62, mean, np.sqrt(sd**2 + line["residual_variance"]))
    assert made["p_reading_over_next"] == pytest.approx(with_noise, abs=FIVE_SE)
    assert made["play_next_mm"] == pytest.approx(mean, abs=5 * sd / np.sqrt(N_DRAWS))
    assert made["play_next_lower"] == pytest.approx(stats.norm.ppf(0.025, mean, sd), abs=0.01 * sd * 5)


def test_a_mixture_of_shapes_and_origins_agrees_with_its_weights():
    lines = [
        component(0, weight=0.25, growth=4e-6),
        component(0, weight=0.45, growth=9e-6),
        component(0, weight=0.30, shape="power", intercept=0.1, growth=0.35, cov_cross=0.0, var_growth=0.002,
                  exponent=1.6, reference_km=50_000.0, shift_km=5_000.0),
    ]  # fmt: skip
    wanted = 0.0
    for line in lines:
        g = ((60_000 + line["shift_km"]) / line["reference_km"]) ** line["exponent"]
        mean = line["intercept"] + line["growth"] * g
        sd = np.sqrt(line["var_intercept"] + 2 * g * line["cov_cross"] + g * g * line["var_growth"])
        wanted += line["weight"] * stats.norm.sf(0.6, mean, sd)
    made = forecast_draws(of(lines, limit=0.6), still(1), ALONE, horizon_days=HORIZON, rng=np.random.default_rng(2))
    assert made.series["p_over_next"][0] == pytest.approx(wanted, abs=FIVE_SE)


def test_crossing_points_lie_where_the_line_meets_the_limit():
    sure = component(0, var_intercept=0.0, cov_cross=0.0, var_growth=0.0)
    made = forecast_draws(
        of([sure], limit=0.9), still(1), ALONE, horizon_days=HORIZON, rng=np.random.default_rng(3)
    ).series.iloc[0]
    for point in ("05", "50", "95"):
        assert made[f"crossing_km_{point}"] == pytest.approx(100_000.0)
        assert made[f"crossing_days_{point}"] == pytest.approx(500.0, rel=1e-4)
    late = forecast_draws(
        of([sure], limit=0.9), still(1), ALONE, horizon_days=400.0, rng=np.random.default_rng(3)
    ).series.iloc[0]
    assert np.isnan(late["crossing_km_50"])
    assert np.isnan(late["crossing_days_95"])
    assert made["growth_mm_per_km"] == pytest.approx(8e-6)


def test_first_passage_and_the_next_service_agree_where_wear_does_not_wander():
    made = forecast_draws(
        of([component(0)], limit=0.6), still(1), ALONE, horizon_days=HORIZON, rng=np.random.default_rng(4)
    ).series.iloc[0]
    assert made["p_over_next"] > 0.05
    assert made["crossing_km_05"] < 60_000.0


def wandering(**changed):
    """A line that is known, wandering from 40,000 km on by 0.06 mm per sqrt(10,000 km)."""
    known = {
        "var_intercept": 0.0,
        "cov_cross": 0.0,
        "var_growth": 0.0,
        "wander_mm2_per_km": 3.6e-7,
        "from_km": 40_000.0,
    }
    return component(0, **(known | changed))


def test_play_at_the_next_service_is_that_of_the_path_there():
    made = forecast_draws(
        of([wandering()], limit=0.62), still(1), ALONE, horizon_days=HORIZON, rng=np.random.default_rng(5)
    ).series.iloc[0]
    sd = np.sqrt(3.6e-7 * 20_000.0)
    assert made["p_over_next"] == pytest.approx(stats.norm.sf(0.62, 0.1 + 8e-6 * 60_000.0, sd), abs=FIVE_SE)


@pytest.mark.parametrize("growth", [8e-6, 2e-6])
def test_the_first_passage_of_a_wandering_path_is_inverse_gaussian(growth):
    """The path's play now is known here (it wanders from now on): scipy's invgauss gives the crossing points."""
    line = wandering(growth=growth, from_km=50_000.0)
    gap = 0.7 - (0.1 + growth * 50_000.0)
    made = forecast_draws(
        of([line], limit=0.7), still(1), ALONE, horizon_days=1e7, rng=np.random.default_rng(6)
    ).series.iloc[0]
    mean, shape = gap / growth, gap**2 / 3.6e-7
    passage = stats.invgauss(mean / shape, scale=shape)
    for point in (0.05, 0.50, 0.95):
        left = made[f"crossing_km_{point * 100:02.0f}"] - 50_000.0
        assert passage.cdf(left) == pytest.approx(point, abs=5 * np.sqrt(0.25 / N_DRAWS))
    # the first passage comes before the play at the next service tells of it
    ahead = 10_000.0
    over_then = stats.norm.sf(gap - growth * ahead, 0.0, np.sqrt(3.6e-7 * ahead))
    assert passage.cdf(ahead) > over_then
    assert made["p_over_next"] == pytest.approx(over_then, abs=FIVE_SE)


def test_a_path_that_drifts_away_may_never_cross():
    """Against growth the limit is ever reached with probability exp(-2 gap |growth| / variance)."""
    line = wandering(growth=-2e-6, intercept=0.5, from_km=50_000.0)
    made = forecast_draws(
        of([line], limit=0.6), still(1), ALONE, horizon_days=1e9, rng=np.random.default_rng(7)
    ).series.iloc[0]
    ever = np.exp(-2.0 * 0.2 * 2e-6 / 3.6e-7)
    assert 0.05 < ever < 0.5
    assert np.isfinite(made["crossing_km_05"])
    assert np.isnan(made["crossing_km_50"])


@pytest.mark.parametrize(
    ("correlation", "wanted"),
    # Common practice, no source: eight joints at 0.1 each, one minus the product of survivals, and the probability of
    # any of eight equicorrelated standard normals above the 0.9 quantile by quadrature over their common part.
    [(0.0, 1 - 0.9**8), (0.3, None)],
)
def test_eight_joints_of_a_vehicle(correlation, wanted):
    if wanted is None:
        edge = stats.norm.ppf(0.9)
        z = np.linspace(-8, 8, 4001)
        inside = stats.norm.cdf((edge - np.sqrt(correlation) * z) / np.sqrt(1 - correlation)) ** 8
        wanted = 1 - float(np.trapezoid(inside * stats.norm.pdf(z), z))
        assert wanted == pytest.approx(0.44, abs=0.005)
    # without readings of their own (reliability 0) the draws have the prior's correlation
    lines = [
        component(k, intercept=0.0, var_intercept=0.0, cov_cross=0.0, growth=0.0, var_growth=1e-10) for k in range(8)
    ]
    limit = float(stats.norm.ppf(0.9)) * 1e-5 * 60_000
    made = forecast_draws(
        of(lines, limit=limit, reliability=np.zeros(8)), still(1), Sharing(correlation, correlation, ""),
        horizon_days=HORIZON, rng=np.random.default_rng(5),
    )  # fmt: skip
    assert made.series["p_over_next"].to_numpy() == pytest.approx(np.full(8, 0.1), abs=FIVE_SE)
    assert made.any_over[0] == pytest.approx(wanted, abs=FIVE_SE)


def test_a_vehicle_is_as_likely_over_as_its_worst_joint_at_least():
    lines = [component(k, growth=6e-6 + 1e-6 * k) for k in range(6)]
    made = forecast_draws(
        of(lines, limit=[0.6] * 5 + [np.nan], vehicle=[0, 0, 0, 1, 1, 1]),
        still(2), Sharing(0.2, 0.6, ""), horizon_days=HORIZON, rng=np.random.default_rng(6),
    )  # fmt: skip
    chances = made.series["p_over_next"]
    assert made.any_over[0] >= chances[:3].max()
    assert made.any_over[1] >= chances[3:5].max()
    assert np.isnan(chances[5])
    assert np.isnan(made.series["crossing_km_50"][5])


def test_distance_that_is_not_known_widens_the_forecast():
    rng = np.random.default_rng(7)
    uncertain = still(1)
    uncertain.service_km[:] = 60_000.0 + rng.normal(0.0, 4_000.0, (1, N_DRAWS))
    sure = component(0, var_intercept=1e-8, cov_cross=0.0, var_growth=0.0)
    made = forecast_draws(of([sure], limit=0.6), uncertain, ALONE, horizon_days=HORIZON, rng=rng)
    assert made.series["p_over_next"][0] == pytest.approx(stats.norm.sf(62_500, 60_000, 4_000), abs=FIVE_SE)
