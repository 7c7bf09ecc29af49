"""Trouble with the disk and the clock: a clear message, nothing lost, and the next run goes on."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from fleetwear.errors import StoreError
from fleetwear.store import Store, open_snapshot, publish, snapshot_number
from fleetwear.store.inbox import Inbox
from fleetwear.store.verifying import verify
from pipelines import load

TODAY = date(2026, 11, 20)
TABLES = {
    "vehicles": "unit,model\nA1,Alpha",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint",
}
LOADER = """
import os, resource, signal, sys
from datetime import date
from pathlib import Path
import duckdb, numpy, pandas, pyarrow
from fleetwear.errors import StoreError
from pipelines import load
if int(sys.argv[4]):
    # whoever may not write may not read the interpreter's own files either: all is imported before
    load.run(Path(sys.argv[2]).parent / "warm", [Path(sys.argv[2])], date(2026, 11, 20))
    os.setuid(int(sys.argv[4]))
if int(sys.argv[3]):
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), int(sys.argv[3])))
try:
    load.run(Path(sys.argv[1]), [Path(sys.argv[2])], date(2026, 11, 20))
except StoreError as error:
    print("told:", error)
else:
    print("loaded")
"""


def load_elsewhere(folder, file, *, largest=0, user=0):
    done = subprocess.run(
        [sys.executable, "-c", LOADER, str(folder), str(file), str(largest), str(user)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def units(folder):
    with Store(folder).reader() as con:
        return con.execute("select count(distinct unit) from vehicles").fetchall()[0][0]


def test_a_full_disk_is_told_and_the_next_load_goes_on(make_store, tmp_path):
    folder = make_store(TABLES)
    big = tmp_path / "big.csv"
    big.write_text("unit,model,owner\n" + "".join(f"B{i},Alpha,{i:050d}\n" for i in range(20_000)))
    told = load_elsewhere(folder, big, largest=500_000)
    assert "told:" in told
    assert "inbox cannot take the files" in told
    assert len(Inbox(folder).names()) == 2
    told = load_elsewhere(folder, big, largest=big.stat().st_size + 100_000)
    assert "told:" in told
    assert "the store cannot be written" in told
    assert "in the inbox" in told
    assert units(folder) == 1
    assert not verify(folder).wrong
    (summary,) = load.run(folder, [], TODAY)
    assert summary.rows_in == 20_000
    assert not verify(folder).wrong


def test_a_folder_that_cannot_be_written_is_told_and_can_be_read(make_store):
    place = Path(tempfile.mkdtemp())
    try:
        place.chmod(0o755)
        folder = place / "store"
        shutil.copytree(make_store(TABLES), folder)
        file = place / "more.csv"
        file.write_text("unit,model\nA2,Alpha\n")
        for path in (*folder.rglob("*"), folder):
            path.chmod(0o555 if path.is_dir() else 0o444)
        told = load_elsewhere(folder, file, user=65534 if os.getuid() == 0 else 0)
        assert "told:" in told
        assert "Permission denied" in told
        assert "you may write there" in told
        assert units(folder) == 1
    finally:
        for path in (place, *place.rglob("*")):
            path.chmod(0o755)
        shutil.rmtree(place)


def test_a_snapshot_open_for_long_goes_on_and_a_new_one_shows_the_newest(make_store, tmp_path):
    folder = make_store(TABLES)
    publish(Store(folder))
    kept_open = open_snapshot(folder)
    for i in range(4):
        file = tmp_path / f"more{i}.csv"
        file.write_text(f"unit,model\nM{i},Alpha\n")
        load.run(folder, [file], TODAY)
        publish(Store(folder))
    assert not (folder / "snapshots" / "000001.duckdb").exists()
    query = "select count(distinct unit) from vehicles"
    assert kept_open.execute(query).fetchall() == [(1,)]
    fresh = open_snapshot(folder)
    assert fresh.execute(query).fetchall() == [(5,)]
    kept_open.close()
    fresh.close()


def test_a_snapshot_removed_by_hand_is_told_and_published_again(make_store):
    folder = make_store(TABLES)
    publish(Store(folder)).unlink()
    with pytest.raises(StoreError, match=r"cannot be opened.*Publish again with `fleetwear forecast`"):
        open_snapshot(folder)
    publish(Store(folder))
    assert snapshot_number(folder) == 2
    open_snapshot(folder).close()


def test_a_clock_set_back_changes_nothing_of_what_was_known_when(make_store, tmp_path):
    ahead = datetime.now() + timedelta(days=400)
    folder = make_store(TABLES, loaded_at=ahead)
    notes = []
    for i in range(2):
        file = tmp_path / f"more{i}.csv"
        file.write_text(f"unit,model\nA{2 + i},Alpha\n")
        load.run(folder, [file], TODAY, on_note=notes.append)
    assert "The clock of this machine says" in notes[0]
    with Store(folder).reader() as con:
        moments = [row[0] for row in con.execute("select loaded_at from loads order by load_id").fetchall()]
    assert moments == sorted(moments)
    assert moments[1] < moments[2] < moments[3]
    names = Inbox(folder).names()
    assert [Inbox(folder).look(name).original_name for name in names][-2:] == ["more0.csv", "more1.csv"]
    assert not verify(folder).wrong
