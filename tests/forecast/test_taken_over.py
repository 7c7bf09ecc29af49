"""Nights that look anew only at what has changed, against what a whole fit's populations say."""

from __future__ import annotations

import shutil
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from fleetwear.errors import FitError
from fleetwear.forecast.growth import know_anew, prepare_series
from fleetwear.forecast.learnt_text import read_learnt, write_learnt
from fleetwear.forecast.settings import Settings
from fleetwear.forecast.taken_over import LOOK_AGAIN_DAYS, base_fit
from fleetwear.store import Store, open_snapshot
from fleetwear.store.known import prepare
from pipelines import fit, forecast, load, nightly

MADE = datetime(2026, 11, 21)
TODAY = date(2026, 11, 20)
KEYS = ["vehicle_id", "position_id", "life_no", "direction"]


@pytest.fixture(scope="module")
def night(demo_store, tmp_path_factory):
    """A copy of the demo's store after its whole night, with the settings and the day of that."""
    folder = tmp_path_factory.mktemp("night") / "store"
    shutil.copytree(demo_store.folder, folder)
    with Store(folder).reader() as con:
        as_of, settings = con.execute("select as_of, settings from fits order by fit_id desc limit 1").fetchall()[0]
    return folder, as_of, Settings.from_json(str(settings))


def latest(folder, table, key):
    with Store(folder).reader() as con:
        return con.execute(
            f"select * exclude ({key}) from {table} where {key} = (select max({key}) from {key[:-3]}s) order by all"
        ).df()


def made_anew(folder):
    """The units whose series the latest fit found itself, and those that the latest forecast drew itself."""

    def own(con, table, key, source):
        rows = con.execute(
            f"select distinct v.unit from {table} as t join vehicles as v on v.vehicle_id = t.vehicle_id "
            f"where t.{key} = (select max({key}) from {table}) and t.{source} = t.{key}"
        ).fetchall()
        return {unit for (unit,) in rows}

    with Store(folder).reader() as con:
        return own(con, "fit_vehicles", "fit_id", "found_in"), own(con, "forecast_sources", "forecast_id", "made_in")


def one_more_reading(folder, tmp_path, *, unit, day):
    """Load a reading of the first ball joint of one vehicle, 20,000 km after its last visit."""
    with Store(folder).reader() as con:
        joint, odometer_km = con.execute(
            "select min(p.joint), max(d.odometer_km) from readings as r "
            "join positions as p on p.position_id = r.position_id and p.kind = 'ball joint' "
            "join visit_details as d on d.visit_id = r.visit_id join vehicles as v on v.vehicle_id = d.vehicle_id "
            "where v.unit = ?",
            [unit],
        ).fetchall()[0]
    file = tmp_path / f"readings_{unit}_{day}.csv"
    header = "unit,visit date,odometer (km),joint,direction,method,result,play (mm)"
    row = f"{unit},{day},{odometer_km + 20_000:.0f},{joint},in-out,lever under tyre,measured,0.31"
    file.write_text(f"{header}\n{row}\n")
    (summary,) = load.run(folder, [file], TODAY, loaded_at=MADE)
    assert summary.rows_in == 1, summary.reasons


def test_what_was_learnt_comes_back_bit_for_bit(night):
    folder, as_of, settings = night
    with Store(folder).reader() as con:
        texts = [row[0] for row in con.execute("select content from fit_learnt order by all").fetchall()]
        base = base_fit(con, as_of=as_of, known_by=None, settings=settings, days=1)
        prepare(con, as_of=as_of)
        known = know_anew(con, prepare_series(con), base).knowledge
        stored = con.execute(
            "select s.series, p.* exclude (fit_id) from posteriors as p join fit_input_series as s using "
            "(vehicle_id, position_id, life_no, direction) where p.fit_id = ?", [base.fit_id],
        ).df()  # fmt: skip
    assert texts
    assert [write_learnt(read_learnt(text)) for text in texts] == texts
    order = ["series", "shape", "shift_km", "onset_km"]
    pd.testing.assert_frame_equal(
        known.lines.sort_values(order, ignore_index=True),
        stored.sort_values(order, ignore_index=True)[list(known.lines.columns)],
        check_exact=True, check_dtype=False,
    )  # fmt: skip


def test_a_text_that_is_not_of_this_version_is_refused():
    for text in ("{}", '{"kind": "Elsewhere"}', "[1]", "nothing", '{"kind": "Shape", "name": "straight"}'):
        with pytest.raises(FitError, match="earlier fit learnt"):
            read_learnt(text)


def test_a_night_without_news_draws_only_who_may_have_come_in(night):
    folder, as_of, settings = night
    before = {table: latest(folder, table, key) for table, key in (("posteriors", "fit_id"), ("fit_series", "fit_id"))}
    flags = latest(folder, "forecast_joints", "forecast_id")
    nightly.run(folder, as_of=as_of, made_at=MADE, settings=settings, refit_days=7)
    fitted, drawn = made_anew(folder)
    assert fitted == set()
    for table, frame in before.items():
        pd.testing.assert_frame_equal(latest(folder, table, "fit_id"), frame, check_exact=True)
    with Store(folder).reader() as con:
        due = {row[0] for row in con.execute(
            "select v.unit from forecast_vehicles as f join vehicles as v using (vehicle_id) "
            "where f.forecast_id = 1 and (f.overdue or f.next_service_date_05 <= ?)", [as_of]).fetchall()}  # fmt: skip
        numbers = dict(con.execute("select vehicle_id, unit from vehicles").fetchall())
    assert drawn == due
    again = latest(folder, "forecast_joints", "forecast_id")
    keep = ~flags["vehicle_id"].map(numbers).isin(due)
    pd.testing.assert_frame_equal(again[keep], flags[keep], check_exact=True)
    assert len(again) == len(flags)


def test_a_new_reading_is_known_as_a_whole_look_would_have_it(night, tmp_path):
    folder, as_of, settings = night
    day = as_of + timedelta(days=1)
    one_more_reading(folder, tmp_path, unit="V103", day=as_of)
    nightly.run(folder, as_of=day, made_at=MADE, settings=settings, refit_days=7)
    fitted, drawn = made_anew(folder)
    assert fitted == {"V103"}
    assert "V103" in drawn
    assert len(drawn) < 25
    with Store(folder).reader() as con:
        base = base_fit(con, as_of=day, known_by=None, settings=settings, days=7)
        prepare(con, as_of=day)
        whole = know_anew(con, prepare_series(con), base).knowledge
        stored = con.execute(
            "select s.series, p.* exclude (fit_id) from posteriors as p join fit_input_series as s using "
            "(vehicle_id, position_id, life_no, direction) where p.fit_id = ?", [base.fit_id],
        ).df()  # fmt: skip
    order = ["series", "shape", "shift_km", "onset_km"]
    pd.testing.assert_frame_equal(
        whole.lines.sort_values(order, ignore_index=True),
        stored.sort_values(order, ignore_index=True)[list(whole.lines.columns)],
        check_exact=False, rtol=1e-12, check_dtype=False,
    )  # fmt: skip
    snapshot = open_snapshot(folder)
    shown = snapshot.execute("select count(*), count(distinct vehicle_id) from forecast_vehicles").fetchall()[0]
    said = snapshot.execute("select count(distinct forecast_id), count(*) from forecast_joints").fetchall()[0]
    snapshot.close()
    assert shown == (82, 82)
    assert said == (1, len(latest(folder, "forecast_joints", "forecast_id")))


def test_another_limit_concerns_the_vehicles_of_its_model(night, tmp_path):
    folder, as_of, settings = night
    day = as_of + timedelta(days=2)
    file = tmp_path / "limits.csv"
    file.write_text(
        "model,kind,limit (mm),basis,source,valid from\n" + f"L2 van,tie rod end,0.6,shop,workshop card 7,{as_of}\n"
    )
    load.run(folder, [file], TODAY, loaded_at=MADE)
    fit.run(folder, as_of=day, made_at=MADE, settings=settings, refit_days=7)
    forecast.run(folder, as_of=day, made_at=MADE, settings=settings)
    fitted, drawn = made_anew(folder)
    with Store(folder).reader() as con:
        vans = {row[0] for row in con.execute("select unit from vehicles where model = 'L2 van'").fetchall()}
    assert fitted == set()
    assert vans <= drawn
    assert len(drawn - vans) < 25


def test_draws_are_made_again_after_some_days_and_all_is_fitted_again_after_more(night):
    folder, as_of, settings = night
    with Store(folder).reader() as con:
        old = con.execute(
            "select distinct v.unit from forecast_sources as s join vehicles as v using (vehicle_id) "
            "where s.forecast_id = (select max(forecast_id) from forecasts) and s.looked_from <= ?",
            [as_of],
        ).fetchall()
    nightly.run(folder, as_of=as_of + timedelta(days=LOOK_AGAIN_DAYS), made_at=MADE, settings=settings, refit_days=30)
    fitted, drawn = made_anew(folder)
    assert fitted == set()
    assert {unit for (unit,) in old} <= drawn
    assert 20 < len(old) <= len(drawn) < 82
    late = as_of + timedelta(days=30)
    with Store(folder).reader() as con:
        assert base_fit(con, as_of=late, known_by=None, settings=settings, days=31) is not None
        assert base_fit(con, as_of=late, known_by=None, settings=settings, days=30) is None
        assert base_fit(con, as_of=late, known_by=MADE, settings=settings, days=31) is None
        other = Settings(draws=settings.draws + 1)
        assert base_fit(con, as_of=late, known_by=None, settings=other, days=31) is None


def test_every_series_of_a_moment_is_found_once(night):
    folder, _, _ = night
    series = latest(folder, "fit_series", "fit_id")
    assert not series.duplicated(KEYS).any()
    weights = latest(folder, "posteriors", "fit_id").groupby(KEYS)["weight"].sum()
    assert np.allclose(weights, 1.0)
