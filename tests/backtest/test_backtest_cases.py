"""Cases of a small store made by hand: which there are, and that nothing later reaches a forecast."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hand_made import JOINT, LIMIT_MM, fleet, play

from fleetwear.backtest.cases import KEYS, QUANTILE_COLUMNS, cases_as_of, read_record
from fleetwear.backtest.summary import summarise
from fleetwear.forecast import Settings
from fleetwear.store import Store

AS_OF = date(2025, 12, 1)
LATER = date(2026, 3, 1)
FORECAST = ["p_over", "mean_mm", "sd_mm", *QUANTILE_COLUMNS, "share_of_limit", "line_mm", "ahead_km"]


def cases_of(folder, as_of=AS_OF):
    """Return the cases of a date with the units of their vehicles as index."""
    with Store(folder).reader() as con:
        record = read_record(con, through=date.max)
        found = cases_as_of(con, record, as_of=as_of, settings=Settings())
        units = dict(con.execute("select vehicle_id, unit from vehicles").fetchall())
    return found, found.series.assign(unit=found.series["vehicle_id"].map(units)).set_index("unit")


@pytest.fixture(scope="module")
def store(make_fleet):
    return make_fleet(fleet())


@pytest.fixture(scope="module")
def cases(store):
    return cases_of(store)[1]


def test_what_became_of_every_series(cases):
    assert cases["fate"].drop(["B1", "B3"]).eq("read").all()
    assert cases.loc["B1", "fate"] == "replaced"
    assert cases.loc["B3", "fate"] == "waiting"
    assert "B4" not in cases.index, "it was over its limit already"
    assert "A00" not in cases.index, "it was not in service yet"
    assert len(cases) == 14


def test_the_reading_that_counts_is_the_next_one_of_the_same_life_before_work(cases):
    read = cases[cases["fate"] == "read"]
    assert (read["next_date"] == pd.Timestamp("2026-05-01")).all()
    assert cases.loc["B2", "observed_mm"] == pytest.approx(0.65)
    for k in range(10):
        assert cases.loc[f"A{k}", "observed_mm"] == pytest.approx(play(k, 3))
        assert cases.loc[f"A{k}", "last_mm"] == pytest.approx(play(k, 2))
    assert read["ahead_km"].to_numpy() == pytest.approx(np.full(len(read), 10_000.0))
    expected = {f"A{k}" for k in range(10) if play(k, 3) > LIMIT_MM} | {"B2"}
    assert set(read.index[read["event"]]) == expected


def test_a_reading_of_the_day_itself_belongs_to_what_had_happened(store, cases):
    of_the_day = cases_of(store, date(2025, 11, 1))[1]
    pd.testing.assert_frame_equal(of_the_day[["last_mm", *FORECAST]], cases[["last_mm", *FORECAST]])


def test_a_replaced_part_is_forecast_as_it_came_out(cases):
    assert cases.loc["B1", "ahead_km"] == pytest.approx(5_000.0)
    assert np.isnan(cases.loc["B1", "observed_mm"])
    assert np.isfinite(cases.loc["B1", "p_over"])


def test_rivals_go_by_the_last_reading_and_by_a_line_through_all(cases):
    for k in (0, 5, 9):
        row = cases.loc[f"A{k}"]
        assert row["share_of_limit"] == pytest.approx(play(k, 2) / LIMIT_MM)
        x, y = np.array([3e4, 4e4, 5e4]), [play(k, n) for n in range(3)]
        assert row["line_mm"] == pytest.approx(np.polyval(np.polyfit(x, y, 1), 6e4))


def test_forecasts_are_near_what_a_steady_fleet_reads(cases):
    read = cases[(cases["fate"] == "read") & (cases.index != "B2")]
    assert (read["mean_mm"] - read["observed_mm"]).abs().max() < 0.05
    assert (np.diff(read[QUANTILE_COLUMNS].to_numpy(), axis=1) > 0).all()


LATER_CHANGES = {
    "later work": {"work": f"A3,2026-06-01,62000,{JOINT},replaced"},
    "a later visit": {"readings": f"A3,2026-08-01,70000,{JOINT},in-out,measured,2.000,before work"},
    "a later limit": {"limits": "ball joint,0.2,shop,sheet 8,2026-01-01"},
}


@pytest.mark.parametrize("changes", LATER_CHANGES.values(), ids=LATER_CHANGES)
def test_nothing_that_happened_later_reaches_the_forecast(cases, make_fleet, changes):
    other = cases_of(make_fleet(fleet(changes=changes)))[1]
    pd.testing.assert_frame_equal(cases.drop(columns="end_distance_km"), other.drop(columns="end_distance_km"))


def test_later_readings_move_what_was_observed_and_nothing_that_was_forecast(cases, make_fleet):
    other = cases_of(make_fleet(fleet(later_mm=0.4)))[1]
    pd.testing.assert_frame_equal(cases[FORECAST], other[FORECAST], check_exact=True)
    moved = (other["observed_mm"] - cases["observed_mm"]).dropna()
    assert moved.to_numpy() == pytest.approx(np.full(12, 0.4))
    assert other["event"].sum() > cases["event"].sum()


def test_what_was_read_earlier_does_reach_it(cases, make_fleet):
    tables = fleet()
    was = f"A3,2025-11-01,50000,{JOINT},in-out,measured,{play(3, 2):.3f}"
    assert was in tables["readings"]
    tables["readings"] = tables["readings"].replace(was, was[:-5] + "0.550")
    other = cases_of(make_fleet(tables))[1]
    assert other.loc["A3", "mean_mm"] > cases.loc["A3", "mean_mm"] + 0.005
    assert other.loc["A3", "p_over"] > cases.loc["A3", "p_over"]


def test_series_are_matched_by_what_they_are_not_by_number(store, cases):
    """A00 comes before every other unit, so that all numbers differ between the two moments."""
    later = cases_of(store, LATER)[1]
    both = [unit for unit in cases.index if unit in later.index]
    assert (cases.loc[both, "series"] != later.loc[both, "series"]).any()
    pd.testing.assert_series_equal(cases.loc[both, "observed_mm"], later.loc[both, "observed_mm"])


def test_every_reading_is_scored_once(store):
    first, second = cases_of(store)[0], cases_of(store, LATER)[0]
    both = summarise([first, second])
    dates = both.dates.set_index("as_of")
    assert dates.loc[AS_OF, ["n_cases", "n_replaced", "n_waiting", "n_repeats"]].tolist() == [12, 1, 1, 0]
    assert dates.loc[LATER, ["n_cases", "n_replaced", "n_waiting", "n_repeats"]].tolist() == [0, 0, 0, 12]
    assert not both.cases.duplicated([*KEYS, "next_date"]).any()
    assert dates["n_events"].sum() == both.cases["event"].sum()


def test_a_date_with_nothing_after_it_is_skipped_with_a_word(store):
    found, _ = cases_of(store, date(2026, 6, 1))
    assert "measured again" in found.skipped
    assert summarise([found]).cases.empty


def test_a_date_with_too_little_before_it_is_skipped_with_a_word(make_fleet):
    tables = fleet()
    head, *rows = tables["readings"].splitlines()
    tables["readings"] = "\n".join([head, *(row for row in rows if row.startswith("A1,"))])
    tables["work"] = tables["work"].splitlines()[0] + f"\nA2,2024-01-01,1000,{JOINT},greased"
    found, _ = cases_of(make_fleet(tables), date(2024, 12, 1))
    assert "enough readings" in found.skipped
