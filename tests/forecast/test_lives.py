"""Lives and distances: replacements start lives, swaps keep the distance going, unknown origins are marked."""

from datetime import date, datetime

import pytest

from fleetwear.store import Store
from fleetwear.store.known import ASSUMED_KM_PER_DAY, prepare

POSITIONS = """
    model,axle,side,place,kind
    Van,front,left,lower,ball joint
"""
JOINT = "left front lower ball joint"


def known(store, query, *, as_of=date(2026, 11, 1), known_by=None):
    with Store(store).reader() as con:
        prepare(con, as_of=as_of, known_by=known_by)
        return con.execute(query).fetchall()


def test_a_replacement_starts_a_life_and_splits_the_readings_of_its_day(make_store):
    store = make_store(
        {
            "vehicles": "unit,model,in service date\nA1,Van,2023-01-01",
            "positions": POSITIONS,
            "readings": f"""
                unit,visit date,odometer (km),joint,direction,timing,play (mm)
                A1,2024-01-10,20000,{JOINT},in-out,,0.40
                A1,2025-01-10,40000,{JOINT},in-out,before work,0.80
                A1,2025-01-10,40000,{JOINT},in-out,after work,0.05
                A1,2026-01-10,60000,{JOINT},in-out,,0.20
            """,
            "work": f"unit,work date,odometer (km),joint,work\nA1,2025-01-10,40000,{JOINT},replaced",
        }
    )
    lives = known(store, "select life_no, origin, start_km, is_current from known_lives order by life_no")
    assert lives == [(1, "in service", 0.0, False), (2, "replacement", 40000.0, True)]
    series = known(
        store,
        "select life_no, life_distance_km, play_mm from known_series_visits order by visit_date, life_no",
    )
    assert series == [(1, 20000.0, 0.40), (1, 40000.0, 0.80), (2, 0.0, 0.05), (2, 20000.0, 0.20)]


def test_an_adjustment_starts_a_life_and_greasing_does_not(make_store):
    store = make_store(
        {
            "vehicles": "unit,model,in service date\nA1,Van,2023-01-01",
            "positions": POSITIONS,
            "work": f"""
                unit,work date,odometer (km),joint,work
                A1,2024-01-10,20000,{JOINT},greased
                A1,2025-01-10,40000,{JOINT},adjusted
            """,
        }
    )
    assert known(store, "select life_no, origin from known_lives order by life_no") == [
        (1, "in service"),
        (2, "adjustment"),
    ]


def test_a_swapped_odometer_keeps_the_distance_going(make_store):
    store = make_store(
        {
            "vehicles": "unit,model,in service date\nA1,Van,2023-01-01",
            "positions": POSITIONS,
            "odometer": "unit,entry date,odometer (km),event,new odometer (km)\nA1,2025-03-01,50000,swap,100",
            "visits": """
                unit,visit date,odometer (km)
                A1,2025-02-01,49000
                A1,2025-03-01,50000
                A1,2025-03-01,100
                A1,2025-06-01,5100
            """,
        }
    )
    assert known(store, "select odometer_km, running_km from known_visits order by running_km, odometer_km") == [
        (49000.0, 49000.0),
        (100.0, 50000.0),
        (50000.0, 50000.0),
        (5100.0, 55000.0),
    ]


def test_an_unknown_in_service_date_marks_the_origin_unknown(make_store):
    store = make_store(
        {
            "vehicles": "unit,model\nA1,Van",
            "positions": POSITIONS,
            "visits": "unit,visit date,odometer (km)\nA1,2025-02-01,120000",
        }
    )
    assert known(store, "select origin, start_km from known_lives") == [("unknown", 120000.0)]


def test_a_vehicle_without_odometer_runs_on_dates(make_store):
    store = make_store(
        {
            "vehicles": "unit,model,in service date,distance source\nT1,Van,2025-01-01,none",
            "positions": POSITIONS,
            "visits": "unit,visit date\nT1,2025-01-31",
        }
    )
    assert known(store, "select running_km from known_visits") == [(30 * ASSUMED_KM_PER_DAY,)]


def test_strokes_are_averaged_and_the_largest_is_kept(make_store):
    store = make_store(
        {
            "vehicles": "unit,model,in service date\nA1,Van,2023-01-01",
            "positions": POSITIONS,
            "readings": f"""
                unit,visit date,odometer (km),joint,direction,play (mm)
                A1,2024-01-10,20000,{JOINT},in-out,0.40
                A1,2024-01-10,20000,{JOINT},in-out,0.46
                A1,2024-01-10,20000,{JOINT},in-out,none seen
            """,
        }
    )
    assert known(store, "select result, play_mm, strokes, largest_mm from known_series_visits") == [
        ("measured", pytest.approx(0.43), 2, 0.46)
    ]


def test_only_what_had_happened_and_been_loaded_is_known(make_store):
    tables = {
        "vehicles": "unit,model,in service date\nA1,Van,2023-01-01",
        "positions": POSITIONS,
        "visits": "unit,visit date,odometer (km)\nA1,2024-01-10,20000\nA1,2026-01-10,60000",
    }
    store = make_store(tables)
    make_store({"more": "unit,visit date,odometer (km)\nA1,2025-01-10,40000"}, loaded_at=datetime(2026, 12, 1))
    dates = "select year(visit_date) from known_visits order by visit_date"
    assert known(store, dates) == [(2024,), (2025,), (2026,)]
    assert known(store, dates, as_of=date(2025, 6, 1)) == [(2024,), (2025,)]
    assert known(store, dates, known_by=datetime(2026, 11, 25)) == [(2024,), (2026,)]


def test_a_vehicle_that_moved_depot_is_shown_where_it_stood(make_store):
    store = make_store(
        {
            "vehicles": """
                unit,model,depot,in service date,valid from
                A1,Van,North,2023-01-01,2023-01-01
                A1,Van,South,2023-01-01,2025-05-01
            """,
            "positions": POSITIONS,
            "visits": "unit,visit date,odometer (km)\nA1,2022-12-20,100",
        }
    )
    depot = "select depot from known_vehicles"
    assert known(store, depot, as_of=date(2025, 4, 30)) == [("North",)]
    assert known(store, depot, as_of=date(2025, 5, 1)) == [("South",)]
    assert known(store, depot, as_of=date(2022, 12, 31)) == [("North",)], "in a bay before it was in service"
    assert known(store, depot, as_of=date(2022, 12, 1)) == []
