"""Stores for the tests: the demo fleet, made once a session, and small ones written in the test."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import pytest

import demo_fleet
from fleetwear.forecast import Settings
from pipelines import load, nightly

TODAY = date(2026, 11, 20)
MADE_AT = datetime(2026, 11, 20, 6, 0)


@dataclass(frozen=True)
class DemoStore:
    """The demo fleet loaded, forecast as of its end, and published."""

    folder: Path
    files: demo_fleet.DemoFiles


@pytest.fixture(scope="session")
def demo_store(tmp_path_factory: pytest.TempPathFactory) -> DemoStore:
    folder = tmp_path_factory.mktemp("demo")
    written = demo_fleet.write(folder / "files")
    load.run(folder, written.files, TODAY, loaded_at=MADE_AT)
    nightly.run(folder, as_of=written.as_of, made_at=MADE_AT)
    return DemoStore(folder, written)


MakeStore = Callable[[dict[str, str]], Path]


@pytest.fixture
def make_store(tmp_path: Path) -> MakeStore:
    """Return a function that loads tables, written as CSV text by file name, into a store; none is refused."""

    def make(tables: dict[str, str], *, loaded_at: datetime = MADE_AT) -> Path:
        files = tmp_path / "files"
        files.mkdir(exist_ok=True)
        paths = []
        for name, text in tables.items():
            path = files / f"{name}.csv"
            path.write_text("\n".join(line.strip() for line in text.strip().splitlines()) + "\n")
            paths.append(path)
        for summary in load.run(tmp_path / "store", paths, TODAY, loaded_at=loaded_at):
            assert summary.rows_quarantined == 0, summary.reasons
        return tmp_path / "store"

    return make


@pytest.fixture
def quick_settings() -> Settings:
    return Settings(draws=500)
