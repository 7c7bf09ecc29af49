from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from fleetwear.forecast.compared_lives import ComparedLives
from fleetwear.store import Store
from fleetwear.store.known import prepare


@pytest.fixture(scope="module")
def con(demo_store):
    with Store(demo_store.folder).reader() as con:
        prepare(con, as_of=date(2026, 11, 1))
        yield con


def test_of_many_vehicles_every_so_many_th_takes_part_with_all_its_lives(con):
    whole = ComparedLives.read(con)
    vehicles = np.sort(whole.lives["vehicle_id"].unique())
    assert len(vehicles) > 60
    part = ComparedLives.read(con, most_vehicles=len(vehicles) // 3)
    step = -(-len(vehicles) // (len(vehicles) // 3))
    chosen = vehicles[np.arange(1, len(vehicles) + 1) % step == 0]
    rows = whole.lives["vehicle_id"].isin(chosen).to_numpy()
    assert part.lives.drop(columns="life").equals(whole.lives[rows].drop(columns="life").reset_index(drop=True))
    own = whole.readings.of_lives(rows)
    np.testing.assert_array_equal(part.readings.play, own.play)
    np.testing.assert_array_equal(np.flatnonzero(rows)[part.readings.life], own.life)


def test_a_fleet_that_is_not_large_is_compared_whole(con):
    whole = ComparedLives.read(con)
    assert ComparedLives.read(con, most_vehicles=len(whole.lives["vehicle_id"].unique())).lives.equals(whole.lives)
