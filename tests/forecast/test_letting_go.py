from __future__ import annotations

import shutil
from datetime import datetime, timedelta

import pytest

from fleetwear.errors import InputError
from fleetwear.forecast.letting_go import let_go
from fleetwear.forecast.settings import Settings
from fleetwear.store import Store
from fleetwear.store.verifying import verify
from pipelines import nightly

MADE = datetime(2026, 11, 21)
KNOWN = ("own_posteriors", "own_fit_series", "own_fit_residuals", "own_forecast_joints", "own_forecast_vehicles")


@pytest.fixture
def nights(demo_store, tmp_path):
    """A copy of the demo's store after its whole night and two that took over from it."""
    folder = tmp_path / "store"
    shutil.copytree(demo_store.folder, folder)
    with Store(folder).reader() as con:
        as_of, text = con.execute("select as_of, settings from fits order by fit_id desc limit 1").fetchall()[0]
    settings = Settings.from_json(str(text))
    for day in (1, 2):
        nightly.run(folder, as_of=as_of + timedelta(days=day), made_at=MADE, settings=settings, refit_days=7)
    return folder, as_of, settings


def counted(con, tables):
    return {table: con.execute(f"select count(*) from {table}").fetchall()[0][0] for table in tables}


def test_what_the_latest_took_over_stays_and_what_nothing_needs_goes(nights):
    folder, as_of, settings = nights
    with Store(folder).writer() as con:
        views = ("posteriors", "fit_series", "fit_residuals", "fit_slips", "forecast_joints", "forecast_vehicles")
        latest = {
            view: con.execute(
                f"select * from {view} where {key} = (select max({key}) from {key[:-3]}s) order by all"
            ).df()
            for view in views
            for key in ("forecast_id" if view.startswith("forecast") else "fit_id",)
        }
        gone = let_go(con, keep=1)
        assert set(gone) <= {"fit_vehicles", "forecast_sources", "forecast_wheels", "own_forecast_joints",
                             "own_forecast_vehicles"}  # fmt: skip
        for view, frame in latest.items():
            left = con.execute(f"select * from {view} order by all").df()
            assert len(frame)
            assert left.equals(frame), view
        headers = counted(con, ("fits", "forecasts", "fit_models", "runs"))
        assert let_go(con, keep=1) == {}
    nightly.run(folder, as_of=as_of + timedelta(days=3), made_at=MADE, settings=settings, keep=1)
    with Store(folder).reader() as con:
        for table in KNOWN:
            key = "forecast_id" if "forecast" in table else "fit_id"
            runs = con.execute(f"select distinct {key} from {table}").fetchall()
            assert runs == con.execute(f"select max({key}) from {key[:-3]}s").fetchall(), table
        after = counted(con, ("fits", "forecasts", "fit_models", "runs"))
        assert all(after[table] > headers[table] for table in headers)
    assert verify(folder).wrong == ()


def test_nothing_cannot_be_kept(nights):
    folder, _, _ = nights
    with Store(folder).writer() as con, pytest.raises(InputError, match="Keep at least 1"):
        let_go(con, keep=0)
