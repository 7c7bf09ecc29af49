"""The odometer against the vehicle's history, and against what loading would say of it."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from fleetwear.recording import check_odometer, running_km

TODAY = date(2026, 11, 20)
NO_SWAPS = pd.DataFrame({"on_date": [], "old_km": [], "new_km": []})


def entries(*pairs):
    return pd.DataFrame({"on_date": pd.to_datetime([day for day, _ in pairs]), "odometer_km": [km for _, km in pairs]})


HISTORY = entries(("2026-01-01", 100_000.0), ("2026-05-01", 112_000.0), ("2026-10-20", 129_000.0))
"""About 100 km a day; a month after the last value 132,100 km is to be expected."""


def ask(km, on_date=TODAY, history=HISTORY, swaps=NO_SWAPS, unit="km"):
    return check_odometer(km, on_date, history, swaps, distance_unit=unit)


@pytest.mark.parametrize("km", [129_000.0, 132_100.0, 140_000.0, 142_800.0])
def test_what_fits_is_not_asked_about(km):
    assert ask(km) is None


def test_going_back_is_asked_about_with_the_last_value_and_date():
    doubt = ask(128_000.0)
    assert (str(doubt.question), doubt.against_km, doubt.against_date) == ("goes back", 129_000.0, date(2026, 10, 20))
    assert "128,000 km is less than the last value on record, 129,000 km on 2026-10-20" in doubt.words
    assert doubt.refused


def test_a_typing_mistake_of_one_digit_more_is_asked_about():
    doubt = ask(1_321_000.0)
    assert str(doubt.question) == "jumps too far"
    assert doubt.refused
    assert "1,192,000 km more than the last value on record, 129,000 km on 2026-10-20" in doubt.words


def test_far_beyond_the_usual_pace_is_asked_about_but_would_be_taken():
    doubt = ask(145_000.0)
    assert str(doubt.question) == "jumps too far"
    assert not doubt.refused


def test_a_late_entry_is_held_against_later_values():
    doubt = ask(113_500.0, date(2026, 4, 1))
    assert str(doubt.question) == "lies above a later value"
    assert "112,000 km on 2026-05-01" in doubt.words
    assert ask(108_000.0, date(2026, 4, 1)) is None


def test_a_swap_explains_a_small_value():
    swap = pd.DataFrame({"on_date": pd.to_datetime(["2026-11-20"]), "old_km": [132_000.0], "new_km": [0.0]})
    assert ask(40.0, swaps=swap) is None
    assert running_km(40.0, TODAY, swap) == pytest.approx(132_040.0)
    assert str(ask(40.0).question) == "goes back"


def test_words_are_in_the_persons_unit():
    assert "79,536 mi is less than the last value on record, 80,157 mi" in ask(128_000.0, unit="mi").words


def test_without_history_nothing_is_asked():
    assert ask(5.0, history=entries()) is None


def test_one_value_tells_no_pace():
    one = entries(("2026-10-20", 129_000.0))
    assert ask(200_000.0, history=one) is None
    assert ask(250_000.0, history=one).refused


@pytest.mark.parametrize("km", [128_999.0, 129_000.0, 206_500.0, 206_501.0])
def test_what_would_be_refused_is_what_loading_refuses(km, make_store):
    """The twin: the same history and value through the loading itself."""
    from dataclasses import replace

    from fleetwear.recording import Visit, record_visit

    folder = make_store(
        {
            "vehicles": "unit,model,distance unit\nA1,Alpha,km",
            "odometer": "unit,entry date,odometer\n"
            + "\n".join(f"A1,{row.on_date.date()},{row.odometer_km} km" for row in HISTORY.itertuples()),
        }
    )
    visit = replace(Visit("A1", TODAY), odometer=str(km))
    told = record_visit(folder, visit, name="one", today=TODAY)
    doubt = ask(km)
    assert bool(told.refused) == (doubt is not None and doubt.refused)
