from __future__ import annotations

import json
import subprocess
import sys
import textwrap

import pytest

from fleetwear.errors import StoreError
from fleetwear.store import Store, open_snapshot, publish, snapshot_number, snapshots
from fleetwear.store.connection import connect


@pytest.fixture
def store(tmp_path):
    return Store.create_or_open(tmp_path / "store")


def add_fit(store, version):
    with store.writer() as con:
        con.execute(
            "insert into fits (as_of, made_at, elapsed_seconds, version, settings) "
            "values ('2024-01-01', '2024-01-01', 1, ?, '{}')",
            [version],
        )


COLUMNS = (
    "select table_name, column_name, data_type from duckdb_columns() "
    "where schema_name = 'main' and not internal and database_name = current_database()"
)


def rows_of(con, table):
    return con.execute(f'select count(*) from "{table}"').fetchall()[0][0]


def versions(con):
    return [row[0] for row in con.execute("select version from fits order by fit_id").fetchall()]


def test_nothing_published_says_what_to_do(store):
    assert snapshot_number(store.folder) is None
    with pytest.raises(StoreError, match=r"nothing has been published.*fleetwear forecast"):
        open_snapshot(store.folder)


def test_the_pointer_moves_on_and_the_old_copy_stays_open(store):
    add_fit(store, "one")
    first = publish(store)
    assert (first.name, snapshot_number(store.folder)) == ("000001.duckdb", 1)
    old = open_snapshot(store.folder)
    add_fit(store, "two")
    publish(store)
    assert snapshot_number(store.folder) == 2
    assert versions(old) == ["one"]
    new = open_snapshot(store.folder)
    assert versions(new) == ["one", "two"]
    old.close()
    new.close()


def test_the_pointer_names_the_latest_forecast(store):
    add_fit(store, "one")
    with store.writer() as con:
        con.execute(
            "insert into forecasts (fit_id, as_of, made_at, elapsed_seconds, version, settings) "
            "values (1, '2024-01-01', '2024-01-01', 1, 'x', '{}')"
        )
    publish(store)
    said = json.loads((store.folder / "snapshots" / "current.json").read_text())
    assert (said["number"], said["file"], said["forecast_id"]) == (1, "000001.duckdb", 1)
    assert said["published_at"].endswith("+00:00")


def test_a_snapshot_has_every_record_and_of_fits_what_the_latest_forecast_goes_by(store):
    add_fit(store, "one")
    publish(store)
    with store.reader() as con:
        columns = set(con.execute(COLUMNS).fetchall())
        counted = {table: rows_of(con, table) for table, _, _ in columns}
    copy = open_snapshot(store.folder)
    got = set(copy.execute(COLUMNS).fetchall())
    missing = {table for table, _, _ in columns} - {table for table, _, _ in got}
    assert missing == {
        "fit_learnt", "fit_setups", "fit_vehicles", "forecast_sources", "own_fit_series", "own_posteriors",
        "own_fit_slips", "own_fit_residuals", "own_forecast_joints", "own_forecast_vehicles",
    }  # fmt: skip
    assert got == {column for column in columns if column[0] not in missing}
    assert {table: rows_of(copy, table) for table, _, _ in got} == {
        table: count for table, count in counted.items() if table not in missing
    }
    copy.close()


def test_old_snapshots_go_but_the_newest_stay(store):
    for _ in range(4):
        publish(store, keep=2)
    left = sorted(file.name for file in (store.folder / "snapshots").glob("*.duckdb"))
    assert left == ["000003.duckdb", "000004.duckdb"]


@pytest.mark.parametrize("step", ["_copy", "_sync", "_point_to"])
def test_a_crash_while_publishing_leaves_the_old_pointer(store, monkeypatch, step):
    add_fit(store, "one")
    publish(store)
    add_fit(store, "two")

    def crash(*args, **kwargs):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(snapshots, step, crash)
        with pytest.raises(KeyboardInterrupt):
            publish(store)
    con = open_snapshot(store.folder)
    assert versions(con) == ["one"]
    con.close()
    publish(store)
    con = open_snapshot(store.folder)
    assert versions(con) == ["one", "two"]
    con.close()


def test_a_damaged_pointer_is_like_none(store):
    publish(store)
    (store.folder / "snapshots" / "current.json").write_text('{"number"')
    assert snapshot_number(store.folder) is None


def test_a_snapshot_that_is_gone_says_so(store):
    publish(store).unlink()
    with pytest.raises(StoreError, match="cannot be opened"):
        open_snapshot(store.folder)


def test_the_snapshot_is_read_while_another_process_writes(store):
    add_fit(store, "one")
    publish(store)
    hold = textwrap.dedent("""
        import sys
        from pathlib import Path
        from fleetwear.store import Store
        with Store(Path(sys.argv[1])).writer() as con:
            con.execute("begin")
            con.execute("delete from fits")
            print("writing", flush=True)
            sys.stdin.readline()
    """)
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(store.folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout.readline() == "writing\n"
        con = open_snapshot(store.folder)
        assert versions(con) == ["one"]
        con.close()
        process.stdin.close()
        process.wait(timeout=20)


def test_a_folder_that_cannot_be_made_is_told_in_words(store):
    (store.folder / "snapshots").write_text("in the way")
    with pytest.raises(StoreError, match=r"snapshot cannot be written.*the old snapshot stands"):
        publish(store)


def test_a_snapshot_of_an_earlier_program_says_what_to_do(store):
    file = publish(store)
    con = connect(file, read_only=False)
    con.execute("delete from schema_migrations where number > 1")
    con.close()
    with pytest.raises(StoreError, match=r"has schema 1.*fleetwear forecast"):
        open_snapshot(store.folder)
