"""The kept draws of the demo fleet: the forecast's own numbers where nothing is moved, and what moving does."""

import time

import numpy as np
import pytest

from fleetwear.errors import InputError, StoreError
from fleetwear.forecast.fleet_draws import read_fleet_draws
from fleetwear.planning.flags import read_flags
from fleetwear.store import open_snapshot


@pytest.fixture(scope="module")
def known(demo_store):
    con = open_snapshot(demo_store.folder)
    flags = read_flags(con)
    run = flags.run
    draws = read_fleet_draws(con, fit_id=run.fit_id, as_of=run.as_of, known_by=run.known_by, settings=run.settings)
    yield flags, draws, con
    con.close()


def test_where_nothing_is_moved_it_says_what_the_forecast_says(known):
    flags, draws, _ = known
    over = draws.over(draws.service().km).mean(axis=1)
    keys = ["vehicle_id", "position_id", "direction"]
    both = draws.series.assign(mine=over).merge(flags.joints[[*keys, "p_over_next"]], on=keys)
    assert len(both) == flags.joints["p_over_next"].notna().sum() > 1000
    se = np.sqrt(np.maximum(both["p_over_next"] * (1 - both["p_over_next"]), 1e-4) / draws.settings.draws)
    assert (np.abs(both["mine"] - both["p_over_next"]) <= 4 * se).all()
    # the same seed makes them the same draws
    assert np.abs(both["mine"] - both["p_over_next"]).max() <= 1 / draws.settings.draws


def test_later_services_cross_more_and_the_interval_does_as_well(known):
    _, draws, _ = known
    expected = [draws.over(draws.service(shift_days=shift).km).mean(axis=1).sum() for shift in (-60, -20, 0, 20, 60)]
    assert expected == sorted(expected)
    assert expected[-1] - expected[0] > 1.0
    stretched = [draws.over(draws.service(stretch=factor).km).mean(axis=1).sum() for factor in (0.7, 1.0, 1.4)]
    assert stretched == sorted(stretched)
    barely = draws.over(draws.service(stretch=1.0 + 1e-9).km).mean(axis=1).sum()
    assert barely == pytest.approx(stretched[1], abs=0.35)


def test_an_over_is_what_a_plain_loop_finds(known):
    _, draws, _ = known
    km = draws.service(shift_days=30.0).km
    over = draws.over(km)
    lines, rng = draws.lines, np.random.default_rng(3)
    likely = np.flatnonzero((over.mean(axis=1) > 0.02) & (over.mean(axis=1) < 0.98))
    seen = set()
    for _ in range(3000):
        j, k = int(rng.choice(likely)), int(rng.integers(over.shape[1]))
        vehicle = int(draws.series["vehicle"][j])
        x = max(km[vehicle, k] - draws.start_km[j], float(draws.now[j, k]))
        t = x + float(lines.shift[j, k])
        g = (t / float(lines.reference[j, k])) ** float(lines.exponent[j, k])
        g += (float(lines.pace[j, k]) - 1) * max(t - float(lines.onset[j, k]), 0.0) / float(lines.reference[j, k])
        play = float(lines.intercept[j, k]) + float(lines.growth[j, k]) * g
        if lines.wander[j, k] > 0:
            seen.add("wanders")
            ahead = max(x - float(draws.now[j, k]), 0.0)
            play += float(draws.strayed_now[j, k])
            play += np.sqrt(float(lines.wander[j, k]) * ahead) * float(draws.strayed_then[j, k])
        seen.add(bool(over[j, k]))
        limit = float(draws.limit_mm[j, k])
        assert bool(over[j, k]) == (play > limit) or abs(play - limit) < 1e-4
    assert seen == {"wanders", True, False}


def test_moving_takes_less_than_a_second(known):
    """Time of this process alone, so that a busy machine does not matter; measured 0.03 to 0.1 s."""
    _, draws, _ = known
    for moved in ({"shift_days": 17.0}, {"stretch": 1.15}):
        began = time.process_time()
        draws.over(draws.service(**moved).km)
        assert time.process_time() - began < 1.0


def test_what_means_nothing_is_refused(known):
    flags, draws, con = known
    with pytest.raises(InputError, match="a shift of 400 days"):
        draws.service(shift_days=400.0)
    with pytest.raises(InputError, match="a stretch of 0"):
        draws.service(stretch=0.0)
    run = flags.run
    with pytest.raises(StoreError, match="no fit number 77"):
        read_fleet_draws(con, fit_id=77, as_of=run.as_of, known_by=None, settings=run.settings)
