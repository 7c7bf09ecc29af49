"""A forecast of what was known before a correction is the one made then, number for number."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd

from fleetwear.planning.flags import read_flags
from fleetwear.planning.vehicle import read_vehicle
from fleetwear.store import Store
from pipelines import load, nightly

AS_OF, TODAY = date(2026, 11, 1), date(2026, 11, 20)
THEN, LATER = datetime(2026, 11, 20, 6), datetime(2026, 11, 20, 8)
JOINT = "left front lower ball joint"


def fleet():
    rng = np.random.default_rng(7)
    readings = ["unit,visit date,odometer (km),joint,direction,play (mm)"]
    for i in range(16):
        growth = rng.uniform(0.5, 1.5) * 1e-5
        for k in range(4):
            km = 8000 * (k + 1) + 100 * i
            play = 0.1 + growth * km + rng.normal(0, 0.02)
            readings.append(f"A{i},{date(2024, 9, 1) + timedelta(days=120 * k)},{km},{JOINT},in-out,{max(play, 0):.3f}")
    return {
        "vehicles": "unit,model,in service date,depot\n" + "\n".join(f"A{i},Alpha,2024-01-01,North" for i in range(16)),
        "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint",
        "limits": "kind,limit,basis,source\nball joint,0.8 mm,maker,handbook",
        "readings": "\n".join(readings),
        "work": f"unit,work date,odometer (km),joint,work\nA3,2025-06-01,26000,{JOINT},replaced",
    }


def stored(folder, forecast_id):
    with Store(folder).reader() as con:
        joints = con.execute("select * from forecast_joints where forecast_id = ? order by all", [forecast_id]).df()
        vehicles = con.execute("select * from forecast_vehicles where forecast_id = ? order by all", [forecast_id]).df()
    return joints.drop(columns="forecast_id"), vehicles.drop(columns="forecast_id")


def test_a_forecast_of_before_a_correction_is_the_one_made_then(make_store, tmp_path, quick_settings):
    folder = make_store(fleet(), loaded_at=THEN)
    options = {"as_of": AS_OF, "settings": quick_settings}
    first = stored(folder, nightly.run(folder, made_at=THEN, **options))
    assert first[0]["p_over_next"].notna().all()
    corrections = tmp_path / "corrections.csv"
    corrections.write_text(
        "table,number,change,why,by\n"
        "reading,4,play=0.95 mm,misread,T2\n"
        "reading,9,withdraw,another vehicle,T2\n"
        "visit,20,odometer=33000 km,slip,T2\n"
        "visit,25,withdraw,never was,T2\n"
        "work,1,withdraw,never was,T2\n"
        "limit,1,limit=0.7 mm,new edition,T2\n"
        "vehicle,2,depot=Harbour,moved,T2\n"
    )
    (summary,) = load.run(folder, [corrections], TODAY, loaded_at=LATER)
    assert summary.rows_in == 7, summary.reasons
    again = stored(folder, nightly.run(folder, made_at=LATER, known_by=THEN, **options))
    for before, after in zip(first, again, strict=True):
        pd.testing.assert_frame_equal(before, after, check_exact=True)
    joints, vehicles = stored(folder, nightly.run(folder, made_at=LATER, **options))
    assert (joints["limit_mm"] == 0.7).all()
    assert joints["life_no"].max() == 1
    assert list(vehicles["depot"]).count("Harbour") == 1
    assert joints.loc[joints["direction"] == "in-out", "last_play_mm"].tolist()[0] == 0.95
    with Store(folder).reader() as con:
        record = read_vehicle(con, "A1")
        assert record.vehicle["depot"] == "Harbour"
        assert 9 not in set(record.readings["reading_id"])
        assert len(read_flags(con).vehicles) == 16
