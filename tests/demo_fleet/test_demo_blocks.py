from __future__ import annotations

import subprocess
import sys

import pandas as pd
import pytest

import demo_fleet
from demo_fleet.blocks import _sizes
from fleetwear.intake import list_quarantine, load_files
from fleetwear.store import Store


def tables_of(folder, name):
    return {file.parent.name: pd.read_parquet(file) for file in sorted(folder.glob(f"block_*/{name}_0*.parquet"))}


@pytest.fixture(scope="module")
def blocks(tmp_path_factory):
    folder = tmp_path_factory.mktemp("blocks")
    return folder, list(demo_fleet.write_blocks(folder, vehicles=135, block=60))


@pytest.mark.parametrize(
    ("vehicles", "sizes"), [(60, [60]), (59, [59]), (125, [60, 65]), (150, [60, 60, 30]), (89, [89])]
)
def test_what_is_too_small_for_a_block_joins_the_last(vehicles, sizes):
    assert _sizes(vehicles, 60) == sizes


def test_blocks_share_no_unit_plate_or_serial_number(blocks):
    vehicles = tables_of(blocks[0], "vehicles")
    assert list(vehicles) == ["block_0001", "block_0002"]
    for column in ("unit", "plate", "serial number"):
        first, second = (set(each[column]) - {"X901"} for each in vehicles.values())
        shared = first & second
        assert not shared, column


def test_what_is_the_same_for_all_is_written_once(blocks):
    for name in ("positions", "limits", "parts", "stock", "wheel_limits"):
        assert list(tables_of(blocks[0], name)) == ["block_0001"], name


def test_a_block_does_not_depend_on_how_many_follow(blocks, tmp_path):
    list(demo_fleet.write_blocks(tmp_path, vehicles=60, block=60))
    for name in ("readings_hill", "odometer"):
        alone, among = tables_of(tmp_path, name), tables_of(blocks[0], name)
        pd.testing.assert_frame_equal(alone["block_0001"], among["block_0001"])


def test_just_the_wrong_rows_of_all_blocks_are_refused(blocks, tmp_path):
    folder, files = blocks
    store = Store.create_or_open(tmp_path)
    wrong = []
    for block in sorted(folder.glob("block_*")):
        summaries = load_files(store, [file for file in files if file.parent == block], today=demo_fleet.AS_OF)
        for summary in summaries:
            assert summary.rows_read == summary.rows_in + summary.rows_quarantined
        events = pd.read_parquet(block / "truth" / "events.parquet")
        events = events[events["case"].isin(["refused", "odometer typo"])]
        written = {file.name for file in block.glob("*.parquet")}
        wrong += [(file, row) for file, row in zip(events["file"], events["row"], strict=True) if file in written]
    with store.reader() as con:
        refused = list_quarantine(con)
        counted = con.execute("select count(*) from readings").fetchall()[0][0]
    assert sorted(zip(refused["file"], refused["row"], strict=True)) == sorted(wrong)
    truth = [pd.read_parquet(file) for file in folder.glob("block_*/truth/readings.parquet")]
    assert counted == sum(map(len, truth))


def test_it_runs_as_a_module(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "demo_fleet", str(tmp_path), "--vehicles", "30", "--parquet"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert sorted(run.stdout.split()) == sorted(str(path) for path in tmp_path.glob("block_0001/*.parquet"))


def test_a_block_too_small_for_the_special_cases_is_refused(tmp_path):
    with pytest.raises(ValueError, match="a block of 59 vehicles is too small"):
        next(demo_fleet.write_blocks(tmp_path, vehicles=100, block=59))
