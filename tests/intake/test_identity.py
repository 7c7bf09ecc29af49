"""Vehicles known by their identification number; visits that may be one; left and right the wrong way round."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from fleetwear.errors import InputError
from fleetwear.intake import answer, open_questions
from fleetwear.intake.identity import compare_sides
from fleetwear.store.known import prepare

ONE, TWO = "1M8GDM9AXKP042788", "2G1WF52E859355243"
AT = datetime(2024, 6, 1, 13)
KNOWN = """select visit_id, position_id, play_mm from known_readings order by reading_id"""


def known(bench, query=KNOWN, known_by=None):
    with bench.store.reader() as con:
        prepare(con, as_of=datetime(2024, 6, 1).date(), known_by=known_by)
        return con.execute(query).fetchall()


def ids(bench):
    return bench.rows("select unit, valid_from::varchar, vehicle_id from vehicles where vin is not null order by 1, 2")


def test_a_unit_number_that_another_vehicle_takes_over(bench):
    summary = bench.load(
        "v.csv",
        f"unit,model,vin,valid from\nC1,Alpha,{ONE},2020-01-01\nC1,Alpha,{TWO},2023-01-01\n",
    )
    (_, _, one), (_, _, two) = ids(bench)
    assert one != two
    (told,) = [remark for remark in summary.remarks if "another vehicle" in remark]
    assert "unit C1 is another vehicle from 2023-01-01 on" in told
    bench.load("s.csv", "unit,visit date,odometer\nC1,2022-05-01,1000 km\nC1,2023-05-01,90 km\n")
    assert bench.rows("select vehicle_id, odometer_km from visits order by visit_date") == [(one, 1000), (two, 90)]
    assert known(bench, "select unit, vehicle_id from known_vehicles where lower(unit) = 'c1' order by 2") == [
        ("C1", one), ("C1", two),
    ]  # fmt: skip


def test_a_vehicle_that_changes_unit_number_and_depot_keeps_its_history(bench):
    bench.load("v.csv", f"unit,model,vin,depot,valid from\nC1,Alpha,{ONE},North,2020-01-01\n")
    summary = bench.load("w.csv", f"unit,model,vin,depot,valid from\nD7,Alpha,{ONE},South,2023-01-01\n")
    (_, _, one), (_, _, two) = ids(bench)
    assert one == two
    assert "unit D7 was unit C1 before 2023-01-01" in summary.remarks[0]
    assert "moved from North to South" in summary.remarks[1]
    rows = "C1,2022-05-01,1000 km\nD7,2023-05-01,9000 km\nC1,2023-06-01,9500 km\n"
    bench.load("s.csv", f"unit,visit date,odometer\n{rows}")
    assert bench.rows("select distinct vehicle_id from visits") == [(one,)]
    assert known(bench, f"select unit from known_vehicles where vin = '{ONE}'") == [("D7",)]


def test_serial_numbers_placeholders_and_slips_tie_nothing(bench):
    summary = bench.load(
        "v.csv",
        "unit,model,vin,valid from\nC1,Alpha,unknown,2020-01-01\nC2,Alpha,unknown,2020-01-01\n"
        f"C3,Alpha,00000000000000000,2020-01-01\nC4,Alpha,00000000000000000,2020-01-01\n"
        f"C5,Alpha,{ONE},2020-01-01\nC5,Alpha,{ONE[:-1]}9,2022-01-01\nC6,Alpha,IM8GDM9AXKP042788,2022-01-01\n",
    )
    assert summary.rows_quarantined == 0
    found = [vehicle for _, _, vehicle in ids(bench)]
    assert len(found) == 7
    assert len(set(found)) == 6
    assert found[4] == found[5]
    assert sum("slip of the pen" in remark for remark in summary.remarks) == 1
    assert sum("check digit" in remark for remark in summary.remarks) == 2
    assert sum("letter I" in remark for remark in summary.remarks) == 1


def test_one_vehicle_is_not_two_units_at_once(bench):
    text = f"unit,model,vin,valid from\nC1,Alpha,{ONE},2020-01-01\nD7,Alpha,{ONE},2020-01-01\n"
    assert bench.load("v.csv", text).rows_quarantined == 1
    assert 'is unit "C1" from 2020-01-01 on (row 2)' in bench.reasons()[0][0]
    bench.load("w.csv", f"unit,model,vin,valid from\nE1,Alpha,{ONE},2020-01-01\n")
    assert 'is unit "C1" from 2020-01-01 on (v.csv, row 2)' in bench.reasons()[1][0]


READINGS = "unit,visit date,odometer,joint,direction,play\n"
LEFT, RIGHT = "left front lower ball joint", "right front lower ball joint"


def test_visits_three_km_apart_are_asked_about_and_joined_only_when_said(bench):
    first = bench.load("a.csv", f"{READINGS}A1,2024-03-02,5000 km,{LEFT},in-out,0.2 mm\n")
    second = bench.load("b.csv", f"{READINGS}A1,2024-03-03,5003 km,{LEFT},in-out,0.3 mm\n")
    third = bench.load("c.csv", f"{READINGS}A1,2024-03-05,5003 km,{LEFT},in-out,0.4 mm\n")
    assert (first.questions, second.questions, third.questions) == (0, 1, 0)
    before = known(bench)
    with bench.store.writer() as con:
        (asked,) = open_questions(con).to_dict("records")
        assert (asked["unit"], asked["answers"]) == ("A1", '"same visit" or "two visits"')
        assert "at 5,003 km the one on 2024-03-02 at 5,000 km?" in asked["question"]
        with pytest.raises(InputError, match="not an answer"):
            answer(con, asked["question_id"], "mistake", "me")
        answer(con, asked["question_id"], "same visit", "me", answered_at=AT)
        assert open_questions(con).empty
        with pytest.raises(InputError, match="already answered"):
            answer(con, asked["question_id"], "two visits", "me")
    assert len({visit for visit, _, _ in before}) == 3
    after = known(bench)
    assert len({visit for visit, _, _ in after}) == 2
    assert after[1][0] == before[0][0]
    assert known(bench, known_by=datetime(2024, 6, 1, 12, 30)) == before
    assert len(bench.rows("select * from visits")) == 3
    assert known(bench, "select count(*) from known_visits") == [(2,)]


def test_two_visits_stay_two(bench):
    rows = "".join(f"A1,2024-03-02,{km} km,{LEFT},in-out,0.2 mm\n" for km in (5000, 5004))
    bench.load("a.csv", READINGS + rows)
    before = known(bench)
    with bench.store.writer() as con:
        answer(con, int(open_questions(con)["question_id"][0]), "two visits", "me")
    assert known(bench) == before


def sides(bench, name, day, odometer, left, right):
    rows = "".join(
        f"F{i},{day},{odometer} km,{joint},{direction},{plays[i]:.2f} mm\n"
        for i in range(4)
        for joint, plays in ((LEFT, left), (RIGHT, right))
        for direction in ("in-out", "fore-aft", "up-down")
    )
    return bench.load(name, READINGS + rows)


def test_sides_the_wrong_way_round_are_asked_about_and_turned_only_when_said(bench):
    bench.load("v.csv", "unit,model\n" + "".join(f"F{i},Alpha\n" for i in range(4)))
    left, right = [0.2, 0.7, 0.3, 0.1], [0.6, 0.3, 0.8, 0.5]
    assert sides(bench, "jan.csv", "2024-01-10", 1000, left, right).questions == 0
    right_way = sides(bench, "feb.csv", "2024-02-10", 3000, [p + 0.03 for p in left], [p + 0.02 for p in right])
    assert right_way.questions == 0
    wrong_way = sides(bench, "mar.csv", "2024-03-10", 5000, [p + 0.04 for p in right], [p + 0.05 for p in left])
    assert wrong_way.questions == 1
    before = known(bench)
    with bench.store.writer() as con:
        (asked,) = open_questions(con).to_dict("records")
        assert "12 of 12 pairs of joints of 4 vehicles" in asked["question"]
        assert asked["file"] == "mar.csv"
        answer(con, asked["question_id"], "swapped", "me", answered_at=AT)
    after = known(bench)
    of_march = slice(48, 72)
    assert after[:48] == before[:48]
    positions = sorted({position for _, position, _ in before})
    turned = {positions[0]: positions[1], positions[1]: positions[0]}
    assert [turned[position] for _, position, _ in before[of_march]] == [p for _, p, _ in after[of_march]]
    assert known(bench, known_by=datetime(2024, 6, 1, 12, 30)) == before


def test_one_swapped_vehicle_or_equal_sides_are_no_reason_to_ask():
    rng = np.random.default_rng(1)
    vehicle = np.repeat(np.arange(6), 3)
    own = np.where(vehicle == 0, 0.8, 0.05)
    assert not compare_sides(vehicle, own, 0.85 - own).look_swapped
    assert compare_sides(vehicle, np.full(18, 0.8), np.full(18, 0.05)).look_swapped
    assert not compare_sides(vehicle[:6], np.full(6, 0.8), np.full(6, 0.05)).look_swapped
    asked = [compare_sides(vehicle, *rng.uniform(0, 0.4, (2, 18))).look_swapped for _ in range(2000)]
    assert sum(asked) == 0
    assert not compare_sides(vehicle[:0], own[:0], own[:0]).look_swapped


VEHICLES = "unit,model,vin,valid from\n"
SINCE_2020 = "select unit, valid_from::varchar, vehicle_id from vehicles where valid_from >= '2020-01-01'"


@pytest.mark.parametrize("loads", [1, 3])
def test_a_unit_without_vin_that_later_gets_the_vehicle_of_another_unit_is_not_that_vehicle(bench, loads):
    """C1 had no number; since 2023 it is what D7 was, which is not what C1 was before."""
    rows = ["C1,Alpha,,2020-01-01\n", f"D7,Alpha,{ONE},2020-01-01\n", f"C1,Alpha,{ONE},2023-01-01\n"]
    files = ["".join(rows)] if loads == 1 else rows
    for number, text in enumerate(files):
        summary = bench.load(f"v{number}.csv", VEHICLES + text)
        assert summary.rows_quarantined == 0
    vehicle = {f"{unit} {day}": number for unit, day, number in bench.rows(SINCE_2020)}
    assert vehicle["C1 2020-01-01"] != vehicle["D7 2020-01-01"] == vehicle["C1 2023-01-01"]
    assert any("unit C1 is another vehicle from 2023-01-01 on" in remark for remark in summary.remarks)
    assert any("unit C1 was unit D7 before 2023-01-01" in remark for remark in summary.remarks)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_number_freed_and_given_away_on_one_day_does_not_join_two_vehicles(bench, order):
    """The vehicle is D7 from 2023 on, and C1 goes to one whose identification number is not known."""
    bench.load("v.csv", f"{VEHICLES}C1,Alpha,{ONE},2020-01-01\n")
    rows = [f"D7,Alpha,{ONE},2023-01-01\n", "C1,Alpha,,2023-01-01\n"]
    summary = bench.load("w.csv", VEHICLES + "".join(rows[place] for place in order))
    assert summary.rows_quarantined == 0
    vehicle = {f"{unit} {day}": number for unit, day, number in bench.rows(SINCE_2020)}
    assert vehicle["C1 2020-01-01"] == vehicle["D7 2023-01-01"] != vehicle["C1 2023-01-01"]
    bench.load("x.csv", f"{VEHICLES}C1,Alpha,,2023-09-01\nC1,Alpha,{TWO},2024-01-01\n")
    later = bench.rows("select distinct vehicle_id from vehicles where unit = 'C1' and valid_from >= '2023-01-01'")
    assert later == [(vehicle["C1 2023-01-01"],)]
