"""The pages, run without a browser."""

from __future__ import annotations

import re
import shutil

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.serve import APP, command, environment
from fleetwear.planning.flags import read_flags
from fleetwear.store import Store, open_snapshot, publish
from fleetwear.vocabulary import CAUTION, Outcome

_LINK = re.compile(r'href="vehicle\?unit=([^"]+)"')


@pytest.fixture(scope="module")
def flags(demo_store):
    con = open_snapshot(demo_store.folder)
    yield read_flags(con)
    con.close()


def new_app(monkeypatch, folder):
    monkeypatch.setenv("FLEETWEAR_STORE", str(folder))
    return AppTest.from_file(str(APP), default_timeout=60)


@pytest.fixture
def app(monkeypatch, demo_store):
    return new_app(monkeypatch, demo_store.folder)


def html(app):
    return "\n".join(element.proto.body for element in app.get("html"))


def units(app):
    return _LINK.findall(html(app))


def text(app):
    return "\n".join([html(app), *(element.value for element in app.markdown)])


def test_first_page_lists_the_most_pressing_first(app, flags):
    app.run()
    assert not app.exception
    assert units(app) == flags.vehicles["unit"].tolist()[:25]
    assert CAUTION.split(".")[0] in html(app)
    said = text(app)
    for outcome, count in flags.vehicles["outcome"].value_counts().items():
        assert re.search(rf"{outcome.replace(';', ',')}: \*\*{count}\*\*", said, re.IGNORECASE)
    assert f"{flags.run.as_of:%Y-%m-%d}" in said


def test_filters_change_the_rows(app, flags):
    app.run()
    vehicles = flags.vehicles
    app.selectbox(key="depot").set_value("Hill").run()
    hill = vehicles[vehicles["depot"] == "Hill"]
    assert units(app) == hill["unit"].tolist()[:25]
    app.multiselect(key="outcome").set_value([str(Outcome.CROSSES)]).run()
    assert units(app) == hill.loc[hill["outcome"] == str(Outcome.CROSSES), "unit"].tolist()[:25]
    app.selectbox(key="depot").set_value("every depot")
    app.multiselect(key="outcome").set_value([])
    app.selectbox(key="horizon").set_value("within 30 days").run()
    last = flags.run.as_of.toordinal() + 30
    soon = [day.toordinal() <= last for day in vehicles["next_service_date_50"]]
    assert units(app) == vehicles.loc[soon, "unit"].tolist()[:25]
    assert not app.exception


def test_accepted_risk_changes_the_outcomes(app, demo_store):
    app.run()
    app.slider(key="risk").set_value(0.01).run()
    con = open_snapshot(demo_store.folder)
    strict = read_flags(con, accepted_risk=0.01).vehicles
    usual = read_flags(con).vehicles
    con.close()
    count = int((strict["outcome"] == str(Outcome.CROSSES)).sum())
    assert count > int((usual["outcome"] == str(Outcome.CROSSES)).sum())
    assert f"rosses before next service: **{count}**" in text(app)


def test_rows_beyond_the_first_page(app, flags):
    app.run()
    rows = next(box for box in app.selectbox if box.label == "Rows")
    rows.set_value(75).run()
    assert units(app) == flags.vehicles["unit"].tolist()[75:100]


def test_a_vehicle_is_sought_by_vin(app, flags):
    vehicle = flags.vehicles.iloc[5]
    app.run()
    app.text_input(key="sought").set_value(vehicle["vin"]).run()
    assert units(app) == [vehicle["unit"]]
    app.text_input(key="sought").set_value("<b>nobody</b>").run()
    assert "&lt;b&gt;nobody&lt;/b&gt;" in html(app)
    assert units(app) == []
    assert not app.exception


@pytest.mark.parametrize("outcome", list(Outcome))
def test_vehicle_page_of_every_outcome(monkeypatch, demo_store, flags, outcome):
    own = flags.vehicles[flags.vehicles["outcome"] == str(outcome)]
    if own.empty:
        pytest.skip(f"no vehicle of the demo fleet is {outcome}")
    _show_vehicle(monkeypatch, demo_store, flags, own.iloc[0])


@pytest.mark.parametrize("source", ["odometer", "hub meter", "none"])
def test_vehicle_page_of_every_distance_source(monkeypatch, demo_store, flags, source):
    own = flags.vehicles[flags.vehicles["distance_source"] == source]
    _show_vehicle(monkeypatch, demo_store, flags, own.iloc[-1])


def _vehicle_script():
    from dashboard.messages import told_calmly
    from dashboard.tasks import one_vehicle

    with told_calmly():
        one_vehicle.show()


def _show_vehicle(monkeypatch, demo_store, flags, vehicle):
    monkeypatch.setenv("FLEETWEAR_STORE", str(demo_store.folder))
    app = AppTest.from_function(_vehicle_script, default_timeout=60)
    app.query_params["unit"] = vehicle["unit"]
    app.run()
    assert not app.exception
    assert app.title[0].value == f"Vehicle {vehicle['unit']}"
    joints = flags.joints[flags.joints["unit"] == vehicle["unit"]]
    page = html(app).lower()
    for joint in joints["joint"].unique():
        assert joint in page
    untested = joints[joints["n_visits"] == 0]
    said = text(app).lower()
    for row in untested.itertuples():
        assert f"{row.joint}, {row.direction}" in said


def test_unknown_vehicle_is_a_message(monkeypatch, demo_store):
    monkeypatch.setenv("FLEETWEAR_STORE", str(demo_store.folder))
    app = AppTest.from_function(_vehicle_script, default_timeout=60)
    app.query_params["unit"] = "V1O1"
    app.run()
    assert not app.exception
    assert "No vehicle has the unit number" in html(app)
    assert "nearest unit numbers" in html(app)


def test_no_store_tells_what_to_do(monkeypatch, tmp_path):
    app = new_app(monkeypatch, tmp_path / "nothing").run()
    assert not app.exception
    said = "\n".join(block.value for block in app.code)
    assert "fleetwear load fleetwear_templates.xlsx" in said
    assert "fleetwear demo" in said
    assert not (tmp_path / "nothing").exists()


def test_published_store_without_forecast_tells_what_to_do(monkeypatch, tmp_path):
    publish(Store.create_or_open(tmp_path))
    app = new_app(monkeypatch, tmp_path).run()
    assert not app.exception
    assert "fleetwear forecast" in "\n".join(block.value for block in app.code)


def test_a_newer_snapshot_is_noticed(monkeypatch, demo_store, tmp_path):
    shutil.copytree(demo_store.folder, tmp_path / "store", ignore=shutil.ignore_patterns("files"))
    store = Store(tmp_path / "store")
    app = new_app(monkeypatch, store.folder).run()
    assert "forecast number 1," in text(app)
    with store.writer() as con:
        con.execute(
            "insert into forecasts "
            "select 2, fit_id, as_of, known_by, made_at, elapsed_seconds, version, settings from forecasts"
        )
        con.execute("insert into forecast_sources select * replace (2 as forecast_id) from forecast_sources")
    publish(store)
    app.run()
    assert not app.exception
    assert "forecast number 2," in text(app)


def test_command_listens_on_this_machine_only(tmp_path):
    words = command(tmp_path, port=8600)
    assert "--server.address=127.0.0.1" in words
    assert "--server.port=8600" in words
    assert "--browser.gatherUsageStats=false" in words
    assert environment(tmp_path)["FLEETWEAR_STORE"] == str(tmp_path.resolve())
