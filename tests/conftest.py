"""Stores for the tests: the demo fleet, made once a session, and small ones written in the test."""

import fcntl
import os
import shutil

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import altair as alt
import pytest

import demo_fleet
from fleetwear.cli import program
from fleetwear.forecast import Settings
from pipelines import backtest, load, nightly, publish

program.NOBODY_WAITS = 0
"""Commands run in the process of the tests, which would give way for good, with the servers that it starts."""

TODAY = date(2026, 11, 20)
MADE_AT = datetime(2026, 11, 20, 6, 0)


@dataclass(frozen=True)
class DemoStore:
    """The demo fleet loaded, forecast as of its end, and published."""

    folder: Path
    files: demo_fleet.DemoFiles


@pytest.fixture(scope="session")
def valid_chart() -> Callable[[dict], dict]:
    """Return a chart's specification again if it holds to the schema of Vega-Lite."""

    def valid(spec: dict) -> dict:
        alt.LayerChart.from_dict(spec)
        return spec

    return valid


def _made_once(folder: Path, make: Callable[[Path], None]) -> Path:
    """Return a folder that the first of the processes that ask for it has made."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    with open(folder.with_suffix(".lock"), "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            making = folder.with_suffix(".making")
            shutil.rmtree(making, ignore_errors=True)
            make(making)
            making.rename(folder)
    return folder


def _kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return where stores that all processes share are kept: for this run, or for as long as the person wants."""
    kept = os.environ.get("FLEETWEAR_KEPT_STORES")
    return Path(kept) if kept else tmp_path_factory.getbasetemp().parent / "stores"


def _copy(made: Path, tmp_path_factory: pytest.TempPathFactory) -> DemoStore:
    folder = tmp_path_factory.mktemp(made.name) / "store"
    shutil.copytree(made, folder)
    return DemoStore(folder, demo_fleet.write(folder / "files"))


def _make_demo(folder: Path) -> None:
    written = demo_fleet.write(folder / "files")
    load.run(folder, written.files, TODAY, loaded_at=MADE_AT)
    nightly.run(folder, as_of=written.as_of, made_at=MADE_AT)


@pytest.fixture(scope="session")
def demo_store(tmp_path_factory: pytest.TempPathFactory) -> DemoStore:
    """Return a copy, this process's own, of the demo store."""
    return _copy(_made_once(_kept(tmp_path_factory) / "demo", _make_demo), tmp_path_factory)


@pytest.fixture(scope="session")
def checked_store(tmp_path_factory: pytest.TempPathFactory) -> DemoStore:
    """Return a copy of the demo store with a backtest of two dates, published."""
    made = _made_once(_kept(tmp_path_factory) / "demo", _make_demo)

    def check(folder: Path) -> None:
        shutil.copytree(made, folder)
        backtest.run(folder, made_at=MADE_AT, dates=[date(2025, 4, 30), date(2025, 10, 31)])
        publish.run(folder)

    return _copy(_made_once(_kept(tmp_path_factory) / "checked", check), tmp_path_factory)


@pytest.fixture(autouse=True)
def _without_debugging() -> Iterator[None]:
    """Undo what a command with --debug leaves in the environment."""
    yield
    os.environ.pop("FLEETWEAR_DEBUG", None)


_FIRST = ("forecast/test_moments", "pipelines/test_backtest_pipeline", "rules/test_static", "browser/", "benchmarks/")
"""Files that take longest: begun first, so that no process is left with one of them at the end."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first."""

    def place(item: pytest.Item) -> int:
        path = item.path.as_posix()
        return next((at for at, name in enumerate(_FIRST) if name in path), len(_FIRST))

    items.sort(key=place)


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
