"""Play that falls: a replacement that was left out is asked about, a slipped reading is not."""

import numpy as np
import pytest

from fleetwear import wear
from fleetwear.forecast.left_out import unexplained_falls
from fleetwear.wear.sums import reading_arrays

SIGMA = 0.04


@pytest.fixture(scope="module")
def population():
    rng = np.random.default_rng(1)
    life = np.repeat(np.arange(250), 7)
    x = np.sort(rng.uniform(5_000, 160_000, (250, 7)), axis=1).ravel()
    b0, b1 = rng.normal(0.1, 0.03, 250), rng.normal(4e-6, 1e-6, 250)
    y = b0[life] + b1[life] * x + rng.normal(0, SIGMA, len(x))
    y += np.where(rng.random(len(x)) < 0.03, rng.normal(-0.2, 0.1, len(x)), 0.0)
    return wear.fit(life, x, y, shape="straight", slips=True).population


def falls(population, x, y):
    x, y = np.array(x, dtype=float), np.array(y, dtype=float)
    readings = reading_arrays(np.zeros(len(x), dtype=np.int64), x, y, n_lives=1)
    return unexplained_falls(population, ["all"], np.zeros(1, dtype=np.int64), readings)


def test_a_part_replaced_without_a_record_is_found(population):
    x = [20e3, 60e3, 100e3, 140e3, 150e3, 170e3]
    found = falls(population, x, [0.18, 0.34, 0.50, 0.66, 0.12, 0.20])
    assert list(found.before) == [3]
    assert list(found.after) == [4]
    assert found.probability[0] > 0.9


def test_one_low_reading_among_others_is_a_slip(population):
    x = [20e3, 60e3, 100e3, 140e3, 150e3, 170e3]
    found = falls(population, x, [0.18, 0.34, 0.50, 0.36, 0.70, 0.78])
    assert len(found.life) == 0


@pytest.mark.parametrize("y", [[0.18, 0.34, 0.50, 0.66, 0.70, 0.78], [0.18, 0.34, 0.30, 0.66, 0.64, 0.78]])
def test_play_that_grows_is_not_asked_about(population, y):
    assert len(falls(population, [20e3, 60e3, 100e3, 140e3, 150e3, 170e3], y).life) == 0


def test_falls_in_a_fleet_whose_record_is_whole_are_rare(population):
    """A thousand lives with slips and no unrecorded work: asked about in less than one of a hundred."""
    rng = np.random.default_rng(5)
    life = np.repeat(np.arange(1000), 7)
    x = np.sort(rng.uniform(5_000, 160_000, (1000, 7)), axis=1).ravel()
    y = (0.1 + 4e-6 * x) + np.repeat(rng.normal(0, 0.05, 1000), 7) + rng.normal(0, SIGMA, len(x))
    y += np.where(rng.random(len(x)) < 0.03, rng.normal(-0.2, 0.1, len(x)), 0.0)
    readings = reading_arrays(life, x, y, n_lives=1000)
    found = unexplained_falls(population, ["all"], np.zeros(1000, dtype=np.int64), readings)
    assert len(found.life) < 10
    assert len(np.unique(found.life)) == len(found.life)
