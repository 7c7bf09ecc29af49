"""The backtest of the demo fleet: stored whole, and its figures are those of its cases."""

import json
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from fleetwear.backtest import records
from fleetwear.backtest.records import read_backtest, read_cases, save_backtest
from fleetwear.backtest.summary import Backtest
from fleetwear.errors import InputError, StoreError
from fleetwear.forecast import Settings
from fleetwear.store import Store, open_snapshot
from pipelines import backtest


@pytest.fixture(scope="module")
def con(checked_store):
    con = open_snapshot(checked_store.folder)
    yield con
    con.close()


@pytest.fixture(scope="module")
def check(con):
    return read_backtest(con)


@pytest.fixture(scope="module")
def cases(con, check):
    return read_cases(con, check.backtest_id)


def test_the_run_is_stored_with_its_settings(check):
    assert check.backtest_id == 1
    assert check.settings["cost_ratio"] == Settings().cost_ratio
    assert check.settings["through"] == "2026-10-30"
    assert check.elapsed_seconds > 0.0
    assert [day.date() for day in check.dates["as_of"]] == [date(2025, 4, 30), date(2025, 10, 31)]
    assert (check.dates["skipped"] == "").all()


def test_cases_look_ahead_of_their_date_only(cases):
    assert len(cases) > 800
    assert (cases["last_date"] <= cases["as_of"]).all()
    assert (cases["next_date"] > cases["as_of"]).all()
    assert (cases["last_mm"] <= cases["limit_mm"] * (1 + 1e-9)).all()
    assert (cases["event"] == (cases["observed_mm"] > cases["limit_mm"] * (1 + 1e-9))).all()
    assert (cases["ahead_km"] >= 0.0).all()
    assert not cases.duplicated(["unit", "joint", "direction", "life_no", "next_date"]).any()


def test_figures_are_those_of_the_stored_cases_by_plain_arithmetic(check, cases):
    event = cases["event"].to_numpy(float)
    base = event.mean()
    assert check.figure("events") == event.sum() > 5
    assert check.figure("brier") == pytest.approx(np.mean((cases["p_over"] - event) ** 2))
    assert check.figure("brier_skill") == pytest.approx(1 - check.figure("brier") / (base * (1 - base)))
    inside = (cases["observed_mm"] >= cases["q10_mm"]) & (cases["observed_mm"] <= cases["q90_mm"])
    assert check.figure("coverage_80") == pytest.approx(inside.mean())
    line = (cases["line_mm"] - cases["observed_mm"]).abs().mean()
    assert check.figure("crps_mm", forecaster="straight line") == pytest.approx(line)
    flagged = cases["p_over"] > cases["accepted_risk"]
    assert check.figure("flags") == flagged.sum()
    assert check.figure("missed") == (cases["event"] & ~flagged).sum()
    assert check.figure("false_flags") == (flagged & ~cases["event"]).sum()


def test_rivals_flag_as_many_and_what_they_flag_adds_up(check):
    flags = check.figure("flags")
    for rival in ("share of limit", "straight line"):
        assert check.figure("flags", forecaster=rival) == pytest.approx(flags)
        hits = flags - check.figure("false_flags", forecaster=rival)
        assert hits + check.figure("missed", forecaster=rival) == pytest.approx(check.figure("events"))
    assert np.isnan(check.figure("brier", forecaster="straight line"))


def test_scopes_add_up(check):
    kinds = [scope for scope in check.scores["scope"].unique() if scope != "all"]
    assert len(kinds) > 5
    assert sum(check.figure("events", scope=kind) for kind in kinds) == check.figure("events")
    curve = check.calibration
    assert curve.loc[curve["scope"] == "all", "n"].sum() == check.dates["n_cases"].sum()
    assert curve.loc[curve["scope"] != "all", "n"].sum() == check.dates["n_cases"].sum()


def test_the_forecast_is_worth_something_on_the_demo_fleet(check):
    """Demo readings include slipped setups, so intervals hold a little less than they say."""
    assert check.figure("brier_skill") > 0.2
    assert check.figure("crps_mm") < 0.75 * check.figure("crps_mm", forecaster="straight line")
    assert 0.7 < check.figure("coverage_80") < 0.9
    assert 0.85 < check.figure("coverage_95") < 0.99


def test_a_backtest_that_cannot_be_written_leaves_nothing_behind(checked_store, tmp_path, monkeypatch):
    store = Store.create_or_open(tmp_path / "store")
    broken = Backtest(pd.DataFrame([{"as_of": date(2025, 1, 1)}]), pd.DataFrame(), pd.DataFrame(), pd.DataFrame())
    with store.writer() as con, pytest.raises(Exception, match="NOT NULL"):
        save_backtest(con, broken, made_at=datetime(2026, 1, 1), settings={}, elapsed_seconds=0.0)
    with store.reader() as con:
        assert read_backtest(con) is None
        with pytest.raises(StoreError, match="no backtest number 4"):
            read_cases(con, 4)


def test_a_store_from_before_there_were_backtests_has_none(tmp_path):
    store = Store.create_or_open(tmp_path / "store")
    with store.writer() as con:
        for table in ("backtest_calibration", "backtest_scores", "backtest_cases", "backtest_dates", "backtests"):
            con.execute(f"drop table {table}")
        assert records.read_backtest(con) is None


def test_an_empty_store_is_told_to_load(tmp_path):
    Store.create_or_open(tmp_path / "store")
    with pytest.raises(InputError, match=r"no reading has been measured.*fleetwear load"):
        backtest.run(tmp_path / "store", made_at=datetime(2026, 1, 1))


def test_settings_are_json(check):
    assert json.loads(json.dumps(check.settings)) == check.settings
