"""What is said of a reading at once, against plain computations from the stored posteriors."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from fleetwear.planning.fresh_reading import (
    LEVEL,
    answer_at_once,
    expect_reading,
    repeatability_mm,
    say_strokes,
    way_of_reading,
)
from fleetwear.planning.vehicle import read_vehicle
from fleetwear.recording import JointReading, answer_reading, limit_of, list_joints, opened, read_bay
from fleetwear.store import open_snapshot
from fleetwear.vocabulary import OUTCOME_RANKS, FreshReading

DETECTION = (0.25, 0.06)
WAY = "lever under tyre, read at the joint"
NO_METHODS = pd.DataFrame({name: [] for name in ("shape", "method", "offset_mm", "offset_se", "variance_ratio",
                                                 "threshold_mm", "softness_mm")})  # fmt: skip
LINES = pd.DataFrame(
    {
        "shape": ["straight", "two-stage"],
        "shift_km": [0.0, 500.0],
        "weight": [0.7, 0.3],
        "intercept": [0.10, 0.12],
        "growth": [0.05, 0.04],
        "var_intercept": [4e-4, 5e-4],
        "cov_cross": [-1e-5, 0.0],
        "var_growth": [2e-5, 3e-5],
        "exponent": [1.0, 1.0],
        "reference_km": [10_000.0, 10_000.0],
        "pace": [1.0, 3.0],
        "onset_km": [0.0, 40_000.0],
        "residual_variance": [4e-4, 4e-4],
        "wander_mm2_per_km": [0.0, 1e-8],
        "from_km": [0.0, 60_000.0],
    }
)
METHODS = pd.DataFrame(
    {
        "shape": ["straight", "two-stage"],
        "method": [WAY, WAY],
        "offset_mm": [0.03, 0.02],
        "offset_se": [0.01, 0.02],
        "variance_ratio": [2.0, 1.5],
        "threshold_mm": [np.nan, 0.2],
        "softness_mm": [np.nan, 0.05],
    }
)


def ndtr(z):
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def plain_probability_below(y, km, *, lines=LINES, methods=METHODS, step=0.0):
    """Return P(reading <= y) as a plain loop over the components says it."""
    total = 0.0
    by_shape = {row.shape: row for row in methods.itertuples()}
    for row in lines.itertuples():
        run = km + row.shift_km
        g = (run / row.reference_km) ** row.exponent + (row.pace - 1.0) * max(run - row.onset_km, 0) / row.reference_km
        of = by_shape[row.shape]
        mean = row.intercept + g * row.growth + of.offset_mm
        variance = row.var_intercept + 2 * g * row.cov_cross + g * g * row.var_growth
        variance += row.wander_mm2_per_km * abs(run - row.from_km) + of.offset_se**2
        variance += row.residual_variance * of.variance_ratio + step**2 / 12.0
        total += row.weight * ndtr((y - mean) / math.sqrt(variance))
    return total / lines["weight"].sum()


def expected(km=70_000.0, **options):
    return expect_reading(LINES, METHODS, **({"distance_km": km, "way": WAY, "detection": DETECTION} | options))


@pytest.mark.parametrize("km", [0.0, 35_000.0, 70_000.0, 200_000.0])
@pytest.mark.parametrize("step", [0.0, 0.25])
def test_the_interval_is_that_of_a_plain_computation(km, step):
    low, middle, high = expected(km, step_mm=step).interval_mm()
    assert plain_probability_below(middle, km, step=step) == pytest.approx(0.5, abs=1e-9)
    assert plain_probability_below(high, km, step=step) == pytest.approx(0.5 + LEVEL / 2, abs=1e-9)
    if low > 0.0:
        assert plain_probability_below(low, km, step=step) == pytest.approx(0.5 - LEVEL / 2, abs=1e-9)


@pytest.mark.parametrize("play", np.linspace(0.2, 1.2, 21))
def test_above_below_and_in_line_are_where_the_plain_computation_puts_them(play):
    below = plain_probability_below(play, 70_000.0)
    tail = (1 - LEVEL) / 2
    wanted = FreshReading.WELL_BELOW if below < tail else FreshReading.WELL_ABOVE if below > 1 - tail else None
    answer = answer_at_once([play - 0.01, play + 0.01], "measured", expected(), limit_mm=2.0)
    assert answer.says == (wanted or FreshReading.IN_LINE)
    assert answer.again == (wanted is not None)
    assert ("measure again" in answer.reason) == answer.again


def test_both_sides_are_reached_by_the_plays_above():
    low, _, high = expected().interval_mm()
    assert 0.2 < low < high < 1.2


def test_one_stroke_over_the_limit_leads_and_a_departure_is_still_said():
    answer = answer_at_once([0.98, 1.02], "measured", expected(), limit_mm=1.0, limit_source="handbook")
    assert answer.says is FreshReading.OVER_LIMIT
    assert "1.02 mm is over its limit of 1.00 mm (handbook)" in answer.reason
    assert "well above what was expected" in answer.reason
    assert answer.again


def test_a_reading_equal_to_its_limit_passes():
    assert answer_at_once([1.0], "measured", None, limit_mm=1.0).says is FreshReading.NO_FORECAST


def test_without_a_forecast_or_limit_it_says_so():
    answer = answer_at_once([0.4], "measured", None, limit_mm=None, without="there is no forecast of this joint yet")
    assert answer.says is FreshReading.NO_FORECAST
    assert (
        answer.reason
        == "There is no forecast of this joint yet. No limit on record to compare with: look up the maker's."
    )
    assert expect_reading(LINES.iloc[:0], METHODS, distance_km=1.0, way=WAY, detection=DETECTION) is None


def test_movement_seen_or_not_is_held_against_the_detection_curve():
    p = expected().p_seen()
    plain = 0.0
    for row, of in zip(LINES.itertuples(), METHODS.itertuples(), strict=True):
        run = 70_000.0 + row.shift_km
        g = run / row.reference_km + (row.pace - 1.0) * max(run - row.onset_km, 0) / row.reference_km
        variance = row.var_intercept + 2 * g * row.cov_cross + g * g * row.var_growth + of.offset_se**2
        variance += row.wander_mm2_per_km * abs(run - row.from_km)
        threshold, softness = DETECTION if math.isnan(of.threshold_mm) else (of.threshold_mm, of.softness_mm)
        mean = row.intercept + g * row.growth
        plain += row.weight * ndtr((mean - threshold) / math.sqrt(softness**2 + variance))
    assert p == pytest.approx(plain, rel=1e-9)
    assert p > 0.995
    assert answer_at_once([], "none seen", expected(), limit_mm=1.0).says is FreshReading.WELL_BELOW
    seen = answer_at_once([], "seen, not measured", expected(), limit_mm=1.0)
    assert seen.says is FreshReading.SEEN
    assert seen.again
    early = expected(0.0)
    assert 0.005 < early.p_seen() < 0.995
    assert answer_at_once([], "none seen", early, limit_mm=1.0).says is FreshReading.IN_LINE


def test_a_way_that_the_fit_has_not_seen_widens_the_interval_and_is_said():
    known, strange = expected(), expected(way="hand rock")
    assert np.ptp(strange.interval_mm()) > np.ptp(known.interval_mm())
    answer = answer_at_once([0.5], "measured", strange, limit_mm=2.0)
    assert "has not read such joints in this way" in answer.reason
    bare = expect_reading(LINES, NO_METHODS, distance_km=7e4, way="hand rock", detection=DETECTION)
    assert bare.method_seen


def test_strokes_tell_how_well_they_repeat():
    assert repeatability_mm([0.40]) is None
    assert repeatability_mm([0.40, 0.44, 0.42]) == pytest.approx(0.02)
    assert say_strokes([0.40, 0.44, 0.42], "mm") == (
        "mean of 3 strokes 0.420 mm; they spread by 0.040 mm, standard deviation 0.020 mm"
    )
    assert "a second one would show" in say_strokes([0.40], "thou")


@pytest.fixture(scope="module")
def demo(demo_store):
    con = open_snapshot(demo_store.folder)
    yield demo_store, con
    con.close()


def a_vehicle(con):
    """Return a vehicle with an odometer whose series have all been read."""
    return con.execute(
        "select v.unit from forecast_joints j join vehicles v on v.vehicle_id = j.vehicle_id "
        "where v.distance_source = 'odometer' group by v.unit "
        "having min(n_visits) >= 3 and max(life_no) = 1 order by v.unit limit 1"
    ).fetchall()[0][0]


def test_on_the_demo_fleet_the_last_reading_read_again_is_in_line(demo):
    store, con = demo
    unit, day = a_vehicle(con), store.files.as_of
    with opened(store.folder) as own:
        bay = read_bay(own, unit, on_date=day)
    forecast = read_vehicle(con, unit)
    first = forecast.joints.iloc[0]
    run = float(first["life_start_km"] + first["life_distance_km"])
    said = []
    for joint in list_joints(bay, forecast):
        for series in joint.series:
            fact = forecast.joints[
                (forecast.joints["position_id"] == joint.position_id)
                & (forecast.joints["direction"] == series.direction)
            ].iloc[0]
            reading = JointReading(joint.joint, series.direction, (f"{fact['play_now_mm']:.4f}",), **{
                name: series.way[name] for name in ("method", "read_at")})  # fmt: skip
            said.append(answer_reading(bay, forecast, joint, reading, play_unit="mm", run_km=run, on_date=day).says)
            far = JointReading(joint.joint, series.direction, ("30",), method=series.way["method"])
            wild = answer_reading(bay, forecast, joint, far, play_unit="mm", run_km=run, on_date=day)
            assert wild.again
    assert len(said) >= 8
    assert set(said) <= {FreshReading.IN_LINE, FreshReading.OVER_LIMIT}
    after = JointReading(joint.joint, series.direction, ("0.1",), timing="after work")
    answer = answer_reading(bay, forecast, joint, after, play_unit="mm", run_km=run, on_date=day)
    assert "no longer foretells" in answer.reason
    bare = answer_reading(bay, forecast, joint, reading, play_unit="mm", run_km=None, on_date=day)
    assert "needs the odometer" in bare.reason


def test_work_that_the_forecast_does_not_count_yet_ends_the_history(demo):
    """A forecast made in the morning counts nothing of the afternoon of the same day."""
    store, con = demo
    unit, day = a_vehicle(con), store.files.as_of
    with opened(store.folder) as own:
        bay = read_bay(own, unit, on_date=day)
    forecast = read_vehicle(con, unit)
    joint = list_joints(bay, forecast)[0]
    fact = forecast.joints[forecast.joints["position_id"] == joint.position_id].iloc[0]
    run = float(fact["life_start_km"] + fact["life_distance_km"])
    reading = JointReading(joint.joint, fact["direction"], ("0.05",), method=joint.series[0].way["method"])

    def said(last_work_date):
        worked = replace(bay, joints=bay.joints.assign(last_work_date=pd.Timestamp(last_work_date)))
        return answer_reading(worked, forecast, joint, reading, play_unit="mm", run_km=run, on_date=day)

    assert "which this forecast does not count yet" in said(day).reason
    assert said(day).says is FreshReading.NO_FORECAST
    assert "does not count yet" not in said(fact["life_start_date"]).reason


def test_joints_that_press_come_first_and_untested_directions_are_due(demo):
    store, con = demo
    units = [row[0] for row in con.execute("select distinct unit from vehicles order by unit").fetchall()[::12]]
    with opened(store.folder) as own:
        bays = {unit: read_bay(own, unit, on_date=store.files.as_of) for unit in units}
    due = 0
    for unit, bay in bays.items():
        joints = list_joints(bay, read_vehicle(con, unit))
        ranks = [min(OUTCOME_RANKS[one.outcome] for one in joint.series) for joint in joints]
        assert ranks == sorted(ranks)
        assert len(joints) == len(bay.kinds)
        due += sum(joint.is_due for joint in joints)
        for joint in joints:
            assert joint.is_due == bool(joint.why)
    assert due > 0


def test_the_limit_in_the_bay_is_that_of_the_flags(demo):
    """The twin of the rule in SQL, for every joint of the demo fleet that was measured."""
    store, con = demo
    facts = con.execute(
        "select j.*, p.kind, p.place, v.model from forecast_joints j join positions p using (position_id) "
        "join (select distinct vehicle_id, model from vehicles) v on v.vehicle_id = j.vehicle_id "
        "where j.measured_date is not null and j.last_date = j.measured_date order by j.vehicle_id, j.position_id"
    ).df()
    ways = con.execute(
        "select r.visit_id, r.position_id, r.direction, arg_max(r.method, (r.play_mm, r.reading_id)) as method, "
        "arg_max(r.read_at, (r.play_mm, r.reading_id)) as read_at from readings r where r.play_mm is not null "
        "group by all"
    ).df()
    facts = facts.merge(ways, left_on=["last_visit_id", "position_id", "direction"],
                        right_on=["visit_id", "position_id", "direction"]).iloc[::7]  # fmt: skip
    limits = {}
    checked = 0
    for row in facts.to_dict("records"):
        if row["model"] not in limits:
            from fleetwear.store import sql

            limits[row["model"]] = con.execute(
                sql("recording/limits"), {"model": row["model"], "on_date": store.files.as_of}
            ).df()
        found, source = limit_of(
            limits[row["model"]],
            kind=row["kind"],
            place=None if pd.isna(row["place"]) else row["place"],
            direction=row["direction"],
            method=None if pd.isna(row["method"]) else row["method"],
            read_at=None if pd.isna(row["read_at"]) else row["read_at"],
        )
        assert (found is None) == bool(np.isnan(row["limit_mm"]))
        if found is not None:
            assert (found, source) == (pytest.approx(row["limit_mm"]), row["limit_source"])
            checked += 1
    assert checked > 50


def test_a_way_is_named_as_the_fit_names_it():
    assert way_of_reading("pry bar", "rim") == "pry bar, read at the rim"
    assert way_of_reading(None, None) == "method not recorded"


def test_a_vehicle_without_an_odometer_is_answered_from_dates(demo):
    store, con = demo
    found = con.execute(
        "select v.unit from forecast_joints j join vehicles v on v.vehicle_id = j.vehicle_id "
        "where v.distance_source = 'none' and j.n_visits > 1 order by v.unit limit 1"
    ).fetchall()
    unit = found[0][0]
    day = store.files.as_of + timedelta(days=10)
    with opened(store.folder) as own:
        bay = read_bay(own, unit, on_date=day)
    forecast = read_vehicle(con, unit)
    joint = list_joints(bay, forecast)[0]
    reading = JointReading(joint.joint, joint.series[0].direction, ("0.4",))
    answer = answer_reading(bay, forecast, joint, reading, play_unit="mm", run_km=None, on_date=day)
    assert "99%" in answer.reason
    assert isinstance(day, date)
