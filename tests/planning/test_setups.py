"""A hasty shop is told from a careful one by repeat visits: its readings count for less, and budgets say where from."""

import shutil
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from fleetwear.cli import app
from fleetwear.errors import InputError, StoreError
from fleetwear.forecast import Settings, fit_fleet, prepare_series
from fleetwear.forecast.growth import count_by_setups
from fleetwear.forecast.setups import VISIT_COLUMNS, find_setups, variance_factors
from fleetwear.planning.setups import read_setups
from fleetwear.reports.setup_tables import setup_table, setup_words
from fleetwear.store import Store, open_snapshot
from fleetwear.store.known import prepare
from pipelines import nightly

AS_OF = date(2026, 11, 1)
MADE_AT = datetime(2026, 11, 20, 6)
CAREFUL, HASTY, STROKE = 0.015, 0.08, 0.02
"""Standard deviations of setup at the two shops, and of a stroke at both, mm."""
WAY = "pry bar, read at the joint"


@pytest.fixture(scope="module")
def shops(tmp_path_factory):
    """A store of 20 vehicles read eight times each, at either shop by chance, two strokes a setup."""
    from pipelines import load

    rng = np.random.default_rng(5)
    vehicles = ["unit,model,in service date"]
    readings = ["unit,visit date,odometer (km),joint,direction,play (mm),method,read at,shop,technician,stroke"]
    for number in range(20):
        unit = f"A{number:02d}"
        vehicles.append(f"{unit},Van,2023-01-01")
        for visit in range(8):
            day = date(2024, 2, 1) + timedelta(days=120 * visit + number)
            hasty = rng.random() < 0.5
            shop, technician = ("Hasty yard", "T1") if hasty else ("Careful yard", f"T{2 + number % 2}")
            for side in ("left", "right"):
                play = 0.2 + 0.004 * 18_000 * visit / 1_000 + (HASTY if hasty else CAREFUL) * rng.normal()
                for stroke in (1, 2):
                    shown = max(play + STROKE * rng.normal(), 0.0)
                    readings.append(
                        f"{unit},{day},{40_000 + 150 * 120 * visit},{side} front lower ball joint,in-out,{shown:.4f},"
                        f"pry bar,joint,{shop},{technician},{stroke}"
                    )
    folder = tmp_path_factory.mktemp("shops")
    tables = {
        "vehicles": vehicles,
        "positions": [
            "model,axle,side,place,kind",
            "Van,front,left,lower,ball joint",
            "Van,front,right,lower,ball joint",
        ],
        "limits": [
            "kind,limit (mm),basis,source,valid from",
            "ball joint,1.2,shop,shop rule,2020-01-01",
        ],
        "readings": readings,
    }
    paths = []
    for name, lines in tables.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text("\n".join(lines) + "\n")
    for summary in load.run(folder / "store", paths, date(2026, 11, 20), loaded_at=MADE_AT):
        assert summary.rows_quarantined == 0, summary.reasons
    nightly.run(folder / "store", as_of=AS_OF, made_at=MADE_AT, settings=Settings(draws=200))
    return folder / "store"


def read(folder, **given):
    con = open_snapshot(folder)
    try:
        return read_setups(con, **given)
    finally:
        con.close()


def test_setup_of_each_shop_is_found_with_its_interval(shops):
    found = read(shops)
    table = found.findings.tables["shop"].set_index("name")
    for name, true in (("Careful yard", CAREFUL), ("Hasty yard", HASTY)):
        row = table.loc[name]
        assert row["enough"]
        assert row["lower_mm"] < true < row["upper_mm"]
        assert row["repeatability_mm"] == pytest.approx(STROKE, rel=0.2)
    assert found.findings.akaike["shop"] < -10.0
    assert found.counted_by["ball joint"] in ("shop", "technician")
    assert found.kinds == ("ball joint",)
    said = " ".join(setup_words(found, "mm"))
    assert "a second setup tells more than a second stroke" in said
    assert "The data carry a setup of its own for each shop" in said


def test_readings_of_the_hasty_shop_count_for_less_in_the_fit(shops):
    with Store(shops).reader() as con:
        spread = con.execute(
            "select v.shop, avg(f.sd_mm) from fit_residuals as f join visit_details as v using (visit_id) "
            "group by v.shop order by v.shop"
        ).fetchall()
        prepare(con, as_of=AS_OF)
        prepare_series(con)
        found = count_by_setups(con, "ball joint", Settings())
        ratios = con.execute(
            "select shop, min(variance_ratio), max(variance_ratio) from fit_input_readings group by shop order by shop"
        ).fetchall()
    assert spread[1][1] > 1.5 * spread[0][1]
    assert found is not None
    assert found.carried in ("shop", "technician")
    careful, hasty = ratios
    assert careful[2] < 1.0 < hasty[1]
    within = STROKE**2 / 2
    assert hasty[2] / careful[2] == pytest.approx((HASTY**2 + within) / (CAREFUL**2 + within), rel=0.6)


def test_figures_by_technician_are_made_only_where_they_are_asked_for(shops):
    assert "technician" not in read(shops).findings.tables
    asked = read(shops, people=True).findings.tables["technician"]
    assert set(asked["name"]) == {"T1", "T2", "T3"}


def test_a_kind_that_was_not_read_again_and_a_fit_made_before_are_told(shops, tmp_path):
    with pytest.raises(InputError, match="kingpin"):
        read(shops, kind="kingpin")
    old = tmp_path / "store"
    shutil.copytree(shops, old)
    with Store(old).writer() as con:
        con.execute("update own_fit_residuals set growth = null")
        with pytest.raises(StoreError, match="no repeat visits"):
            read_setups(con)


def test_a_repeatability_of_nothing_that_was_read_is_refused(shops):
    with Store(shops).reader() as con:
        prepare(con, as_of=AS_OF)
        series = prepare_series(con)
        with pytest.raises(InputError, match="hand rock"):
            fit_fleet(con, series, Settings(repeatability_mm=(("hand rock", 0.1),)))
    with pytest.raises(InputError, match="is -1"):
        Settings(repeatability_mm=((WAY, -1.0),))
    kept = Settings(repeatability_mm=((WAY, 0.02),))
    assert Settings.from_json(kept.to_json()) == kept


def test_the_command_prints_figures_and_words(shops):
    ran = CliRunner().invoke(app, ["setups", "--by", "shop", "--unit", "um", "--format", "csv", "--store", str(shops)])
    assert ran.exit_code == 0, ran.output
    head, *rows = ran.stdout.strip().splitlines()
    assert head.startswith("how_it_was_read,shop,visits,enough_visits,degrees_of_freedom,setup,lower,upper")
    assert len(rows) == 2
    assert "Akaike" in ran.stderr
    assert "never clears a vehicle" in ran.stderr


def _page():
    from dashboard.messages import told_calmly
    from dashboard.tasks import reading_study

    with told_calmly():
        reading_study.show()


def text(page):
    return "\n".join([*(element.proto.body for element in page.get("html")), *(one.value for one in page.markdown)])


def test_the_page_shows_it_and_a_budget_takes_it_and_says_where_from(shops, monkeypatch):
    monkeypatch.setenv("FLEETWEAR_STORE", str(shops))
    page = AppTest.from_function(_page, default_timeout=60).run()
    assert not page.exception
    assert page.selectbox(key="setup_by").options == ["method", "shop", "technician"]
    page.selectbox(key="setup_by").set_value("shop").run()
    assert "Hasty yard" in text(page)
    page.selectbox(key="setup_source").set_value(f"{WAY}, Hasty yard")
    for key, value in {"reading": 1.1, "limit": 1.2, "strokes": 2}.items():
        page.number_input(key=key).set_value(value)
    page.button[0].click().run()
    assert not page.exception
    said = text(page)
    assert "standard deviation between setups, from" in said
    assert f"repeat visits: {WAY}, Hasty yard (95 %:" in said
    assert "Too close to call" in said


def test_the_page_keeps_technicians_from_those_who_may_not_see_them(shops, monkeypatch):
    monkeypatch.setenv("FLEETWEAR_STORE", str(shops))
    monkeypatch.setattr("dashboard.tasks.repeat_visits.may", lambda role: role != "people")
    page = AppTest.from_function(_page, default_timeout=60).run()
    assert page.selectbox(key="setup_by").options == ["method", "shop"]
    assert "T2" not in text(page)


def visits(rows, **given):
    frame = {"life": np.repeat(np.arange(rows // 4), 4), "growth": np.tile(np.arange(4.0), rows // 4)}
    frame |= {"passed": 0.0, "strokes": 1.0, "setup_share": 1.0, "squares": 0.0, "degrees": 0.0}
    frame |= {"way": WAY, "shop": "", "technician": ""}
    return pd.DataFrame(frame | given)[VISIT_COLUMNS]


def test_a_study_bounds_a_way_that_was_seldom_read_again():
    rng = np.random.default_rng(6)
    way = np.where(np.arange(80) < 76, WAY, "hand rock")
    frame = visits(80, way=way, play_mm=0.03 * rng.normal(size=80))
    found = find_setups(frame, known={"hand rock": 0.3})
    factor = variance_factors(found, frame["way"], frame["shop"], np.ones(80), np.ones(80))
    assert (factor[:76] == 1.0).all()
    usual = found.tables["method"].set_index("way").loc[WAY, "counts_as_mm"] ** 2
    assert factor[76:] == pytest.approx(min(0.09 / usual, 20.0))
    free = variance_factors(find_setups(frame), frame["way"], frame["shop"], np.ones(80), np.ones(80))
    assert (free == 1.0).all()


def test_more_strokes_and_setups_count_for_more():
    rng = np.random.default_rng(7)
    strokes = rng.choice([1.0, 3.0], 400)
    play = 0.03 * rng.normal(size=400) + 0.06 * rng.normal(size=400) / np.sqrt(strokes)
    degrees = strokes - 1.0
    squares = np.array([0.06**2 * rng.chisquare(int(df)) if df else 0.0 for df in degrees])
    frame = visits(400, play_mm=play, strokes=strokes, degrees=degrees, squares=squares)
    found = find_setups(frame)
    row = found.tables["method"].iloc[0]
    setup, stroke = row["counts_as_mm"] ** 2, row["repeatability_mm"] ** 2
    way = pd.Series([WAY] * 3)
    factor = variance_factors(found, way, pd.Series([""] * 3), np.array([1.0, 3.0, 2.0]), np.array([1.0, 1.0, 0.5]))
    wanted = [1.0, (setup + stroke / 3) / (setup + stroke), (setup + stroke) / 2 / (setup + stroke)]
    assert factor == pytest.approx(wanted)
    assert found.carried == "method"


def test_the_table_says_what_is_too_thin():
    rng = np.random.default_rng(8)
    shop = np.where(np.arange(80) < 72, "North", "South")
    found = find_setups(visits(80, shop=shop, play_mm=0.03 * rng.normal(size=80)))

    class Record:
        findings = found

    table = setup_table(Record(), "shop", "mm").set_index("shop")
    assert table.loc["South", "setup"] == "not enough repeat visits"
    assert table.loc["South", "counts as"] == setup_table(Record(), "method", "mm").loc[0, "setup"]
    assert table.loc["North", "one stroke beside it"] == "not known apart"
