from __future__ import annotations

from datetime import date

import pytest

from fleetwear import vocabulary
from fleetwear.intake import load_files
from fleetwear.intake.words import DOMAINS, word_form

JOINT = "left front lower ball joint"


def only_reason(bench):
    ((reason,),) = bench.reasons()
    return reason


REFUSED = [
    ("vehicles", "unit,model,year\nC1,Alpha,21\n", "year 21 cannot be right"),
    ("vehicles", "unit,model\nC1,\n", "model is empty"),
    ("vehicles", "unit,model,in service odometer\nC1,Alpha,5\n", 'in service odometer "5" has no unit'),
    ("vehicles", "unit,model,distance source\nC1,Alpha,guess\n", 'distance source "guess" is not known'),
    (
        "vehicles",
        "unit,model,depot\nA2,Alpha,west\n",
        'unit "A2" is already on record otherwise from 1950-01-01',
    ),
    ("positions", "model,axle,kind\nAlpha,front,gearbox\n", 'kind "gearbox" is not known; nearest is "'),
    ("positions", "model,axle,side,kind\nAlpha,front,top,kingpin\n", 'side "top" is not known'),
    (
        "positions",
        "model,axle,side,place,kind\nAlpha,front lower,left,,ball joint\n",
        f'the joint "{JOINT}" of model',
    ),
    ("limits", "kind,limit,basis,source\nkingpin,0 mm,maker,x\n", 'limit "0 mm" must be above zero'),
    ("limits", "kind,limit,basis,source\nkingpin,1 mm,rumour,x\n", 'basis "rumour" is not known'),
    ("limits", "kind,limit,basis,source\nkingpin,1 mm,maker,\n", "source is empty"),
    (
        "services",
        "unit,service date,odometer\nA1,2023-01-01,5 km\n",
        "neither an interval nor interval months",
    ),
    (
        "services",
        "unit,service date,interval\nA1,2023-01-01,0 km\n",
        'interval "0 km" must be above zero',
    ),
    (
        "services",
        "unit,service date,interval months\nA1,2023-01-01,-3\n",
        'interval months "-3" must be above zero',
    ),
    (
        "services",
        "unit,service date,interval months\nA9,2023-01-01,3\n",
        'unit "A9" is not a known vehicle',
    ),
    ("parts", "part number,kind,lead days,cost\nP,kingpin,3,-1\n", 'cost "-1" is negative'),
    ("parts", "part number,kind,lead days\nP,kingpin,-3\n", 'lead days "-3" is negative'),
    (
        "parts",
        "part number,kind,lead days,labour hours\nP,kingpin,3,-1\n",
        'labour hours "-1" is negative',
    ),
    (
        "parts",
        "part number,kind,lead days,alignment after\nP,kingpin,3,maybe\n",
        '"maybe" is neither yes nor no',
    ),
    (
        "visits",
        "unit,visit date,odometer\nA1,2023-01-01,\n",
        "odometer is empty: write the odometer value read at that visit, or the nearest known one from an "
        "odometer file; distance source none is only for a vehicle that has no odometer",
    ),
    (
        "visits",
        "unit,visit date,odometer\nB1,2023-01-01,\n",
        "odometer is empty: write the hub meter value read at that visit, or the nearest known one",
    ),
    (
        "visits",
        "unit,visit date,odometer,symptom joint\nA1,2023-01-01,5 km,tail\n",
        '"tail" is not a joint of model',
    ),
    (
        "work",
        f"unit,work date,joint,work\nA1,2023-01-01,{JOINT},painted\n",
        'work "painted" is not known',
    ),
    ("work", "unit,work date,joint,work\nA1,2023-01-01,tail,greased\n", '"tail" is not a joint of model'),
    ("odometer", "unit,entry date,odometer\nA1,2023-01-01,\n", "odometer is empty"),
    (
        "odometer",
        "unit,entry date,odometer,event\nA1,2023-01-01,5 km,swap\n",
        "a swap needs the new odometer",
    ),
    (
        "odometer",
        "unit,entry date,odometer,new odometer\nA1,2023-01-01,5 km,0 km\n",
        "but the event is no swap",
    ),
    (
        "odometer",
        "unit,entry date,odometer,quarantine number\nA1,2023-01-01,5 km,7\n",
        "quarantine number 7 names no",
    ),
]


@pytest.fixture(scope="module")
def refused(module_bench):
    """What became of one file for each case: its table and the reasons in quarantine."""
    paths = [module_bench.write(f"{i}.csv", text) for i, (_, text, _) in enumerate(REFUSED)]
    summaries = load_files(module_bench.store, paths, today=date(2024, 6, 1))
    assert all((s.rows_in, s.rows_quarantined) == (0, 1) for s in summaries)
    reasons = dict(module_bench.rows("select file_name, reasons from quarantine"))
    return {s.file: (s.table, reasons[s.file]) for s in summaries}


@pytest.mark.parametrize("case", range(len(REFUSED)), ids=[f"{table}-{says}" for table, _, says in REFUSED])
def test_refusals_of_each_table(refused, case):
    table, _, says = REFUSED[case]
    got, (reason,) = refused[f"{case}.csv"]
    assert got == table
    assert says in reason


def test_versions_of_a_vehicle_share_its_number(bench):
    text = "unit,model,depot,valid from\na1,ALPHA,west,2022-01-01\nA1,Alpha,east,2023-01-01\nC1,Gamma,east,\n"
    assert bench.load("v.csv", text).rows_in == 3
    got = bench.rows("select unit, vehicle_id, model, depot from vehicles where load_id = 4 order by vehicle_row_id")
    assert got == [("A1", 1, "Alpha", "west"), ("A1", 1, "Alpha", "east"), ("C1", 5, "Gamma", "east")]


def test_two_descriptions_of_a_vehicle_from_one_date_are_not_both_taken(bench):
    summary = bench.load("v.csv", "unit,model,depot\nC1,Alpha,north\nC1,Alpha,north\nC1,Alpha,south\n")
    assert (summary.rows_in, summary.rows_known, summary.rows_quarantined) == (1, 1, 1)
    assert 'unit "C1" stands otherwise in row 2 from 1950-01-01 on' in only_reason(bench)


def test_defaults_of_a_vehicle(bench):
    got = bench.rows(
        "select distance_source, distance_unit, play_unit, valid_from::varchar from vehicles order by vehicle_row_id"
    )
    assert got == [
        ("odometer", "km", "thou", "2020-01-01"),
        ("odometer", "km", "mm", "1950-01-01"),
        ("hub meter", "km", "mm", "1950-01-01"),
        ("none", "km", "mm", "1950-01-01"),
    ]


def test_joint_names_are_those_of_the_vocabulary(bench):
    for side, axle, place, kind, joint in bench.rows("select side, axle, place, kind, joint from positions"):
        assert joint == vocabulary.joint_name(side, axle, place, kind)


def test_limits_keep_what_was_written(bench):
    got = bench.rows("select limit_mm, limit_written, limit_unit, valid_from::varchar from limits")
    assert got == [(1.27, "50", "thou", "1950-01-01")]


def test_services_parts_work_and_odometer_are_stored_in_canonical_units(bench):
    bench.load("s.csv", "unit,service date,odometer,odometer unit,interval (km)\nA1,2023-01-01,10000,mi,20000\n")
    bench.load("p.csv", "part number,kind,lead days,cost,alignment after\nP-1,kingpin,,12.5,yes\n")
    bench.load(
        "w.csv",
        f"unit,work date,odometer (mi),joint,work,reason\nA1,2023-01-01,10000,{JOINT},Replaced,worn\n",
    )
    bench.load("o.csv", "unit,entry date,mileage\nA1,2023-02-01,16100 km\n")
    assert bench.rows("select done_odometer_km, interval_km, interval_months from services") == [
        (16093.44, 20000, None)
    ]
    assert bench.rows("select part_number, lead_days, cost, alignment_after from parts") == [("P-1", None, 12.5, True)]
    assert bench.rows("select position_id, work, odometer_km, reason from work") == [(1, "replaced", 16093.44, "worn")]
    assert bench.rows("select event, odometer_km from odometer") == [("reading", 16100)]


def test_what_is_said_of_a_visit_later_is_kept_with_it(bench):
    reading = (
        f"unit,visit date,odometer (km),technician,joint,direction,play\nA1,2022-03-01,20000,AB,{JOINT},in-out,1 mm\n"
    )
    bench.load("r.csv", reading)
    head = "unit,visit date,odometer (km),shop,complaint,symptom confirmed,symptom joint\n"
    assert bench.load("v.csv", head + f"A1,2022-03-01,20000,Bay 2,knocks,yes,{JOINT}\n").rows_in == 1
    details = "select visit_id, shop, technician, complaint, symptom_confirmed, symptom_position_id from visit_details"
    assert bench.rows(details) == [(1, "Bay 2", "AB", "knocks", True, 1)]
    bench.load("v2.csv", head + "A1,2022-03-01,20000,,knocks and pulls,,\n")
    assert bench.rows(details) == [(1, "Bay 2", "AB", "knocks and pulls", True, 1)]


def test_a_visit_row_that_says_nothing_new_is_known(bench):
    bench.load(
        "r.csv",
        f"unit,visit date,odometer (km),technician,joint,direction,play\nA1,2022-03-01,20000,AB,{JOINT},in-out,1 mm\n",
    )
    summary = bench.load("v.csv", "unit,visit date,odometer (km),technician\nA1,2022-03-01,20000,AB\n")
    assert (summary.rows_in, summary.rows_known) == (0, 1)
    assert bench.rows("select count(*) from visits") == [(1,)]


def test_word_form_in_python_and_sql_are_twins(bench):
    from fleetwear.intake.sheet_loading import prepare

    texts = ["Tie-Rod  End", " seen,_not measured ", "IN OUT", "ball\tjoint"]
    with bench.store.writer() as con:
        prepare(con)
        got = con.execute("select word_form(unnest($texts::varchar[]))", {"texts": texts}).fetchall()
    assert [row[0] for row in got] == [word_form(text) for text in texts]


def test_every_word_column_has_a_vocabulary():
    from fleetwear.intake.columns import TABLES

    assert {c.name for t in TABLES for c in t.columns if c.content == "word"} == set(DOMAINS)
