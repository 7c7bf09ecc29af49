"""The first hour of somebody who starts from an empty folder, step by step."""

from __future__ import annotations

import io
import re

import pytest
import python_calamine
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from dashboard.serve import APP
from fleetwear import cli
from fleetwear.errors import InputError, StoreError
from fleetwear.intake.columns import TABLES
from fleetwear.intake.explained import EXAMPLES, explain_all
from fleetwear.reports.blank_files import WORKBOOK, workbook

READINGS = """unit,visit date,odometer,joint,direction,play
EX1,2025-05-14,41200 km,left front lower ball joint,fore-aft,0.20 mm
EX1,2025-11-14,53000 km,left front lower ball joint,in-out,0.36 mm
EX1,2025-11-14,53000 km,left front lower ball joint,fore-aft,0.21 mm
EX1,2026-05-14,65000 km,left front lower ball joint,in-out,0.37 mm
EX1,2026-05-14,65000 km,left front lower ball joint,fore-aft,0.22 mm
"""


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Return a function that runs a command in an empty folder and returns what it said."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FLEETWEAR_STORE", str(tmp_path / "store"))

    def invoke(*arguments, fails=None):
        done = CliRunner().invoke(cli.app, [str(argument) for argument in arguments])
        if fails is not None:
            assert isinstance(done.exception, fails), done.output
            return str(done.exception)
        assert done.exit_code == 0, done.output + str(done.exception)
        return " ".join(done.output.split())

    return invoke


def page():
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    assert not app.exception
    parts = [element.value for kind in ("subheader", "markdown", "code") for element in app.get(kind)]
    return "\n".join(parts + [element.proto.body for element in app.get("html")])


def test_from_an_empty_folder_to_the_first_flags(run, tmp_path):
    for command in (["flags"], ["forecast"], ["vehicle", "EX1"]):
        assert "fleetwear templates DIR" in run(*command, fails=StoreError)
    said = page()
    assert "Take the templates" in said
    assert f"fleetwear load {WORKBOOK}" in said

    said = run("templates", "to_fill_in")
    assert 'sheet "how to"' in said
    assert "is there already" in run("templates", "to_fill_in", fails=InputError)

    said = run("load", tmp_path / "to_fill_in" / WORKBOOK)  # not filled in yet
    assert "There is no vehicle yet" in said
    assert "Next: load what is missing" in said
    said = run("load", tmp_path / "to_fill_in/examples/vehicles.csv")
    assert "There is no vehicle yet" not in said
    assert "There is no joint position yet" in said
    assert "There is no limit yet" in said
    assert "There is no service yet" in said

    said = run("load", *sorted((tmp_path / "to_fill_in/examples").glob("*.csv")))
    assert "quarantine" not in said
    assert "There is no" not in said
    assert "Next: fleetwear forecast" in said
    said = page()
    assert "Files are loaded. Make the first forecast" in said

    (tmp_path / "readings.csv").write_text(READINGS)
    assert "quarantine" not in run("load", "readings.csv")
    assert "Next: fleetwear flags" in run("forecast")
    said = run("flags")
    assert "No vehicle is flagged. That clears none of them: fleetwear flags --all" in said
    assert re.search(r"\b1 vehicle as of", said)
    assert "EX1" in page()


@pytest.mark.parametrize("left_out", ["positions", "limits", "services", "readings"])
def test_a_forecast_without_one_of_the_tables_says_what_is_missing(run, tmp_path, left_out):
    run("templates", "t")
    needed = [name for name in ("vehicles", "positions", "limits", "services", "readings") if name != left_out]
    if left_out == "positions":
        needed.remove("readings")
    said = run("load", *(tmp_path / f"t/examples/{name}.csv" for name in needed))
    assert f"There is no {'joint position' if left_out == 'positions' else left_out.removesuffix('s')} yet" in said
    run("forecast")
    told = run("flags", "--all", "--format", "csv")
    assert "EX1" in told
    if left_out == "positions":
        assert "No joint positions are on record for this model; load them." in told


def test_every_column_of_the_contract_is_explained_and_has_an_example():
    explained = explain_all()
    assert [(one.table, one.column) for one in explained] == [
        (table.name, column.name) for table in TABLES for column in table.columns
    ]
    for one in explained:
        assert one.meaning.endswith(".")
        never = ("quarantine number", "new odometer", "superseded by")
        assert one.example or one.column in never
        assert bool(one.words) == (one.form == "one of the words")
    for table in TABLES:
        assert set(EXAMPLES[table.name]) <= {column.name for column in table.columns}


def test_the_workbook_with_its_examples_loads_without_a_refusal(run, tmp_path):
    (tmp_path / "filled.xlsx").write_bytes(workbook(examples=True))
    said = run("load", "filled.xlsx")
    assert "quarantine" not in said
    assert said.count("1 rows read, 1 rows in") == len(TABLES) - 1  # a correction would be one of the fleet's own rows
    assert "left out" not in said


def test_the_workbook_explains_every_column(tmp_path):
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(workbook()))
    assert book.sheet_names == ["how to", *(table.name for table in TABLES)]
    rows = book.get_sheet_by_name("how to").to_python(skip_empty_area=False)
    assert len(rows) == 3 + sum(len(table.columns) for table in TABLES)
    play = next(row for row in rows if row[:2] == ["readings", "play"])
    assert {"thou", "in", "mm", "um"} <= set(play[3].replace(",", "").split())
    kind = next(row for row in rows if row[:2] == ["positions", "kind"])
    assert "kingpin" in kind[4]
    assert kind[5] == "must be filled in"
    assert book.get_sheet_by_name("readings").to_python()[0][0] == "unit"
