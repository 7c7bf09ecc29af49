"""Moved services against paths that are simulated step by step."""

import numpy as np
import pytest

from fleetwear.usage import moved_service

RATE, PHI2, LEVEL = 100.0, 40_000.0, 6_000.0


def simulated(n, *, step=0.05, seed=5):
    """Return, path by path, the day on which the level is first reached and the whole path until then."""
    rng = np.random.default_rng(seed)
    paths = []
    while len(paths) < n:
        steps = RATE * step + np.sqrt(PHI2 * step) * rng.standard_normal(4000)
        path = np.cumsum(steps)
        over = np.flatnonzero(path >= LEVEL)
        if len(over) and over[0] * step > 25.0:
            paths.append((step * (over[0] + 1), path[: over[0] + 1]))
    return paths


def moved(days, km, *, by_distance, shift_days, phi2=PHI2, seed=1):
    shape = days.shape
    return moved_service(
        days, km, np.full(shape, RATE), np.full(shape[0], phi2), np.full(shape, by_distance),
        shift_days=shift_days, rng=np.random.default_rng(seed),
    )  # fmt: skip


def test_a_service_pulled_forward_has_run_what_paths_to_the_same_passage_have():
    """Ten days before the passage: mean and spread of 3,000 simulated paths, within five standard errors."""
    step, paths = 0.05, simulated(3000)
    earlier = np.array([path[round((day - 10.0) / step) - 1] for day, path in paths])
    days = np.array([[day for day, _ in paths]])
    got_days, got = moved(days, np.full(days.shape, LEVEL), by_distance=True, shift_days=-10.0)
    assert got_days == pytest.approx(days - 10.0)
    se = earlier.std() / np.sqrt(len(paths))
    # a walk in steps overshoots the level by 0.58 sd of a step (Chernoff 1965): 26 km here
    assert got.mean() == pytest.approx(earlier.mean(), abs=5 * se * np.sqrt(2) + 30.0)
    assert got.std() == pytest.approx(earlier.std(), rel=0.08)
    assert np.quantile(got, [0.05, 0.5, 0.95]) == pytest.approx(np.quantile(earlier, [0.05, 0.5, 0.95]), abs=90.0)
    assert (got <= LEVEL).all()


def test_a_service_due_by_date_is_bridged_and_a_later_one_goes_on():
    days, km = np.full((1, 40_000), 60.0), np.full((1, 40_000), 6_000.0)
    got_days, got = moved(days, km, by_distance=False, shift_days=-20.0)
    assert got_days == pytest.approx(np.full(days.shape, 40.0))
    assert got.mean() == pytest.approx(4_000.0, abs=30.0)
    later_days, later = moved(days, km, by_distance=True, shift_days=20.0)
    assert later_days == pytest.approx(np.full(days.shape, 80.0))
    assert later.mean() == pytest.approx(8_000.0, abs=30.0)
    assert later.std() == pytest.approx(np.sqrt(PHI2 * 20.0), rel=0.03)
    assert (later >= km).all()


def test_no_shift_changes_nothing_and_none_is_moved_before_tomorrow():
    days, km = np.array([[1.0, 9.0, 60.0]]), np.array([[100.0, 900.0, 6_000.0]])
    same_days, same = moved(days, km, by_distance=True, shift_days=0.0)
    assert (same_days == days).all()
    assert (same == km).all()
    got_days, got = moved(days, km, by_distance=True, shift_days=-30.0)
    assert got_days.tolist() == [[1.0, 1.0, 30.0]]
    assert got[0, 0] == 100.0
    assert (got >= 0.0).all()
    assert got[0, 1] < 900.0
