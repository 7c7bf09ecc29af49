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


def test_a_snapshot_is_the_whole_store(store):
    add_fit(store, "one")
    publish(store)
    with store.reader() as con:
        expected = (
            con.execute("select table_name, sql from duckdb_tables() order by table_name").fetchall(),
            con.execute("select view_name from duckdb_views() where not internal").fetchall(),
        )
    copy = open_snapshot(store.folder)
    got = (
        copy.execute("select table_name, sql from duckdb_tables() order by table_name").fetchall(),
        copy.execute("select view_name from duckdb_views() where not internal").fetchall(),
    )
    copy.close()
    assert got == expected


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
