"""The page Model check, run without a browser."""

from __future__ import annotations

import shutil

import pytest
from streamlit.testing.v1 import AppTest

from fleetwear.backtest.records import read_backtest
from fleetwear.reports.model_check import say_coverage, say_lost, say_scope
from fleetwear.store import Store, open_snapshot, publish


def _script():
    from dashboard.messages import told_calmly
    from dashboard.tasks import model_check

    with told_calmly():
        model_check.show()


def run(monkeypatch, folder):
    monkeypatch.setenv("FLEETWEAR_STORE", str(folder))
    app = AppTest.from_function(_script, default_timeout=60).run()
    assert not app.exception
    said = "\n".join([*(element.proto.body for element in app.get("html")), *(one.value for one in app.markdown)])
    return app, said


@pytest.fixture(scope="module")
def check(checked_store):
    con = open_snapshot(checked_store.folder)
    yield read_backtest(con)
    con.close()


def test_figures_stand_beside_those_of_the_rivals(monkeypatch, checked_store, check):
    app, said = run(monkeypatch, checked_store.folder)
    assert app.title[0].value == "Model check"
    assert say_scope(check) in said
    for words in ("Crossings missed", "Straight line", "By share of limit", "Brier skill"):
        assert words in said
    assert f"{check.figure('brier_skill'):.3f}" in said
    assert f"{check.figure('crps_mm', forecaster='straight line'):.3f} mm" in said
    assert len(app.get("vega_lite_chart")) == 1


def test_coverage_lost_cases_dates_and_kinds_are_told(monkeypatch, checked_store, check):
    _, said = run(monkeypatch, checked_store.folder)
    assert say_coverage(check) in said
    assert say_lost(check) in said
    for day in check.dates["as_of"]:
        assert f"<b>{day:%Y-%m-%d}</b>" in said
    for kind in set(check.scores["scope"]) - {"all"}:
        assert f"<b>{kind}</b>" in said


def test_without_a_check_the_page_says_how_to_make_one(monkeypatch, demo_store):
    app, said = run(monkeypatch, demo_store.folder)
    assert "No check has been made" in said
    assert [block.value for block in app.code] == ["fleetwear backtest"]


def test_a_snapshot_from_before_there_were_checks_does_not_harm(monkeypatch, tmp_path):
    store = Store.create_or_open(tmp_path)
    with store.writer() as con:
        for table in ("backtest_calibration", "backtest_scores", "backtest_cases", "backtest_dates", "backtests"):
            con.execute(f"drop table {table}")
    publish(store)
    app, _ = run(monkeypatch, tmp_path)
    assert [block.value for block in app.code] == ["fleetwear backtest"]


def test_an_empty_store_says_what_to_do(monkeypatch, tmp_path):
    app, _ = run(monkeypatch, tmp_path / "nothing")
    assert "fleetwear load" in "\n".join(block.value for block in app.code)


def test_a_later_check_is_shown(monkeypatch, checked_store, tmp_path):
    shutil.copytree(checked_store.folder, tmp_path / "store")
    store = Store(tmp_path / "store")
    with store.writer() as con:
        con.execute("insert into backtests select 2, made_at, 'later', settings, elapsed_seconds from backtests")
        for table in ("backtest_dates", "backtest_scores", "backtest_calibration"):
            con.execute(f"insert into {table} select * replace (2 as backtest_id) from {table}")
    publish(store)
    _, said = run(monkeypatch, tmp_path / "store")
    assert "number 2, made" in said
    assert "fleetwear later" in said
