"""An instrument that drifted is found and named, and its readings count for less once a person agrees."""

from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from fleetwear.cli import app
from fleetwear.errors import InputError, StoreError
from fleetwear.forecast import Settings
from fleetwear.planning.agreements import agree, take_back
from fleetwear.planning.consistency import P_NAMED, look_at, read_consistency
from fleetwear.store import Store, sql
from pipelines import fit, nightly

AS_OF = date(2026, 11, 1)
BEGAN = date(2026, 1, 1)
BENT = 0.12
"""mm that instrument D2 reads too much from BEGAN on."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A store of 30 vehicles read every 75 days by two instruments in turn; D2 is bent from BEGAN on."""
    from pipelines import load

    rng = np.random.default_rng(5)
    vehicles, readings = (
        ["unit,model,in service date"],
        ["unit,visit date,odometer (km),joint,direction,play (mm),instrument,shop"],
    )
    for number in range(30):
        unit = f"A{number:02d}"
        vehicles.append(f"{unit},Van,2023-01-01")
        for visit in range(14):
            day = date(2024, 2, 1) + timedelta(days=75 * visit + number % 25)
            instrument = "D2" if (visit + number) % 2 else "D1"
            for side, start in (("left", 0.10), ("right", 0.14)):
                play = start + (0.004 + 0.001 * (number % 5)) * 1.5 * (75 * visit) / 30 + rng.normal(0, 0.02)
                play += BENT if instrument == "D2" and day >= BEGAN else 0.0
                where = f"{40_000 + 150 * 75 * visit},{side} front lower ball joint,in-out"
                readings.append(f"{unit},{day},{where},{play:.3f},{instrument},Yard")
    folder = tmp_path_factory.mktemp("shop")
    tables = {
        "vehicles": vehicles,
        "positions": [
            "model,axle,side,place,kind",
            "Van,front,left,lower,ball joint",
            "Van,front,right,lower,ball joint",
        ],
        "readings": readings,
    }
    paths = []
    for name, lines in tables.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text("\n".join(lines) + "\n")
    for summary in load.run(folder / "store", paths, date(2026, 11, 20), loaded_at=datetime(2026, 11, 20)):
        assert summary.rows_quarantined == 0, summary.reasons
    nightly.run(folder / "store", as_of=AS_OF, made_at=datetime(2026, 11, 20, 6), settings=Settings(draws=200))
    return folder / "store"


def read(folder):
    with Store(folder).reader() as con:
        return read_consistency(con)


def test_the_instrument_that_drifted_is_named_with_its_day(shop):
    found = read(shop)
    d2 = found.named[(found.named["source"] == "instrument") & (found.named["name"] == "D2")].iloc[0]
    assert d2["shift_mm"] > 0.03
    assert d2["shift_lower"] > 0.0
    assert abs(pd.Timestamp(d2["since"]).date() - BEGAN) < timedelta(days=60)
    assert d2["p_value"] < P_NAMED
    assert "Instrument D2 has read" in d2["says"]
    assert "high since" in d2["says"]


def test_points_equal_a_loop_over_readings(shop):
    found = read(shop)
    with Store(shop).reader() as con:
        rows = con.execute(
            "select f.residual_mm, f.sd_mm, v.visit_date, r.instrument from fit_residuals as f "
            "join readings as r using (visit_id, vehicle_id, position_id, direction, timing) "
            "join visits as v using (visit_id)"
        ).df()
    rows["residual_mm"] = [max(min(r, 3 * s), -3 * s) for r, s in zip(rows["residual_mm"], rows["sd_mm"], strict=True)]
    points = found.points[found.points["source"] == "instrument"].set_index(["name", "visit_date"])
    assert len(points) > 50
    for key, own in rows.groupby(["instrument", "visit_date"]):
        weight = 1.0 / own["sd_mm"] ** 2
        assert points.loc[key, "residual_mm"] == pytest.approx((weight * own["residual_mm"]).sum() / weight.sum())
        assert points.loc[key, "variance_mm2"] == pytest.approx(1.0 / weight.sum())
        assert points.loc[key, "n_readings"] == len(own)


def test_where_nothing_drifts_nobody_is_named():
    rng = np.random.default_rng(6)
    nothing = pd.DataFrame({"source": []})
    named = 0
    for _ in range(50):
        points = pd.DataFrame(
            {
                "source": "instrument",
                "name": np.repeat([f"D{k}" for k in range(4)], 40),
                "visit_date": np.tile(pd.date_range("2025-01-01", periods=40), 4),
                "n_readings": 3,
                "variance_mm2": 0.0004,
                "residual_mm": rng.normal(0.0, 0.02, 160),
            }
        )
        named += int(look_at(points, nothing, fit_id=1).sources["named"].any())
    assert named <= 3


def test_what_is_agreed_counts_for_less_and_can_be_taken_back(shop, tmp_path):
    """The bent instrument lifts the growth that is fitted; agreed, it does less; taken back, it does again."""

    def growth():
        fit_id = fit.run(shop, as_of=AS_OF, made_at=datetime(2026, 11, 21), settings=Settings(draws=200))
        with Store(shop).reader() as con:
            return con.execute(
                "select sum(weight * growth * pace / reference_km) from posteriors where fit_id = ?", [fit_id]
            ).fetchall()[0][0]

    before = growth()
    found = read(shop)
    with Store(shop).writer() as con:
        with pytest.raises(InputError, match="nothing stands out about shop"):
            agree(con, found, "shop", "Nowhere", agreed_at=datetime(2026, 11, 21))
        since, ratio = agree(con, found, "instrument", "D2", agreed_at=datetime(2026, 11, 21), why="bent", by="T1")
    assert ratio > 2.0
    with Store(shop).reader() as con:
        from fleetwear.forecast import prepare_series
        from fleetwear.store.known import prepare

        prepare(con, as_of=AS_OF)
        prepare_series(con)
        counted = con.execute(
            "select i.variance_ratio, r.instrument, i.visit_date >= ? from fit_input_readings as i "
            "join readings as r on r.visit_id = i.visit_id", [since]).fetchall()  # fmt: skip
        assert {round(row[0], 9) for row in counted if row[1] == "D2" and row[2]} == {round(ratio, 9)}
        assert {row[0] for row in counted if row[1] == "D1" or not row[2]} == {1.0}
    agreed = growth()
    with Store(shop).writer() as con:
        assert take_back(con, "instrument", "D2", agreed_at=datetime(2026, 11, 22), by="T1") == 1
        with pytest.raises(InputError, match="nothing that was agreed"):
            take_back(con, "instrument", "D2", agreed_at=datetime(2026, 11, 22))
        assert not con.execute(sql("consistency/agreements")).df()["stands"].any()
    again = growth()
    assert again == pytest.approx(before, rel=1e-9)
    assert agreed != pytest.approx(before, rel=1e-3)


def test_commands_name_it_and_record_what_is_agreed(shop, monkeypatch):
    monkeypatch.setenv("FLEETWEAR_STORE", str(shop))
    run = CliRunner().invoke
    told = run(app, ["consistency", "--source", "instrument"])
    assert told.exit_code == 0
    assert "D2" in told.stdout
    assert "fleetwear agree" in told.stderr
    agreed = run(app, ["agree", "instrument", "D2", "--by", "T2"])
    assert agreed.exit_code == 0
    assert "times the variance" in agreed.stderr
    assert run(app, ["agree", "instrument", "D2", "--take-back"]).exit_code == 0


def test_without_readings_that_can_be_compared_it_is_said(make_store, quick_settings):
    folder = make_store({"vehicles": "unit,model,in service date\nA1,Van,2023-01-01"})
    nightly.run(folder, as_of=AS_OF, made_at=datetime(2026, 11, 20, 6), settings=quick_settings)
    with Store(folder).reader() as con, pytest.raises(StoreError, match="no residuals"):
        read_consistency(con)
