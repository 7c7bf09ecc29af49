"""The store of hostile texts, its flags and its vehicle."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from fleetwear.planning.flags import read_flags
from fleetwear.planning.vehicle import read_vehicle
from fleetwear.store import open_snapshot

_spec = importlib.util.spec_from_file_location("hostile_fleet", Path(__file__).with_name("hostile_fleet.py"))
assert _spec is not None
assert _spec.loader is not None
hostile_fleet = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hostile_fleet)


@pytest.fixture(scope="session")
def hostile_store(tmp_path_factory):
    return hostile_fleet.make(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="session")
def hostile(hostile_store):
    con = open_snapshot(hostile_store)
    yield read_flags(con), read_vehicle(con, hostile_fleet.UNIT)
    con.close()
