"""A vehicle asked for by the number that it bore before: the command and the pages say what it is called now."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from dashboard.serve import APP
from fleetwear import cli
from pipelines import nightly

TOLD = "A12 is called B7 since 2023-03-01."
TABLES = {
    "vehicles": """
        unit,model,vin,in service date,valid from
        A12,Alpha,1M8GDM9AXKP042788,2020-01-01,2020-01-01
        B7,Alpha,1M8GDM9AXKP042788,2020-01-01,2023-03-01""",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint",
    "limits": "kind,limit (mm),basis,source\nball joint,0.9,shop,sheet",
    "readings": """
        unit,visit date,odometer (km),joint,direction,play (mm)
        A12,2022-05-01,20000,left front lower ball joint,in-out,0.2
        B7,2026-05-01,60000,left front lower ball joint,fore-aft,0.95""",
}


@pytest.fixture
def folder(make_store):
    made = make_store(TABLES)
    nightly.run(made, as_of=date(2026, 11, 1), made_at=datetime(2026, 11, 2))
    return made


def _vehicle_page():
    from dashboard.tasks import one_vehicle

    one_vehicle.show()


def text(app):
    return "\n".join(
        [*(one.value.replace("\\", "") for one in app.markdown), *(one.proto.body for one in app.get("html"))]
    )


def test_the_command_the_list_and_the_page_say_what_it_is_called_now(monkeypatch, folder):
    done = CliRunner().invoke(cli.app, ["vehicle", "A12", "--store", str(folder)])
    assert done.exit_code == 0, done.output
    assert TOLD in done.output
    assert "over its limit of 0.90 mm" in done.output
    monkeypatch.setenv("FLEETWEAR_STORE", str(folder))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    app.text_input(key="sought").set_value("a12").run()
    assert not app.exception
    assert "a12 is called B7" in text(app)
    assert "vehicle?unit=B7" in text(app)
    page = AppTest.from_function(_vehicle_page, default_timeout=60)
    page.session_state["unit"] = "A12"
    page.run()
    assert not page.exception
    assert TOLD in text(page)
    assert [one.value for one in page.title] == ["Vehicle B7"]
    history = CliRunner().invoke(cli.app, ["history", "A12", "--store", str(folder)])
    assert history.exit_code == 0
    assert "B7" in history.output
