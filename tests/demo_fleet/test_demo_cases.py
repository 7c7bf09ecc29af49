from __future__ import annotations

import pandas as pd
import pytest

from demo_fleet.mistakes import REFUSED


def readings_of(demo, unit):
    parts = [table[table["unit"] == unit] for name, table in demo.tables.items() if name.startswith("readings")]
    return pd.concat(parts).assign(day=lambda table: table["visit date"].str[:10])


def last_visit(demo, unit):
    """Unit's true readings of its last visit."""
    mine = demo.truth.readings[demo.truth.readings["unit"] == unit]
    return mine[mine["date"] == mine["date"].max()]


def limit_of(demo, unit, joint):
    lives = demo.truth.lives
    return lives[(lives["unit"] == unit) & (lives["joint"] == joint)].groupby("direction")["limit_mm"].last()


def worked_on(demo, unit, joint, day):
    work = demo.tables["work.csv"]
    mine = work[(work["unit"] == unit) & (work["joint"] == joint) & (work["work date"] >= day)]
    return mine["work"].isin(["replaced", "adjusted"]).any()


def test_every_event_names_a_row_that_is_there(demo):
    for event in demo.truth.events.itertuples():
        assert 2 <= event.row <= len(demo.tables[event.file]) + 1
        row = demo.row(event.file, event.row)
        if event.unit:
            assert row["unit"] == event.unit
        if event.joint:
            assert row["joint"] == event.joint


@pytest.mark.parametrize(("file", "why", "cells"), REFUSED, ids=[f"{f}: {why}" for f, why, _ in REFUSED])
def test_each_row_to_be_refused_stands_where_events_say(demo, file, why, cells):
    event = demo.cases("refused").query("file == @file and says == @why")
    assert len(event) == 1
    row = demo.row(file, event["row"].iloc[0])
    for column, text in cells.items():
        assert row[demo.heading(column)] == text


def test_three_vehicles_were_measured_over_a_limit_and_not_mended(demo):
    cases = demo.cases("over limit, not replaced")
    assert len(cases) == 3
    assert cases["file"].nunique() == 3
    for case in cases.itertuples():
        last = last_visit(demo, case.unit).query("joint == @case.joint")
        limit = limit_of(demo, case.unit, case.joint)
        assert (last["measured_mm"].to_numpy() > last["direction"].map(limit).to_numpy()).any()
        assert not worked_on(demo, case.unit, case.joint, last["date"].iloc[0])


def test_no_other_vehicle_was_left_over_a_limit(demo):
    """What is measured over a limit at a last visit is mended then and there, but for the three."""
    planted = set(demo.cases("over limit, not replaced")["unit"])
    keys = ["unit", "joint", "direction", "life"]
    readings = demo.truth.readings.dropna(subset="measured_mm")
    last = readings[readings["date"] == readings.groupby("unit")["date"].transform("max")]
    means = last.groupby(keys, as_index=False)["measured_mm"].mean().merge(demo.truth.lives, on=keys)
    left = set(means.loc[(means["measured_mm"] > means["limit_mm"]) & means["end_date"].isna(), "unit"])
    assert left == planted


def test_a_noise_was_confirmed_on_a_joint_under_its_limit(demo):
    case = demo.cases("noise confirmed, joint under its limit").iloc[0]
    visit = demo.row(case["file"], case["row"])
    assert visit["symptom confirmed"] == "yes"
    joint = visit["symptom joint"]
    last = last_visit(demo, case["unit"]).query("joint == @joint")
    assert last["date"].iloc[0] == visit["visit date"]
    assert set(last["direction"]) == {"in-out", "fore-aft"}
    assert (last["measured_mm"] < 0.8 * limit_of(demo, case["unit"], joint).min()).all()
    assert not worked_on(demo, case["unit"], joint, visit["visit date"])


def test_a_joint_is_tested_in_one_direction_only(demo):
    case = demo.cases("one direction only").iloc[0]
    mine = readings_of(demo, case["unit"]).query(f"joint == {case['joint']!r}")
    assert set(mine["direction"]) == {"in-out"}
    assert len(mine) > 3


def test_a_next_service_is_late_already(demo):
    case = demo.cases("next service late").iloc[0]
    services = demo.tables["services.csv"].query(f"unit == {case['unit']!r}")
    row = demo.row(case["file"], case["row"])
    assert row["service date"] == services["service date"].max()
    due = pd.Timestamp(row["service date"]) + pd.DateOffset(months=int(row["interval months"]))
    assert due < pd.Timestamp(demo.files.as_of)
    following = demo.truth.vehicles.set_index("unit").loc[case["unit"], "next_service_date"]
    assert following > str(demo.files.as_of)


def test_a_vehicle_has_a_single_visit(demo):
    unit = demo.cases("single visit")["unit"].iloc[0]
    assert readings_of(demo, unit)["day"].nunique() == 1


def test_a_vehicle_moved_depot(demo):
    case = demo.cases("moved depot").iloc[0]
    rows = demo.tables["vehicles.csv"].query(f"unit == {case['unit']!r} and `distance source` != 'guess'")
    assert list(rows["depot"]) == ["Hill", "North yard"]
    day = rows["valid from"].iloc[1]
    hill = demo.tables["readings_hill.xlsx"].query(f"unit == {case['unit']!r}")["visit date"].str[:10]
    north = demo.tables["readings_north_yard.csv"].query(f"unit == {case['unit']!r}")["visit date"]
    assert hill.max() < day <= north.min()


def test_a_vehicle_was_bought_used(demo):
    case = demo.cases("bought used").iloc[0]
    row = demo.row(case["file"], case["row"])
    assert row["in service date"] == row["in service odometer"] == ""
    first = readings_of(demo, case["unit"])["day"].min()
    assert row["valid from"] < first
    lives = demo.truth.lives.query(f"unit == {case['unit']!r} and life == 1")
    assert set(lives["started_by"]) == {"unknown"}
    assert (lives["start_date"] < row["valid from"]).all()


def test_trailers_have_no_odometer(demo):
    units = set(demo.cases("trailer without odometer")["unit"])
    assert units
    vehicles = demo.tables["vehicles.csv"]
    mine = vehicles[vehicles["unit"].isin(units)]
    assert set(mine["distance source"]) == {"none"}
    for name in (
        "services.csv",
        "visits_north_yard.csv",
        "visits_harbour.csv",
        "readings_hill.xlsx",
        "work.csv",
    ):
        table = demo.tables[name]
        values = table.loc[table["unit"].isin(units), "odometer"]
        assert set(values) <= {"", "-500", "12O45"}, name
    assert not demo.tables["odometer.csv"]["unit"].isin(units).any()


def test_an_odometer_was_swapped(demo):
    case = demo.cases("odometer swapped").iloc[0]
    row = demo.row(case["file"], case["row"])
    assert row["event"] == "swap"
    assert int(row["new odometer"]) < 100 < int(row["odometer"])
    mine = demo.tables["odometer.csv"].query(f"unit == {case['unit']!r}")
    later = mine[mine["entry date"] > row["entry date"]]["odometer"].astype(int)
    assert len(later) > 5
    assert later.is_monotonic_increasing


def test_one_odometer_value_has_a_digit_too_many(demo):
    case = demo.cases("odometer typo").iloc[0]
    mine = demo.tables["odometer.csv"].query(f"unit == {case['unit']!r}")
    refused = demo.cases("refused").query("file == 'odometer.csv'")["row"] - 2
    values = mine.drop(index=refused, errors="ignore")["odometer"].astype(int)
    assert not values.is_monotonic_increasing
    assert values.drop(case["row"] - 2).is_monotonic_increasing
    assert values.index[0] < case["row"] - 2 < values.index[-1]


def test_one_reading_is_implausibly_large(demo):
    case = demo.cases("implausible reading").iloc[0]
    row = demo.row(case["file"], case["row"])
    assert (row["play"], row["play unit"]) == ("18", "mm")
    last = last_visit(demo, case["unit"])
    assert row["visit date"] == last["date"].iloc[0]
    true = last.query(f"joint == {case['joint']!r} and direction == 'in-out'")["true_mm"]
    assert true.iloc[0] == pytest.approx(18 * 0.0254)


def test_joints_were_replaced_for_a_noise_and_adjusted(demo):
    for name, work, reason in (
        ("replaced for a noise", "replaced", "noise on the road test"),
        ("kingpin shimmed", "adjusted", "shimmed"),
        ("wheel bearing set", "adjusted", "bearing set"),
    ):
        cases = demo.cases(name)
        assert len(cases) >= 1, name
        for case in cases.itertuples():
            row = demo.row(case.file, case.row)
            assert (row["work"], row["reason"]) == (work, reason)
    assert (demo.tables["work.csv"]["work"] == "greased").sum() > 10


def test_limits_changed_carry_methods_and_are_missing(demo):
    limits = demo.tables["limits.csv"]
    changed = limits.iloc[demo.cases("limit that changed")["row"] - 2]
    assert len(changed) == 2
    assert changed["valid from"].nunique() == 2
    assert changed[["model", "kind"]].drop_duplicates().shape[0] == 1
    stated = limits.iloc[demo.cases("limit with a method")["row"] - 2]
    assert stated["method"].ne("").all()
    assert stated["read at"].ne("").all()
    free = demo.tables["positions.csv"].iloc[demo.cases("no limit")["row"] - 2]
    for model, kind in zip(free["model"], free["kind"], strict=True):
        assert limits[limits["model"].isin(["", model]) & (limits["kind"] == kind)].empty
    assert set(limits["limit unit"]) >= {"thou", "mm"}
    assert set(limits["basis"]) == {"maker", "shop"}
