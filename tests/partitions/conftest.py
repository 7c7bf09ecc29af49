"""The partitions of a simulated fleet."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from fleetwear.partitions import Place

_NAME = "parted_fleet"
if _NAME not in sys.modules:
    _spec = importlib.util.spec_from_file_location(_NAME, Path(__file__).with_name(f"{_NAME}.py"))
    assert _spec is not None
    assert _spec.loader is not None
    sys.modules[_NAME] = importlib.util.module_from_spec(_spec)
    _spec.loader.exec_module(sys.modules[_NAME])
parted_fleet = sys.modules[_NAME]


@pytest.fixture(scope="session")
def frames():
    return parted_fleet.fleet_frames()


@pytest.fixture
def place(tmp_path, frames):
    """Return a place with the fleet, dealt to partitions by vehicle."""
    made = Place(str(tmp_path / "parts"))
    parted_fleet.write_frames(made, *frames, np.arange(48) % parted_fleet.PARTITIONS)
    return made
