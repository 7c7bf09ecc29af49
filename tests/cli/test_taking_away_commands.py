"""fleetwear export and fleetwear maintenance-record."""

from __future__ import annotations

import io
import json

import pandas as pd
import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from fleetwear import cli
from fleetwear.errors import InputError
from fleetwear.planning.tidy_tables import table_names


def run(*arguments):
    return CliRunner().invoke(cli.app, [str(argument) for argument in arguments])


def test_export_writes_what_it_lists(demo_store, tmp_path):
    folder = tmp_path / "away"
    done = run("export", folder, "--as", "parquet", "--depot", "Hill", "--format", "json", "--store", demo_store.folder)
    assert done.exit_code == 0, done.output
    listed = json.loads(done.stdout)
    assert [row["table"] for row in listed] == table_names()
    for row in listed:
        assert pq.read_table(row["file"]).num_rows == row["rows"]
    assert "As of 2026-11-01, forecast 1, fit 1" in done.stderr
    assert "Of the whole fleet all the same: limits, cohorts" in done.stderr
    assert "never clears a vehicle" in done.stderr


def test_export_of_some_tables(demo_store, tmp_path):
    folder = tmp_path / "away"
    done = run("export", folder, "--table", "flags", "--table", "limits", "--store", demo_store.folder)
    assert done.exit_code == 0, done.output
    assert sorted(file.name for file in folder.iterdir()) == ["about.csv", "dictionary.csv", "flags.csv", "limits.csv"]
    limits = pd.read_csv(folder / "limits.csv")
    assert {"limit_mm", "limit_written", "limit_written_unit", "as_of", "program_version"} <= set(limits.columns)


def test_export_names_the_tables_that_there_are(demo_store, tmp_path):
    done = run("export", tmp_path / "x", "--table", "nothing", "--store", demo_store.folder)
    assert isinstance(done.exception, InputError)
    assert "readings" in done.exception.mend


def test_maintenance_record_is_printed_and_written(demo_store, tmp_path):
    file = tmp_path / "record.pdf"
    at = ["--store", demo_store.folder]
    done = run("maintenance-record", "V102", "--left", "2026-11-30", "--out", file, "--format", "csv", *at)
    assert done.exit_code == 0, done.output
    assert file.read_bytes().startswith(b"%PDF")
    table = pd.read_csv(io.StringIO(done.stdout))
    assert set(table["part"]) == {"identification", "due", "done", "bus exits", "retention"}
    assert table["keep_through"].dropna().max() == "2027-07-07"
    assert "not legal advice" in done.stderr
    plain = run("maintenance-record", "V102", *at)
    assert plain.exit_code == 0
    assert "Service" in plain.stdout


@pytest.mark.parametrize("unit", ["V-102"])
def test_maintenance_record_of_an_unknown_vehicle(demo_store, unit):
    done = run("maintenance-record", unit, "--store", demo_store.folder)
    assert isinstance(done.exception, InputError)
    assert "V102" in str(done.exception)
