"""The page Trends, run without a browser."""

from __future__ import annotations

import time

import pytest
from streamlit.testing.v1 import AppTest

from fleetwear.reports.trend_tables import TrendUnits, growth_table
from fleetwear.store import Store, open_snapshot, publish
from fleetwear.trends import answer, read_trends


def _script():
    from dashboard.messages import told_calmly
    from dashboard.tasks import trends

    with told_calmly():
        trends.show()


def said_by(app):
    assert not app.exception
    return "\n".join([*(element.proto.body for element in app.get("html")), *(one.value for one in app.markdown)])


@pytest.fixture
def app(monkeypatch, demo_store):
    monkeypatch.setenv("FLEETWEAR_STORE", str(demo_store.folder))
    return AppTest.from_function(_script, default_timeout=60)


def test_every_kind_is_told_with_its_interval(app, demo_store):
    said = said_by(app.run())
    con = open_snapshot(demo_store.folder)
    told = answer(read_trends(con), by="kind")
    con.close()
    table = growth_table(told.growth, by="kind", units=TrendUnits("thou", "mi"))
    for kind, rate in zip(table.iloc[:, 0], table.iloc[:, 1], strict=True):
        assert f"<b>{kind}</b>" in said
        assert rate in said
    for words in ("Turnbull", "an association in the record", "That clears none of them", "needs 5 more crossings"):
        assert words in said
    assert len(app.get("vega_lite_chart")) == 1 + len(told.crossing)


def test_a_kind_shows_the_curves_of_its_cohorts(app):
    app.run()
    app.selectbox("kind").select("kingpin").run()
    said = said_by(app)
    assert "H60 truck, long haul, in-out" in said
    few = len(app.get("vega_lite_chart"))
    app.toggle("all").set_value(True).run()
    assert len(app.get("vega_lite_chart")) == few + 2
    app.selectbox("by").select("Depot").run()
    app.selectbox("units").select("mm, km").run()
    said = said_by(app)
    assert "mm per 10,000 km" in said
    assert "Kingpins at depot" in said


def test_the_page_answers_within_two_seconds(app):
    """Processor time of a first look and of another question, once the libraries are loaded."""
    import streamlit

    app.run()
    streamlit.cache_resource.clear()
    streamlit.cache_data.clear()
    for choose in (app.run, lambda: app.selectbox("kind").select("ball joint").run()):
        began = time.process_time()
        choose()
        assert time.process_time() - began < 2.0
    assert not app.exception


def test_an_empty_store_and_one_without_forecast_say_what_to_do(monkeypatch, tmp_path):
    monkeypatch.setenv("FLEETWEAR_STORE", str(tmp_path / "nothing"))
    app = AppTest.from_function(_script, default_timeout=60).run()
    assert "fleetwear load" in "\n".join(block.value for block in app.code)
    publish(Store.create_or_open(tmp_path))
    monkeypatch.setenv("FLEETWEAR_STORE", str(tmp_path))
    app = AppTest.from_function(_script, default_timeout=60).run()
    assert "fleetwear forecast" in "\n".join(block.value for block in app.code)
