"""Stores of the fleet made by hand."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import pytest

from pipelines import load

if "hand_made" not in sys.modules:
    _spec = importlib.util.spec_from_file_location("hand_made", Path(__file__).with_name("hand_made.py"))
    assert _spec is not None
    assert _spec.loader is not None
    sys.modules["hand_made"] = importlib.util.module_from_spec(_spec)
    _spec.loader.exec_module(sys.modules["hand_made"])

LOADED_AT = datetime(2026, 11, 20, 6, 0)

MakeFleet = Callable[[dict[str, str]], Path]


@pytest.fixture(scope="session")
def make_fleet(tmp_path_factory: pytest.TempPathFactory) -> MakeFleet:
    """Return a function that loads tables into a store of their own; none of their rows is refused."""

    def make(tables: dict[str, str]) -> Path:
        folder = tmp_path_factory.mktemp("fleet")
        paths = []
        for name, text in tables.items():
            paths.append(folder / f"{name}.csv")
            paths[-1].write_text(text + "\n")
        for summary in load.run(folder / "store", paths, date(2026, 11, 20), loaded_at=LOADED_AT):
            assert summary.rows_quarantined == 0, summary.reasons
        return folder / "store"

    return make
