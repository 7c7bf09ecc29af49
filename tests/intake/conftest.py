"""A small fleet to load files into, copied from a template so that each test starts at once."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import pytest

from fleetwear.intake import load_files
from fleetwear.store import Store

TODAY = date(2024, 6, 1)
LOADED_AT = datetime(2024, 6, 1, 12, 0)

VEHICLES = """unit,model,in service date,in service odometer,distance unit,distance source,play unit
A1,Alpha,2020-01-01,10,km,odometer,thou
A2,Alpha,,,,,
B1,Beta,,,,hub meter,
N1,Beta,,,,none,
"""
POSITIONS = """model,axle,side,place,kind
Alpha,front,left,lower,ball joint
Alpha,front,right,lower,ball joint
Alpha,front,left,,tie rod end
Beta,1,left,upper,kingpin
"""
LIMITS = """kind,limit,basis,source
ball joint,50 thou,maker,handbook
"""


@dataclass
class Bench:
    """A store and a folder of files to load into it."""

    folder: Path

    @property
    def store(self):
        return Store(self.folder / "store")

    def write(self, name, text):
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def load(self, name, text=None, **options):
        """Write and load one file; return its only summary."""
        path = self.folder / name if text is None else self.write(name, text)
        (summary,) = load_files(self.store, [path], today=TODAY, loaded_at=LOADED_AT, **options)
        return summary

    def rows(self, query, *parameters):
        with self.store.reader() as con:
            return con.execute(query, list(parameters)).fetchall()

    def reasons(self):
        return [row[0] for row in self.rows("select reasons from quarantine order by quarantine_id")]

    def dump(self):
        """Return everything in the store but how long loads took, when files were delivered and what was run."""
        return dump(self.store)


def dump(store):
    with store.reader() as con:
        names = [
            row[0]
            for row in con.execute(
                "select table_name from duckdb_tables() "
                "where table_name not in ('schema_migrations', 'inbox_entries', 'runs') order by 1"
            ).fetchall()
        ]
        content = {}
        for name in names:
            described = con.execute(f"describe {name}").fetchall()
            columns = ", ".join(row[0] for row in described if row[0] != "elapsed_seconds")
            content[name] = con.execute(f"select {columns} from {name} order by all").fetchall()
    return content


@pytest.fixture(scope="session")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("template")
    store = Store.create_or_open(folder / "store")
    files = {"vehicles.csv": VEHICLES, "positions.csv": POSITIONS, "limits.csv": LIMITS}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    summaries = load_files(store, [folder / name for name in files], today=TODAY, loaded_at=LOADED_AT)
    assert [summary.rows_quarantined for summary in summaries] == [0, 0, 0]
    return folder


@pytest.fixture
def bench(template, tmp_path):
    shutil.copytree(template / "store", tmp_path / "store")
    return Bench(tmp_path)


@pytest.fixture(scope="session")
def bench_in(template):
    """A function that gives a fresh bench in a folder: for tests that need several."""

    def fresh(folder):
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(template / "store", folder / "store")
        return Bench(folder)

    return fresh


@pytest.fixture(scope="module")
def module_bench(template, tmp_path_factory):
    """A bench that a module's tests share: for rows that are all refused and change nothing."""
    folder = tmp_path_factory.mktemp("module")
    shutil.copytree(template / "store", folder / "store")
    return Bench(folder)


@pytest.fixture
def two_benches(template, tmp_path):
    benches = []
    for name in ("one", "two"):
        shutil.copytree(template / "store", tmp_path / name / "store")
        benches.append(Bench(tmp_path / name))
    return benches
