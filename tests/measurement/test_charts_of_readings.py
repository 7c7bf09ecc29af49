"""Control charts against a loop, a simulation, and steps that were put in."""

import numpy as np
import pytest

from fleetwear.measurement.charts import average_run_length, most_likely_step, moving_average


def test_the_moving_average_equals_a_loop():
    points = np.random.default_rng(1).normal(size=40)
    found = moving_average(points, weight=0.3, limit=2.7)
    z, squares = 0.0, 0.0
    for i, u in enumerate(points):
        z = 0.3 * u + 0.7 * z
        squares = 0.3**2 + 0.7**2 * squares
        assert found.values[i] == pytest.approx(z)
        assert found.limits[i] == pytest.approx(2.7 * np.sqrt(squares))
    assert len(moving_average(np.zeros(0)).values) == 0


def test_run_lengths_equal_a_simulation():
    rng = np.random.default_rng(2)
    lengths = []
    for _ in range(2000):
        z, n = 0.0, 0
        while abs(z) <= 2.962 * np.sqrt(0.2 / 1.8):
            z, n = 0.2 * rng.normal(1.0) + 0.8 * z, n + 1
        lengths.append(n)
    assert average_run_length(1.0) == pytest.approx(np.mean(lengths), abs=4 * np.std(lengths) / np.sqrt(2000))


def test_the_most_likely_step_equals_a_search_over_all_places():
    rng = np.random.default_rng(3)
    variances = rng.uniform(0.5, 2.0, 30)
    values = rng.normal(size=30) * np.sqrt(variances) + np.where(np.arange(30) >= 18, 1.5, 0.0)
    found = most_likely_step(values, variances)
    logs = []
    for k in range(28):
        w = 1.0 / variances[k:]
        mean = (w * values[k:]).sum() / w.sum()
        logs.append(0.5 * ((values**2 / variances).sum() - (values[:k] ** 2 / variances[:k]).sum()
                           - (w * (values[k:] - mean) ** 2).sum()))  # fmt: skip
    assert found.first == int(np.argmax(logs))
    assert abs(found.first - 18) <= 2
    assert found.shift == pytest.approx(1.5, abs=4 * found.standard_error)
    assert found.p_value < 0.01
    assert most_likely_step(values[:2], variances[:2]) is None


def test_a_step_is_seldom_seen_where_there_is_none():
    rng = np.random.default_rng(4)
    called = sum(most_likely_step(rng.normal(size=50), np.ones(50)).p_value < 0.05 for _ in range(1000))
    assert called < 50 + 4 * np.sqrt(50)
