"""The command, and the option of the nightly run, on the fleet made by hand."""

import json
import subprocess
import sys
from datetime import date, datetime
from io import StringIO

import pandas as pd
import pytest
from hand_made import fleet
from typer.testing import CliRunner

from fleetwear import cli
from fleetwear.backtest.records import read_backtest
from fleetwear.errors import InputError
from fleetwear.store import Store, open_snapshot
from fleetwear.store.connection import connect
from fleetwear.store.migrations import migrate, migrations
from pipelines import backtest

MADE_AT = datetime(2026, 11, 20, 6, 0)


def invoke(*arguments):
    return CliRunner().invoke(cli.app, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def store(make_fleet):
    return make_fleet(fleet())


@pytest.fixture(scope="module")
def done(store):
    return invoke("backtest", "--store", store, "--dates", "2025-12-01,2024-12-01,2026-03-01", "--format", "json")


def test_figures_go_to_standard_output_and_words_to_standard_error(done):
    assert done.exit_code == 0, done.output
    rows = pd.read_json(StringIO(done.stdout))
    assert list(rows.columns) == ["scope", "measure", "forecast", "share_of_limit", "straight_line", "n"]
    flags = rows[(rows["measure"] == "flags") & (rows["scope"] == "all")].iloc[0]
    assert flags["forecast"] == flags["share_of_limit"] == flags["straight_line"]
    assert "next readings were forecast" in done.stderr
    assert "1 case was lost to a part replaced or adjusted before being read again" in done.stderr
    assert "page Model check" in done.stderr


def test_the_result_is_published_and_dates_that_cannot_be_scored_say_why(done, store):
    con = open_snapshot(store)
    check = read_backtest(con)
    con.close()
    assert [f"{day:%Y-%m-%d}" for day in check.dates["as_of"]] == ["2024-12-01", "2025-12-01", "2026-03-01"]
    assert check.dates["n_cases"].iloc[1] == 12
    assert check.dates["n_repeats"].iloc[2] == 12
    for row in check.dates.itertuples():
        assert (row.skipped != "") == (row.n_cases + row.n_repeats == 0)


def test_forms_and_default_dates(store):
    table = invoke("backtest", "--store", store)
    assert table.exit_code == 0, table.output
    assert "Crossings missed" in table.stdout
    again = invoke("backtest", "--store", store, "--from", "2025-05-15", "--every-months", "7", "--format", "csv")
    assert again.exit_code == 0, again.output
    assert pd.read_csv(StringIO(again.stdout))["scope"].isin(["all", "ball joint"]).all()
    con = open_snapshot(store)
    assert [f"{day:%Y-%m-%d}" for day in read_backtest(con).dates["as_of"]] == ["2025-05-15", "2025-12-15"]
    con.close()


def test_the_nightly_run_checks_only_when_asked(make_fleet):
    store = make_fleet(fleet())
    for options, made in (((), False), (("--backtest",), True)):
        done = invoke("forecast", "--as-of", "2026-06-01", "--store", store, *options)
        assert done.exit_code == 0, done.output
        con = open_snapshot(store)
        assert (read_backtest(con) is not None) == made
        con.close()


def test_days_that_are_none_are_not_understood(store):
    refused = invoke("backtest", "--store", store, "--dates", "2025-12-01,soon")
    assert refused.exit_code == 2
    assert "write days like 2026-01-01" in " ".join(refused.stderr.replace("│", " ").split())


def test_days_outside_the_record_are_told(store):
    refused = invoke("backtest", "--store", store, "--dates", "2027-01-01")
    assert isinstance(refused.exception, InputError)
    assert "from 2024-11-01, the first reading" in str(refused.exception)


def test_when_no_date_can_be_scored_the_reasons_are_told(make_fleet):
    tables = fleet()
    head, *rows = tables["readings"].splitlines()
    tables["readings"] = "\n".join([head, *(row for row in rows if row.startswith(("A1,", "A2,")))])
    tables["work"] = tables["work"].splitlines()[0] + "\nA3,2024-01-01,1000,left front lower ball joint,greased"
    refused = invoke("backtest", "--store", make_fleet(tables), "--dates", "2024-12-01,2025-06-01")
    assert isinstance(refused.exception, InputError)
    assert str(refused.exception).count("enough readings") == 2


def test_numbers_are_plain_json(done):
    assert all(isinstance(row["n"], int) for row in json.loads(done.stdout))


def test_a_store_from_before_there_were_backtests_gets_their_tables(store, tmp_path):
    old = Store(tmp_path)
    con = connect(old.file, read_only=False)
    migrate(con, steps=migrations()[:1])
    con.execute(f"attach '{store / 'store.duckdb'}' as new (read_only)")
    names = con.execute(
        "select table_name from duckdb_tables() where database_name = current_database() and table_name not like "
        "'schema%' and not regexp_matches(table_name, '^(fit|forecast|posterior|backtest|effect)') order by table_oid"
    ).fetchall()
    for (name,) in names:
        of_table = (
            "select column_name from duckdb_columns() where table_name = ? and database_name = current_database()"
        )
        columns = [column for (column,) in con.execute(of_table, [name]).fetchall()]
        con.execute(f"insert into {name} by name select {', '.join(columns)} from new.{name}")
    con.close()
    done = invoke("backtest", "--store", tmp_path, "--dates", "2025-12-01")
    assert done.exit_code == 0, done.output
    with old.reader() as con:
        assert read_backtest(con).dates["n_cases"].tolist() == [12]


WRITE = """
import sys
from pathlib import Path
from fleetwear.store import Store
with Store(Path(sys.argv[1])).writer(wait_seconds=0.2) as con:
    con.execute("update vehicles set depot = 'Harbour' where unit = 'A0'")
"""


def test_others_can_write_while_a_date_is_fitted(make_fleet):
    folder = make_fleet(fleet())
    told = []

    def on_progress(words, done, total):
        if not told:
            told.append((words, subprocess.run([sys.executable, "-c", WRITE, str(folder)]).returncode))

    backtest.run(folder, made_at=MADE_AT, dates=[date(2025, 12, 1)], on_progress=on_progress)
    assert told == [(told[0][0], 0)]
    assert told[0][0].startswith("2025-12-01")
    with Store(folder).reader() as con:
        assert con.execute("select depot from vehicles where unit = 'A0'").fetchall() == [("Harbour",)]
        assert read_backtest(con) is not None
