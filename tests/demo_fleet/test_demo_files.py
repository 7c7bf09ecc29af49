from __future__ import annotations

import subprocess
import sys
from datetime import date

import numpy as np
import pandas as pd
import pytest

import demo_fleet
from demo_fleet.catalogue import MODELS
from demo_fleet.truth import read_truth, running_km_on, true_play
from fleetwear.vocabulary import Kind

KM = {"km": 1.0, "mi": 1.609344}


def good(demo, name):
    """The rows that are meant to be taken in."""
    table = demo.tables[name]
    bad = demo.cases("refused").query("file == @name")["row"] - 2
    return table.drop(index=bad)


def test_the_same_seed_writes_the_same_bytes(demo, tmp_path):
    again = demo_fleet.write(tmp_path / "again")
    written = [*demo.files.files, *demo.files.truth.values()]
    written_again = [*again.files, *again.truth.values()]
    assert [path.name for path in written] == [path.name for path in written_again]
    for one, other in zip(written, written_again, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name


def test_another_seed_writes_other_readings(demo, tmp_path):
    other = demo_fleet.write(tmp_path, seed=1)
    name = "readings_harbour.csv"
    assert (tmp_path / name).read_bytes() != (demo.files.folder / name).read_bytes()
    assert other.as_of == date(2026, 11, 1)


def test_it_runs_as_a_module_and_names_its_files(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "demo_fleet", str(tmp_path / "here"), "--vehicles", "30"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    named = run.stdout.split()
    assert len(named) == 15
    assert sorted(named) == sorted(str(path) for path in (tmp_path / "here").iterdir() if path.is_file())


def test_too_few_vehicles_are_refused(tmp_path):
    with pytest.raises(ValueError, match="vehicles is 29; the special cases need at least 30"):
        demo_fleet.write(tmp_path, vehicles=29)


def test_what_no_sheet_holds_is_written_as_csv(tmp_path, monkeypatch):
    monkeypatch.setattr("demo_fleet.files._SHEET_ROWS", 200)
    written = demo_fleet.write(tmp_path, vehicles=30)
    assert "readings_hill.csv" in [path.name for path in written.files]
    assert (tmp_path / "readings_hill.csv").read_text().startswith("unit,visit date,odometer (mi),")
    assert "readings_hill.csv" in set(read_truth(tmp_path).events["file"])


def test_there_are_eighty_vehicles_of_four_models_with_trailers(demo):
    vehicles = good(demo, "vehicles.csv").drop_duplicates("unit")
    counts = vehicles["model"].value_counts().to_dict()
    assert counts == {"L2 van": 28, "H40 truck": 20, "M16 minibus": 16, "H60 truck": 16, "T3 trailer": 2}
    assert vehicles["depot"].nunique() == 3


def test_there_are_about_six_thousand_readings_over_five_years(demo):
    readings = [good(demo, name) for name in demo.tables if name.startswith("readings")]
    count = sum(len(table) for table in readings)
    assert 5_500 <= count <= 6_500
    assert count == len(demo.truth.readings)
    days = pd.to_datetime(pd.concat([table["visit date"] for table in readings]).str[:10])
    assert days.min() < pd.Timestamp("2022-01-01")
    assert pd.Timestamp("2026-10-01") < days.max() <= pd.Timestamp("2026-10-31")
    assert (days.dt.day_of_week < 5).mean() > 0.99


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.name)
def test_every_model_has_eight_to_fourteen_positions(demo, model):
    positions = good(demo, "positions.csv").query("model == @model.name")
    assert 8 <= len(positions) <= 14
    assert not positions.duplicated().any()
    assert set(positions["kind"]) <= {str(kind) for kind in Kind}


def test_readings_are_of_joints_of_the_model_in_directions_that_test_them(demo):
    model = good(demo, "vehicles.csv").drop_duplicates("unit").set_index("unit")["model"]
    fits = {
        (kind.name, position.joint, str(direction))
        for kind in MODELS
        for position in kind.positions
        for direction in position.kind.test_directions
    }
    for name in (name for name in demo.tables if name.startswith("readings")):
        table = good(demo, name)
        tested = set(zip(table["unit"].map(model), table["joint"], table["direction"], strict=True))
        assert tested <= fits, name


def test_methods_results_and_repeats_are_mixed(demo):
    table = pd.concat([good(demo, name) for name in demo.tables if name.startswith("readings")])
    shares = table["method"].value_counts(normalize=True)
    assert shares["lever under tyre"] > 0.6
    assert set(shares.index) == {"lever under tyre", "jack and unload", "pry bar", "hand rock"}
    results = table["result"].value_counts()
    assert results["none seen"] > results["seen, not measured"] > 5
    assert (table["read at"] == "joint").mean() > 0.9
    several = table["stroke"].astype(float).gt(1) | table["session"].astype(float).gt(1)
    assert 0.08 < several.mean() < 0.2
    assert {"before work", "after work"} <= set(table["timing"])


def test_each_shop_writes_in_its_own_units(demo):
    folder = demo.files.folder
    assert "play,play unit" in (folder / "readings_north_yard.csv").read_text().splitlines()[0]
    assert "play (mm)" in (folder / "readings_harbour.csv").read_text().splitlines()[0]
    assert demo.tables["readings_north_yard.csv"]["play"].str.fullmatch(r"\d+ thou").sum() > 5
    assert demo.tables["readings_north_yard.csv"]["play"].str.fullmatch(r"\d\.\d\d mm").sum() > 5
    hill = demo.tables["readings_hill.xlsx"]
    inches = hill.loc[hill["result"] == "measured", "play"].astype(float)
    assert 0 < inches.max() < 0.2
    assert {"shop", "technician", "odometer"} <= set(hill.columns)


def written_km(table, default=None):
    unit = table.get("odometer unit", default)
    km = pd.to_numeric(table["odometer"], errors="coerce")
    return km * (unit.map(KM) if isinstance(unit, pd.Series) else KM[unit])


def all_odometers(demo):
    """Every odometer value that is meant to be right: unit, day, km, as of which instrument."""
    parts = []
    for name, date_column, unit in (
        ("services.csv", "service date", None),
        ("work.csv", "work date", None),
        ("odometer.csv", "entry date", None),
        ("visits_north_yard.csv", "visit date", None),
        ("visits_harbour.csv", "visit date", "km"),
        ("readings_hill.xlsx", "visit date", "mi"),
    ):
        table = good(demo, name)
        if name == "odometer.csv":
            table = table.drop(index=demo.cases("odometer typo")["row"] - 2)
        day = pd.to_datetime(table[date_column].str[:10])
        parts.append(pd.DataFrame({"unit": table["unit"], "day": day, "km": written_km(table, unit)}))
    return pd.concat(parts).dropna()


def test_no_odometer_falls_but_the_one_that_was_swapped(demo):
    swap = demo.cases("odometer swapped").iloc[0]
    day = pd.Timestamp(demo.row("odometer.csv", swap["row"])["entry date"])
    values = all_odometers(demo).sort_values(["unit", "day", "km"])
    values = values[(values["unit"] != swap["unit"]) | (values["day"] != day)]
    fall = values.groupby("unit")["km"].diff() < 0
    fallen = values[fall]
    assert set(fallen["unit"]) == {swap["unit"]}
    assert len(fallen) == 1
    assert fallen["day"].iloc[0] > day


def test_odometers_are_the_true_ones(demo):
    truth = demo.truth.usage
    values = all_odometers(demo)
    swapped = demo.cases("odometer swapped")["unit"].iloc[0]
    for unit, mine in values[values["unit"] != swapped].groupby("unit"):
        true = truth[truth["unit"] == unit]
        expected = np.interp(
            mine["day"].to_numpy().astype("datetime64[D]").astype(int),
            true["date"].to_numpy().astype("datetime64[D]").astype(int),
            true["odometer_km"],
        )
        # People write whole km or miles, cut off.
        assert (np.abs(mine["km"] - expected) < 1.61).all(), unit


def test_visits_come_with_readings_and_work_with_visits(demo):
    visits = {
        (unit, day)
        for name in ("visits_north_yard.csv", "visits_harbour.csv")
        for unit, day in good(demo, name)[["unit", "visit date"]].itertuples(index=False)
    }
    read = {
        (unit, day[:10])
        for name in ("readings_north_yard.csv", "readings_harbour.csv")
        for unit, day in good(demo, name)[["unit", "visit date"]].itertuples(index=False)
    }
    assert visits == read
    hill = good(demo, "readings_hill.xlsx")
    everything = visits | set(zip(hill["unit"], hill["visit date"].str[:10], strict=True))
    work = good(demo, "work.csv")
    assert set(zip(work["unit"], work["work date"], strict=True)) <= everything
    services = good(demo, "services.csv")
    assert set(zip(services["unit"], services["service date"], strict=True)) <= everything
    assert len(services) > 0.85 * len(everything)


def test_every_vehicle_has_a_history_of_services_mostly_a_little_late(demo):
    services = good(demo, "services.csv").sort_values(["unit", "service date"])
    assert set(services["unit"]) == set(demo.truth.vehicles["unit"])
    day = pd.to_datetime(services["service date"])
    months = day.groupby(services["unit"]).diff().dt.days.dropna() / (365.25 / 12)
    assert (months > 6.95).mean() < 0.12
    assert (months > 6.95).any()
    assert set(services["interval months"]) == {"6"}


def test_replaced_joints_carry_a_part_that_fits(demo):
    work = good(demo, "work.csv")
    replaced = work[work["work"] == "replaced"]
    assert len(replaced) > 10
    assert set(replaced["part number"]) <= set(demo.tables["parts.csv"]["part number"])
    assert (work.loc[work["work"] != "replaced", "part number"] == "").all()
    assert work.loc[work["work"] == "adjusted", "joint"].str.contains("kingpin|wheel bearing").all()
    assert replaced["reason"].ne("").all()


def test_most_vehicles_are_fine_at_the_as_of_date(demo):
    lives = demo.truth.lives[demo.truth.lives["end_date"].isna()]
    now = {unit: running_km_on(demo.truth.usage, unit, [demo.files.as_of])[0] for unit in set(lives["unit"])}
    share = true_play(lives, lives["unit"].map(now)) / lives["limit_mm"]
    near = lives.loc[share > 0.9, "unit"].nunique() / len(now)
    assert 0.07 < near < 0.14


def test_parts_and_stock_make_a_plan_real(demo):
    parts, stock = demo.tables["parts.csv"], demo.tables["stock.csv"]
    superseded = parts[parts["superseded by"] != ""].set_index("part number")["superseded by"]
    assert superseded.to_dict() == {"L2-BJL-A": "L2-BJL-A2", "L2-BJL-A2": "L2-BJL-A3"}
    assert set(superseded) <= set(parts["part number"])
    assert set(parts["ordered in pairs"]) == {"yes", "no"}
    bare = parts[parts["lead days"] == ""]
    assert set(bare["kind"]) == {"drag link end"}
    assert set(stock["part number"]) <= set(parts["part number"])
    assert set(stock["depot"]) == {"North yard", "Harbour", "Hill"}
    on_order = stock[stock["on order"].astype(int) > 0]
    assert (on_order["expected date"] == "").sum() == 1
    assert set(demo.tables["positions.csv"]["kind"]) == set(parts["kind"])
