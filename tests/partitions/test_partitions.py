"""Partitions without a cluster: what is written, what is read back, and that it does not matter what lies where."""

import sys
from datetime import date, datetime
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import parted_fleet
import pytest
from parted_fleet import estimates, numbers
from scipy import stats
from typer.testing import CliRunner

from fleetwear.cli import app
from fleetwear.errors import InputError, StoreError
from fleetwear.partitions import (
    Place,
    cluster_client,
    fit_partitions,
    forecast_partitions,
    partitions_of,
)
from fleetwear.partitions.sums import life_sums
from fleetwear.partitions.writing import write_partitions
from fleetwear.store import Store
from fleetwear.wear import fit
from fleetwear.wear.parts import HeldParts
from fleetwear.wear.sums import LifeSums

AS_OF, MADE_AT = date(2026, 11, 20), datetime(2026, 11, 20, 6, 0)


def held(place):
    return HeldParts(partitions_of(place))


def fitted_rows(place, kind):
    rows = duckdb.sql(
        f"select * from read_parquet('{place.root}/readings/*.parquet') order by series, distance_km"
    ).df()
    return rows[(rows["kind"] == kind) & (rows["seen"] == 0) & (rows["origin"] != "unknown")]


@pytest.mark.parametrize("kind", ["ball joint", "kingpin"])
def test_the_fit_is_that_of_one_machine(place, kind):
    rows = fitted_rows(place, kind)
    one = fit(
        rows["series"], rows["distance_km"], rows["play_mm"], rows["cohort"], shape="straight",
        variance_ratio=rows["variance_ratio"],
    )  # fmt: skip
    parted = fit_partitions(held(place)).fits[kind]
    np.testing.assert_allclose(estimates(parted), estimates(one), rtol=1e-9)
    assert (parted.n_obs, parted.n_groups) == (len(rows), rows["series"].nunique())


def test_the_forecast_is_that_of_one_machine(place, frames):
    fitted = fit_partitions(held(place))
    told = forecast_partitions(held(place), fitted, place)
    found = parted_fleet.forecast_of(place)
    _, series = frames
    assert told["series"].sum() == len(series) == len(found)
    assert told["with_limit"].sum() == series["limit_mm"].notna().sum() < len(series)
    assert found["p_over_next"].isna().sum() == series["limit_mm"].isna().sum()
    assert (found["whose_line"] == found["cohort"]).all()
    rows = fitted_rows(place, "kingpin")
    one = fit(
        rows["series"], rows["distance_km"], rows["play_mm"], rows["cohort"], shape="straight",
        variance_ratio=rows["variance_ratio"],
    )  # fmt: skip
    checked = 0
    for row in series[(series["kind"] == "kingpin") & (series["origin"] != "unknown")].itertuples():
        if row.series not in one.life_labels:
            continue
        run = np.array(row.service_km) - row.life_start_km
        # a plain loop over the distances, each a normal of its own
        known = [one.predict(row.series, km)[["mean", "se"]].to_numpy()[0] for km in run]
        mean = np.mean([m for m, _ in known])
        over = np.mean([stats.norm.sf(row.limit_mm, m, se) for m, se in known])
        variance = np.mean([se**2 + m**2 for m, se in known]) - mean**2
        mine = found.loc[row.series]
        assert mine["play_next_mm"] == pytest.approx(mean, rel=1e-9)
        assert mine["play_next_sd_mm"] == pytest.approx(np.sqrt(variance), rel=1e-7)
        if np.isfinite(row.limit_mm):
            assert mine["p_over_next"] == pytest.approx(over, rel=1e-7, abs=1e-12)
        checked += 1
        if checked == 12:
            break
    assert checked == 12


def test_a_part_of_unknown_origin_may_have_run_any_distance_before(place, frames):
    """Against a plain loop over twelve distances run before and 31 at the next service."""
    readings, series = frames
    fitted = fit_partitions(held(place))
    forecast_partitions(held(place), fitted, place)
    found = parted_fleet.forecast_of(place)
    for row in series[(series["origin"] == "unknown") & series["limit_mm"].notna()].head(2).itertuples():
        own = readings[(readings["series"] == row.series) & (readings["seen"] == 0)]
        weights, means, sds = [], [], []
        for before in row.earlier_km_at_most * (np.arange(12) + 0.5) / 12:
            known = fitted.fits[row.kind].update(
                ["it"] * len(own), own["distance_km"] + before, own["play_mm"], own["cohort"],
                variance_ratio=own["variance_ratio"],
            )  # fmt: skip
            told = known.predict("it", np.array(row.service_km) - row.life_start_km + before)
            weights.append(float(np.exp(known.posterior.log_density[0])))
            means.append(told["mean"])
            sds.append(told["se"])
        weight = np.array(weights) / sum(weights)
        assert weight.max() < 0.5
        over = stats.norm.sf(row.limit_mm, means, sds).mean(axis=1)
        assert found.loc[row.series, "play_next_mm"] == pytest.approx(weight @ np.mean(means, axis=1), rel=1e-3)
        assert found.loc[row.series, "p_over_next"] == pytest.approx(weight @ over, rel=1e-3)


@pytest.mark.parametrize("exponent", [1.0, 1.3])
def test_sums_of_a_query_are_those_of_a_plain_loop(place, exponent):
    rows = fitted_rows(place, "kingpin")
    rows = rows[rows["vehicle_id"] % parted_fleet.PARTITIONS == 1]
    cohorts = sorted({*rows["cohort"], "kingpin/in-out/a cohort that lies elsewhere"})
    part = life_sums(partitions_of(place)[1], "kingpin", cohorts, exponent, 50_000.0)
    at = 0
    for code, label in enumerate(cohorts):
        assert part.starts[code] == at
        for _, own in rows[rows["cohort"] == label].groupby("series"):
            g, w = (own["distance_km"] / 50_000.0) ** exponent, 1.0 / own["variance_ratio"]
            y = own["play_mm"]
            plain = [len(own), *(sum(w * one) for one in (1.0, g, g * g, y, g * y, y * y)), -sum(np.log(w))]
            found = [getattr(part.sums, name)[at] for name in LifeSums.__dataclass_fields__]
            np.testing.assert_allclose(found, plain, rtol=1e-12, atol=1e-14)
            at += 1
    assert at == len(part.sums) == part.starts[-1]
    with pytest.raises(StoreError, match="has changed since it was surveyed"):
        life_sums(partitions_of(place)[1], "kingpin", cohorts[:1], exponent, 50_000.0)


def test_moving_vehicles_changes_nothing(place, frames, tmp_path):
    fitted = fit_partitions(held(place))
    forecast_partitions(held(place), fitted, place)
    moved = Place(str(tmp_path / "moved"))
    where = np.arange(48) % parted_fleet.PARTITIONS
    where[[0, 7]] = 3
    parted_fleet.write_frames(moved, *frames, where)
    again = fit_partitions(held(moved))
    forecast_partitions(held(moved), again, moved)
    for kind, one in fitted.fits.items():
        np.testing.assert_allclose(estimates(again.fits[kind]), estimates(one), rtol=1e-9)
    before, after = parted_fleet.forecast_of(place), parted_fleet.forecast_of(moved)
    np.testing.assert_allclose(numbers(after), numbers(before), rtol=1e-9, atol=1e-12)
    assert after["doubt"].equals(before["doubt"])


def test_moving_one_life_changes_nothing(place):
    """One life of a vehicle alone: its readings and its series."""
    before = fit_partitions(held(place))
    forecast_partitions(held(place), before, place)
    old = parted_fleet.forecast_of(place)
    with place.connection() as con:
        for name in ("readings", "series"):
            first, second = place.part(name, 0), place.part(name, 1)
            con.execute(f"create temp table a as from read_parquet('{first}')")
            con.execute(f"create temp table b as from read_parquet('{second}')")
            assert con.execute("select count(*) from a where series = 12").fetchall()[0][0] > 0
            place.write(con.sql("from a where series <> 12"), first)
            place.write(con.sql("from b union all by name from a where series = 12"), second)
            con.execute("drop table a; drop table b")
    after = fit_partitions(held(place))
    for kind, one in before.fits.items():
        np.testing.assert_allclose(estimates(after.fits[kind]), estimates(one), rtol=1e-9)
    forecast_partitions(held(place), after, place)
    np.testing.assert_allclose(numbers(parted_fleet.forecast_of(place)), numbers(old), rtol=1e-9, atol=1e-12)


def test_what_is_left_out_is_counted(place, frames):
    readings, _ = frames
    told = fit_partitions(held(place)).models.set_index("kind")
    for kind, own in readings.groupby("kind"):
        known = own["origin"] != "unknown"
        assert told.loc[kind, "readings"] == ((own["seen"] == 0) & known).sum()
        assert told.loc[kind, "not_measured"] == (own["seen"] != 0).sum()
        assert told.loc[kind, "of_unknown_origin"] == ((own["seen"] == 0) & ~known).sum() > 0


def test_a_kind_with_too_little_is_told_and_the_others_are_fitted(tmp_path, frames):
    readings, series = (frame[(frame["kind"] != "kingpin") | (frame["vehicle_id"] < 3)] for frame in frames)
    place = Place(str(tmp_path / "few"))
    parted_fleet.write_frames(place, readings, series, np.arange(48) % parted_fleet.PARTITIONS)
    fitted = fit_partitions(held(place))
    assert list(fitted.fits) == ["ball joint"]
    assert "too few" in fitted.unfitted["kingpin"]
    forecast_partitions(held(place), fitted, place)
    found = parted_fleet.forecast_of(place)
    kingpins = found[found["kind"] == "kingpin"]
    assert kingpins["p_over_next"].isna().all()
    assert kingpins["doubt"].str.contains("too few").all()


def test_a_missing_and_a_broken_partition_are_named(place):
    file = Path(place.part("readings", 2))
    whole = file.read_bytes()
    file.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(StoreError, match=r"readings/part-0002\.parquet: the partition cannot be read"):
        fit_partitions(held(place))
    file.unlink()
    with pytest.raises(StoreError, match=r"readings/part-0002\.parquet: the partition is missing"):
        fit_partitions(held(place))
    file.write_bytes(whole)
    fitted = fit_partitions(held(place))
    Path(place.part("series", 1)).unlink()
    with pytest.raises(StoreError, match=r"series/part-0001\.parquet: the partition is missing"):
        forecast_partitions(held(place), fitted, place)


def test_readings_that_nothing_can_be_made_of_are_told(place, frames):
    bad = frames[0].head(4).assign(play_mm=[np.nan, 0.3, np.inf, 0.3])  # noqa: F841
    with place.connection() as con:
        place.write(con.sql("from bad"), place.part("readings", 3))
    with pytest.raises(StoreError, match=r"part-0003\.parquet: 2 readings without a finite play"):
        fit_partitions(held(place))


def test_unfinished_partitions_are_not_taken(place, frames):
    Path(place.file("about.parquet")).unlink()
    with pytest.raises(StoreError, match="no finished partitions"):
        partitions_of(place)
    about = pd.DataFrame({"layout": [99], "partitions": [4], "as_of": [pd.NaT], "known_by": [pd.NaT]})
    about["made_at"], about["program_version"] = pd.NaT, "0"
    with place.connection() as con:
        place.write(con.from_df(about), place.file("about.parquet"))
    with pytest.raises(StoreError, match="layout 99"):
        partitions_of(place)


def test_a_file_that_cannot_be_written_leaves_nothing(place):
    Path(place.root, "forecasts").write_text("a file where the folder should be")
    with pytest.raises(StoreError, match="cannot be written"):
        forecast_partitions(held(place), fit_partitions(held(place)), place)
    assert not list(Path(place.root).rglob("*.unfinished"))


def test_an_object_store_needs_its_extension():
    with pytest.raises(StoreError, match="httpfs"), Place("s3://bucket/fleet").connection():
        pass


def test_the_extra_is_asked_for(monkeypatch, place):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"pip install -e '\.\[cluster\]'"), cluster_client():
        pass
    monkeypatch.undo()
    with pytest.raises(InputError, match="0 workers"), cluster_client(workers=0):
        pass


def test_commands_say_what_is_wrong(tmp_path):
    (tmp_path / "authority.pem").touch()
    asked = CliRunner().invoke(app, ["forecast-partitions", str(tmp_path), "--tls-ca", str(tmp_path / "authority.pem")])
    assert asked.exit_code == 2
    assert "all three or none" in asked.output
    asked = CliRunner().invoke(app, ["forecast-partitions", str(tmp_path)])
    assert isinstance(asked.exception, StoreError)
    assert "fleetwear partition" in str(asked.exception)


def test_a_folder_is_known_by_its_whole_path(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert Place.named("parts").part("readings", 7) == str(tmp_path / "parts/readings/part-0007.parquet")
    assert Place.named("s3://bucket/fleet/").file("about.parquet") == "s3://bucket/fleet/about.parquet"


def test_a_store_is_written_whole(demo_store, tmp_path):
    place = Place(str(tmp_path / "demo"))
    store = Store(demo_store.folder)
    with pytest.raises(InputError, match="0 partitions"):
        write_partitions(store, place, partitions=0, as_of=AS_OF, made_at=MADE_AT)
    told = []
    moment = {"as_of": demo_store.files.as_of, "made_at": MADE_AT}
    written = write_partitions(store, place, partitions=5, **moment, on_progress=lambda *step: told.append(step))
    assert told[-1] == ("partitions written", 5, 5)
    assert len(partitions_of(place)) == 5
    with pytest.raises(StoreError, match="partitions lie there already"):
        write_partitions(store, place, partitions=5, **moment)
    readings = duckdb.sql(f"from read_parquet('{place.root}/readings/*.parquet', filename = true)").df()
    series = duckdb.sql(f"from read_parquet('{place.root}/series/*.parquet', filename = true)").df()
    assert (len(readings), len(series)) == (written.readings, written.series)
    of_vehicle = pd.concat([readings, series]).assign(part=lambda f: f["filename"].str.extract(r"part-(\d+)")[0])
    assert (of_vehicle.groupby("vehicle_id")["part"].nunique() == 1).all()
    assert of_vehicle["part"].nunique() == 5
    with store.reader() as con:
        stored = con.execute(
            "select vehicle_id, position_id, direction, limit_mm, next_service_date_50 from forecast_joints "
            "join (select forecast_id as f, vehicle_id as v, next_service_date_50 from forecast_vehicles) "
            "on f = forecast_id and v = vehicle_id where forecast_id = (select max(forecast_id) from forecasts)"
        ).df()
    both = series.merge(stored, on=["vehicle_id", "position_id", "direction"], suffixes=("", "_stored"))
    assert len(both) == len(series) == len(stored)
    assert both["limit_mm"].equals(both["limit_mm_stored"])
    assert (pd.to_datetime(both["next_service_date"]) == pd.to_datetime(both["next_service_date_50"])).all()
    fitted = fit_partitions(held(place))
    assert not fitted.unfitted
    assert forecast_partitions(held(place), fitted, place)["with_model"].sum() == len(series)
