from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from demo_fleet.truth import crossing_running_km, running_km_on, true_play


def lives_of_readings(demo):
    keys = ["unit", "joint", "direction", "life"]
    return demo.truth.readings[keys].merge(demo.truth.lives, on=keys, how="left", validate="many_to_one")


def written_mm(demo):
    """What the files say of each reading of the truth, in mm; nan where nothing was measured."""
    values = []
    default = {"readings_north_yard.csv": "thou", "readings_harbour.csv": "mm", "readings_hill.xlsx": "in"}
    to_mm = {"thou": 0.0254, "mm": 1.0, "in": 25.4}
    for file, row in demo.truth.readings[["file", "row"]].itertuples(index=False):
        number, _, unit = demo.row(file, row)["play"].partition(" ")
        values.append(float(number) * to_mm[unit or default[file]] if number else np.nan)
    return np.array(values)


def test_true_play_of_each_reading_is_that_of_its_life(demo):
    lives = lives_of_readings(demo)
    play = true_play(lives, demo.truth.readings["running_km"])
    np.testing.assert_allclose(play, demo.truth.readings["true_mm"], rtol=1e-9)


def test_true_play_agrees_with_a_plain_loop(demo):
    lives = demo.truth.lives.iloc[::37]
    running = lives["start_running_km"] + np.linspace(0, 300_000, len(lives))
    for got, life, at in zip(true_play(lives, running), lives.itertuples(), running, strict=True):
        x = at - life.start_running_km
        expected = life.initial_mm + life.rate_mm_per_km * 1e5 * (x / 1e5) ** life.exponent
        if x > life.onset_km:
            expected += life.rate_mm_per_km * (life.fast_factor - 1) * (x - life.onset_km)
        assert got == pytest.approx(expected, rel=1e-9)


def test_readings_are_the_true_play_with_the_stated_noise(demo):
    readings = demo.truth.readings
    implausible = demo.cases("implausible reading").iloc[0]
    plain = readings["measured_mm"].notna() & ~readings["slipped"] & (readings["true_mm"] > 0.15)
    plain &= (readings["expected_mm"] - readings["true_mm"]).abs() < 1e-9
    plain &= (readings["file"] != implausible["file"]) | (readings["row"] != implausible["row"])
    error = (written_mm(demo) - readings["true_mm"])[plain]
    assert len(error) > 2_000
    # Setup 0.04, stroke 0.01, rounding to 0.0254 at two depots of three.
    assert error.std() == pytest.approx(np.sqrt(0.04**2 + 0.01**2 + 2 / 3 * 0.0254**2 / 12), rel=0.05)
    assert abs(error.mean()) < 0.004


def test_slipped_setups_are_few_and_mostly_low(demo):
    readings = demo.truth.readings[demo.truth.readings["measured_mm"].notna()]
    assert readings["slipped"].mean() == pytest.approx(0.03, abs=0.01)
    slipped = readings[readings["slipped"]]
    assert 0.7 < (slipped["measured_mm"] < slipped["expected_mm"]).mean() < 0.97


def test_what_was_not_seen_is_small(demo):
    readings = demo.truth.readings
    results = [demo.row(file, row)["result"] for file, row in readings[["file", "row"]].itertuples(index=False)]
    by_result = readings.groupby(np.array(results))["true_mm"].median()
    assert by_result["none seen"] < 0.25 < by_result["seen, not measured"]


def test_after_a_replacement_the_next_readings_are_of_a_new_life(demo):
    work = demo.tables["work.csv"]
    refused = demo.cases("refused").query("file == 'work.csv'")["row"] - 2
    work = work.drop(index=refused)
    begun = work[work["work"].isin(["replaced", "adjusted"])]
    later = demo.truth.lives[demo.truth.lives["life"] > 1]
    keys = set(zip(later["unit"], later["joint"], later["start_date"], strict=True))
    assert keys == set(zip(begun["unit"], begun["joint"], begun["work date"], strict=True))
    origin = {"replaced": "replacement", "adjusted": "adjustment"}
    started = {(life.unit, life.joint, life.start_date): life.started_by for life in later.itertuples()}
    for job in begun.itertuples():
        assert started[job.unit, job.joint, job[2]] == origin[job.work]
    assert (true_play(later, later["start_running_km"]) < 0.4).all()
    after = demo.truth.readings.merge(later[["unit", "joint", "direction", "life", "start_running_km"]])
    assert (after["running_km"] >= after["start_running_km"]).all()
    assert len(after) > 30


def test_lives_follow_one_another_without_gaps(demo):
    lives = demo.truth.lives.sort_values(["unit", "joint", "direction", "life"])
    series = lives.groupby(["unit", "joint", "direction"])
    number = series.cumcount() + 1
    assert (lives["life"] == number).all()
    next_start = series["start_running_km"].shift(-1)
    pd.testing.assert_series_equal(lives["end_running_km"], next_start, check_names=False)
    assert set(lives["process"]) == {"steady", "gathering pace", "seal failure"}


def test_a_life_crosses_its_limit_where_crossing_says(demo):
    lives = demo.truth.lives[demo.truth.lives["limit_mm"].notna()].iloc[::23]
    at = crossing_running_km(lives, lives["limit_mm"])
    reached = np.isfinite(at)
    assert reached.mean() > 0.9
    lives, at = lives[reached], at[reached]
    assert (true_play(lives, at + 1) >= lives["limit_mm"]).all()
    assert (true_play(lives, at - 1) <= lives["limit_mm"]).all()


def test_usage_is_known_for_a_year_ahead_and_never_falls(demo):
    for unit in demo.truth.vehicles["unit"].iloc[::9]:
        days = np.arange("2026-11-01", "2027-11-02", dtype="datetime64[D]")
        km = running_km_on(demo.truth.usage, unit, days)
        assert (np.diff(km) > 0).all()
        assert km[-1] - km[0] > 5_000


def test_usage_outside_what_is_known_is_refused(demo):
    with pytest.raises(KeyError, match="no unit 'Z1'"):
        running_km_on(demo.truth.usage, "Z1", ["2026-01-01"])
    with pytest.raises(ValueError, match="is known from"):
        running_km_on(demo.truth.usage, demo.truth.vehicles["unit"].iloc[0], ["2030-01-01"])


def test_the_true_next_service_is_after_the_records(demo):
    vehicles = demo.truth.vehicles
    days = pd.to_datetime(vehicles["next_service_date"])
    assert (days > pd.Timestamp("2026-10-31")).all()
    assert (days < pd.Timestamp("2027-10-31")).all()
    for row in vehicles.iloc[::7].itertuples():
        km = running_km_on(demo.truth.usage, row.unit, [row.next_service_date])[0]
        assert km == pytest.approx(row.next_service_running_km, abs=0.01)


def test_harbour_wears_ball_joints_faster(demo):
    depot = demo.tables["vehicles.csv"].drop_duplicates("unit").set_index("unit")["depot"]
    lives = demo.truth.lives
    ball = lives[lives["joint"].str.contains("ball joint") & (lives["life"] == 1)]
    rough = ball["unit"].map(demo.truth.vehicles.set_index("unit")["rough_route_factor"])
    rate = np.log(ball["rate_mm_per_km"] / rough).groupby(ball["unit"].map(depot)).mean()
    others = (rate["North yard"] + rate["Hill"]) / 2
    assert np.exp(rate["Harbour"] - others) == pytest.approx(1.3, abs=0.25)
