"""Work beside the store: it is let go once what is needed is copied, and nothing stays behind."""

import subprocess
import sys

import pandas as pd
import pytest

from fleetwear.errors import StoreError
from fleetwear.store import Store
from fleetwear.store.apart import apart
from fleetwear.store.frames import frames_on_disk

VEHICLES = {"vehicles": "unit,model,in service date\nA1,Van,2023-01-01\nA2,Van,2023-01-01"}

WRITE = """
import sys
from pathlib import Path
from fleetwear.errors import StoreError
from fleetwear.store import Store
try:
    with Store(Path(sys.argv[1])).writer(wait_seconds=0.1) as con:
        con.execute("delete from vehicles where unit = 'A2'")
except StoreError as error:
    print(error)
"""


def write_elsewhere(folder):
    return subprocess.run([sys.executable, "-c", WRITE, str(folder)], capture_output=True, text=True, check=True).stdout


def test_others_can_write_once_the_store_is_let_go(make_store):
    folder = make_store(VEHICLES)
    with apart(Store(folder)) as own:
        own.con.execute("create temp table mine as select unit from vehicles")
        assert "another program has had the store open" in write_elsewhere(folder)
        own.let_go(keep=["vehicles"])
        assert write_elsewhere(folder) == ""
        for table in ("mine", "vehicles"):
            assert own.con.execute(f"select unit from {table} order by unit").fetchall() == [("A1",), ("A2",)]
    with Store(folder).reader() as con:
        assert con.execute("select unit from vehicles").fetchall() == [("A1",)]
    assert not [path.name for path in folder.iterdir() if path.name.startswith("making-")]


def test_nothing_stays_behind_when_the_work_fails(make_store):
    folder = make_store(VEHICLES)
    with pytest.raises(RuntimeError), apart(Store(folder)), frames_on_disk(folder):
        raise RuntimeError
    assert not [path.name for path in folder.iterdir() if path.name.startswith("making-")]
    assert write_elsewhere(folder) == ""


def test_without_a_store_it_is_said_how_to_make_one(tmp_path):
    with pytest.raises(StoreError, match="no store"), apart(Store(tmp_path / "nothing")):
        pass


def test_a_folder_that_cannot_be_written_to_is_told(tmp_path):
    with pytest.raises(StoreError, match="no room to work beside the store"), frames_on_disk(tmp_path / "nothing"):
        pass


def test_frames_come_back_in_their_order(tmp_path):
    with frames_on_disk(tmp_path) as kept:
        for number in range(12):
            kept.keep(pd.DataFrame({"number": [number], "words": ["w"]}))
        kept.keep(pd.DataFrame({"number": []}))
        assert [int(frame["number"].iloc[0]) for frame in kept.frames()] == list(range(12))
    assert not list(tmp_path.iterdir())
