"""The page Take the data away, and the maintenance record on the vehicle's page, run without a browser."""

from __future__ import annotations

import shutil
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from fleetwear.planning.tidy_tables import describe_tables, table_names
from fleetwear.store import Store, open_snapshot
from fleetwear.store.connection import connect


def _taking_away():
    from dashboard.messages import told_calmly
    from dashboard.tasks import taking_away

    with told_calmly():
        taking_away.show()


def _vehicle_downloads():
    from dashboard import snapshot
    from dashboard.tasks.one_vehicle_downloads import offer_maintenance_record

    offer_maintenance_record(*snapshot.current(), "V102")


def run(monkeypatch, folder, script):
    monkeypatch.setenv("FLEETWEAR_STORE", str(folder))
    app = AppTest.from_function(script, default_timeout=60).run()
    assert not app.exception
    return app


def said(app):
    return "\n".join([*(element.proto.body for element in app.get("html")), *(one.value for one in app.markdown)])


def test_the_page_names_every_table_and_every_column(monkeypatch, demo_store):
    app = run(monkeypatch, demo_store.folder, _taking_away)
    assert app.title[0].value == "Take the data away"
    con = open_snapshot(demo_store.folder)
    described = describe_tables(con)
    columns = [row[0] for row in con.execute("describe tidy.series").fetchall()]
    con.close()
    for name in table_names():
        assert f"<b>{name}</b>" in said(app)
        assert described[name].split("'")[0] in said(app)
    app.selectbox(key="export_asked").set_value("series").run()
    for column in columns:
        assert f"{column}</td>" in said(app)
    app.selectbox(key="export_depot").set_value("Hill").run()
    assert "stay those of the fleet" in said(app)
    assert not app.exception


def test_a_snapshot_of_an_earlier_program_is_told_calmly(monkeypatch, demo_store, tmp_path):
    folder = tmp_path / "store"
    shutil.copytree(demo_store.folder / "snapshots", folder / "snapshots")
    con = connect(next((folder / "snapshots").glob("*.duckdb")), read_only=False)
    con.execute("drop schema tidy cascade")
    con.close()
    app = run(monkeypatch, folder, _taking_away)
    assert "an earlier program published it" in said(app)
    assert not Store(folder).exists


@pytest.mark.parametrize("left", [None, date(2026, 11, 30)])
def test_the_record_is_offered_whether_the_vehicle_left_or_not(monkeypatch, demo_store, left):
    app = run(monkeypatch, demo_store.folder, _vehicle_downloads)
    app.date_input(key="left-V102").set_value(left).run()
    assert not app.exception
    assert len(app.get("download_button")) == 2


def test_leaving_before_the_last_record_is_told(monkeypatch, demo_store):
    app = run(monkeypatch, demo_store.folder, _vehicle_downloads)
    app.date_input(key="left-V102").set_value(date(2026, 1, 1)).run()
    assert "left on 2026-01-01, and has a record of 2026-07-07" in said(app)
    assert not app.get("download_button")
