"""Forecasts of the demo fleet: only what was known counts, and what is said holds up against the truth."""

import shutil
from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from demo_fleet.truth import read_truth, running_km_on, true_play
from fleetwear.forecast import Settings, prepare_series
from fleetwear.planning.flags import read_flags
from fleetwear.store import Store
from fleetwear.store.known import prepare
from pipelines import load, nightly

COMPARED = [
    "unit", "joint", "direction", "life_no", "n_visits", "last_play_mm", "limit_mm", "p_over_next", "play_next_mm",
    "crossing_date_50", "outcome", "reason",
]  # fmt: skip


@pytest.fixture(scope="module")
def demo_store(demo_store, tmp_path_factory):
    """Return a copy of the demo store: forecasts of the past are made in it, which other tests must not meet."""
    folder = tmp_path_factory.mktemp("past") / "store"
    shutil.copytree(demo_store.folder, folder)
    return replace(demo_store, folder=folder)


def flags_of(store, forecast_id=None):
    with Store(store).reader() as con:
        return read_flags(con, forecast_id=forecast_id)


def test_the_same_moment_gives_the_same_forecast(demo_store):
    first = flags_of(demo_store.folder)
    nightly.run(demo_store.folder, as_of=demo_store.files.as_of, made_at=datetime(2026, 11, 21))
    second = flags_of(demo_store.folder)
    assert second.run.forecast_id > first.run.forecast_id
    pd.testing.assert_frame_equal(first.joints[COMPARED], second.joints[COMPARED])


def test_what_happened_later_does_not_count(demo_store, tmp_path, quick_settings):
    """A store that holds only rows up to a day forecasts that day as the full store does."""
    as_of = date(2025, 3, 31)
    folder = tmp_path / "cut"
    folder.mkdir()
    shutil.copy(demo_store.folder / "store.duckdb", folder / "store.duckdb")
    dated = {
        "wheel_checks": "visit_id in (select visit_id from visits where visit_date > ?)",
        "reading_rows": "visit_id in (select visit_id from visits where visit_date > ?)",
        "visit_notes": "visit_id in (select visit_id from visits where visit_date > ?)",
        "visits": "visit_date > ?",
        "work": "work_date > ?",
        "odometer": "entry_date > ?",
        "services": "done_date > ?",
        "vehicles": "valid_from > ? and vehicle_id in (select vehicle_id from vehicles group by 1 having count(*) > 1)",
        "limits": "valid_from > ?",
    }
    with Store(folder).writer() as con:
        of_fits = con.execute(
            "select table_name from duckdb_tables() where regexp_matches(table_name, '^(own|fit|forecast)_') order by 1"
        ).fetchall()
        tables = [*(name for (name,) in of_fits), "forecasts"]
        for table in (*tables, "fits", "answers", "questions", "set_aside"):
            con.execute(f"delete from {table}")
    with Store(folder).writer() as con:
        for table, later in dated.items():
            con.execute(f"delete from {table} where {later}", [as_of])
    made_at = datetime(2026, 11, 21)
    whole = nightly.run(demo_store.folder, as_of=as_of, made_at=made_at, settings=quick_settings)
    nightly.run(folder, as_of=as_of, made_at=made_at, settings=quick_settings)
    pd.testing.assert_frame_equal(
        flags_of(demo_store.folder, whole).joints[COMPARED], flags_of(folder).joints[COMPARED]
    )


def test_only_what_had_been_loaded_counts_on_request(demo_store, tmp_path):
    """Every table that fits and forecasts are made from is, row for row, what it was before two files were loaded."""
    files = {path.name: path for path in demo_store.files.files}
    late = [files.pop(name) for name in ("readings_hill.xlsx", "work.csv")]
    load.run(tmp_path, list(files.values()), date(2026, 11, 20), loaded_at=datetime(2026, 11, 10))

    def tables(known_by):
        with Store(tmp_path).reader() as con:
            prepare(con, as_of=demo_store.files.as_of, known_by=known_by)
            prepare_series(con)
            names = con.execute("select table_name from duckdb_tables() where temporary order by 1").fetchall()
            return {
                name: con.execute(f"select * from {name} order by all").df()
                for (name,) in names
                if name not in ("known_moment", "known_loads")
            }

    before = tables(None)
    load.run(tmp_path, late, date(2026, 11, 20), loaded_at=datetime(2026, 11, 15))
    again, after = tables(datetime(2026, 11, 12)), tables(None)
    assert set(again) == set(before) >= {"known_readings", "known_lives", "known_limits", "fit_input_readings"}
    for name, frame in before.items():
        pd.testing.assert_frame_equal(again[name], frame)
    assert len(after["known_readings"]) > len(before["known_readings"])


@pytest.fixture(scope="module")
def scored(demo_store):
    """Forecasts as of two past days, with the true play at each vehicle's true next visit for service."""
    truth = read_truth(demo_store.files.folder)
    parts = []
    for as_of in (date(2025, 3, 31), date(2025, 12, 31)):
        number = nightly.run(
            demo_store.folder, as_of=as_of, made_at=datetime(2026, 11, 21), settings=Settings(draws=500)
        )
        joints = flags_of(demo_store.folder, number).joints
        with Store(demo_store.folder).reader() as con:
            following = con.execute(
                "select v.unit, min(s.done_date) as served from services as s "
                "join (select distinct vehicle_id, unit from vehicles) as v using (vehicle_id) "
                "where s.done_date > ? group by v.unit",
                [as_of],
            ).df()
        joints = joints.merge(following, on="unit")
        keys = ["unit", "joint", "direction", "life_no"]
        lives = truth.lives.rename(columns={"life": "life_no"})
        met = joints.merge(lives, on=keys, suffixes=("", "_true"))
        km = np.concatenate(
            [running_km_on(truth.usage, unit, group["served"]) for unit, group in met.groupby("unit", sort=False)]
        )
        order = pd.concat([group for _, group in met.groupby("unit", sort=False)])
        order["true_next"] = true_play(order, km)
        parts.append(order)
    return pd.concat(parts, ignore_index=True)


def test_forecasts_of_the_demo_fleet_have_skill(scored):
    """Cases: limit on record, last reading within it. Score: the true play at the service that followed."""
    cases = scored[
        scored["p_over_next"].notna() & ~(scored["last_play_mm"] > scored["limit_mm"]) & (scored["question"] == "")
    ]
    over = (cases["true_next"] > cases["limit_mm"]).to_numpy(float)
    p = cases["p_over_next"].to_numpy()
    skill = 1 - np.mean((p - over) ** 2) / np.mean((over.mean() - over) ** 2)
    assert len(cases) > 1500
    assert over.sum() > 8
    assert skill > 0.5, f"Brier skill {skill:.3f} over {len(cases)} cases with {over.sum():.0f} crossings"
    assert p.sum() == pytest.approx(over.sum(), rel=0.5)


def test_prediction_intervals_cover_the_true_play(scored):
    cases = scored[scored["play_next_mm"].notna()]
    inside = (cases["true_next"] >= cases["play_next_lower"]) & (cases["true_next"] <= cases["play_next_upper"])
    assert 0.85 < inside.mean() <= 1.0
