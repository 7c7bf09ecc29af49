"""Which vehicle a name means: now, on an earlier day, after a new number, and after another took the number over."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from fleetwear.errors import InputError
from fleetwear.planning.history import read_history
from fleetwear.planning.named_vehicle import find_vehicle
from fleetwear.planning.vehicle import find_unit
from fleetwear.recording import opened, read_bay
from fleetwear.store import Store

ONE, TWO = "1M8GDM9AXKP042788", "2G1WF52E859355243"
HEAD = "unit,model,vin,plate,valid from"
POSITIONS = {"positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint"}


def store_of(make_store, *rows):
    return make_store({"vehicles": "\n".join([HEAD, *rows])} | POSITIONS)


def ask(folder, name, **options):
    with Store(folder).reader() as con:
        return find_vehicle(con, name, **options)


@pytest.fixture
def renumbered(make_store):
    return store_of(make_store, f"A12,Alpha,{ONE},P 1,2020-01-01", f"B7,Alpha,{ONE},P 1,2023-03-01",
                    f"B7,Alpha,{ONE},P 2,2024-03-01")  # fmt: skip


def test_an_old_number_finds_its_vehicle_and_says_what_it_is_called_now(renumbered):
    found = ask(renumbered, " a12 ")
    assert (found.unit, found.told, found.is_bearer) == ("B7", "a12 is called B7 since 2023-03-01.", True)
    for name in ("B7", ONE.lower(), "p 2", "P 1"):
        assert (ask(renumbered, name).unit, ask(renumbered, name).told) == ("B7", "")
    with Store(renumbered).reader() as con:
        assert find_unit(con, "A12") == "B7"
        assert find_unit(con, "A12", on_date=date(2022, 1, 1)) == "A12"
        assert read_history(con, "A12")["number"].tolist() == read_history(con, "B7")["number"].tolist()
    assert ask(renumbered, "B7", on_date=date(2022, 1, 1)).unit == "A12"


def test_who_bears_the_number_now_wins_and_the_other_is_named(make_store, renumbered):
    store_of(make_store, f"A12,Alpha,{TWO},,2024-01-01")
    found = ask(renumbered, "A12")
    assert found.unit == "A12"
    assert found.vehicle_id == ask(renumbered, TWO).vehicle_id != ask(renumbered, ONE).vehicle_id
    assert found.told == "Another vehicle bore the number A12 before: it is called B7 since 2023-03-01."
    before = ask(renumbered, "A12", on_date=date(2023, 6, 1))
    assert (before.unit, before.told) == ("B7", "A12 is called B7 since 2023-03-01.")


def test_of_two_that_both_bore_it_and_have_other_numbers_the_last_wins(make_store, renumbered):
    store_of(make_store, f"A12,Alpha,{TWO},,2024-01-01", f"C3,Alpha,{TWO},,2025-01-01")
    found = ask(renumbered, "A12")
    assert found.unit == "C3"
    last, first = found.told.split(". ", 1)
    assert last == "A12 is called C3 since 2025-01-01"
    assert first == "Another vehicle bore the number A12 before: it is called B7 since 2023-03-01."


def test_a_number_taken_over_from_a_vehicle_that_was_given_none(make_store):
    folder = store_of(make_store, f"C1,Alpha,{ONE},,2020-01-01", f"C1,Alpha,{TWO},,2023-01-01")
    found = ask(folder, "C1")
    assert found.told == "Another vehicle bore the number C1 before: give its VIN for it."
    old = ask(folder, ONE)
    assert (old.unit, old.is_bearer, found.is_bearer) == ("C1", False, True)
    assert old.vehicle_id != found.vehicle_id
    with opened(folder) as con:
        assert read_bay(con, "C1", on_date=date(2026, 1, 1)).vehicle["vin"] == TWO
        with pytest.raises(InputError, match="C1 is another vehicle now"):
            read_bay(con, ONE, on_date=date(2026, 1, 1))
        assert read_bay(con, ONE, on_date=date(2022, 1, 1)).vehicle["vin"] == ONE


def test_a_plate_that_several_bear_names_none_of_them(make_store):
    folder = store_of(make_store, f"C1,Alpha,{ONE},P 1,2020-01-01", f"C2,Alpha,{TWO},P 1,2020-01-01")
    with pytest.raises(InputError, match="'P 1' names several vehicles: C1, C2"):
        ask(folder, "P 1")


def test_what_was_loaded_later_was_not_known(make_store):
    folder = store_of(make_store, f"A12,Alpha,{ONE},,2020-01-01")
    make_store({"later": f"{HEAD}\nB7,Alpha,{ONE},,2023-03-01"}, loaded_at=datetime(2026, 11, 20, 9))
    assert ask(folder, "A12").unit == "B7"
    assert ask(folder, "A12", known_by=datetime(2026, 11, 20, 8)).unit == "A12"
    with pytest.raises(InputError, match="no vehicle has"):
        ask(folder, "B7", known_by=datetime(2026, 11, 20, 8))


def test_the_bay_goes_on_under_the_new_number(renumbered):
    with opened(renumbered) as con:
        bay = read_bay(con, "A12", on_date=date(2026, 1, 1))
    assert (bay.vehicle["unit"], bay.told) == ("B7", "A12 is called B7 since 2023-03-01.")


@pytest.mark.parametrize("name", ["", "  ", "Z9", "%", "'"])
def test_a_name_that_nobody_has(renumbered, name):
    with pytest.raises(InputError, match="no vehicle has the unit number, VIN or plate"):
        ask(renumbered, name)
