from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from fleetwear.errors import StoreError
from fleetwear.store import Store, default_store_dir, demo_store_dir, sql

HOLD = textwrap.dedent("""
    import sys
    from pathlib import Path
    from fleetwear.store import Store
    with Store(Path(sys.argv[1])).writer() as con:
        print("holding", flush=True)
        sys.stdin.readline()
""")


@pytest.fixture
def store(tmp_path):
    return Store.create_or_open(tmp_path / "store")


@pytest.fixture
def held(store):
    """Another process that has the store open for writing until a line comes."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(store.folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout.readline() == "holding\n"
        yield process
        process.stdin.close()
        process.wait(timeout=20)


def test_the_folder_comes_from_the_environment_or_home(monkeypatch):
    monkeypatch.delenv("FLEETWEAR_STORE", raising=False)
    assert default_store_dir() == Path.home() / ".fleetwear" / "store"
    monkeypatch.setenv("FLEETWEAR_STORE", "~/elsewhere")
    assert default_store_dir() == Path.home() / "elsewhere"
    assert demo_store_dir() == Path.home() / ".fleetwear" / "demo"


@pytest.mark.parametrize("how", ["writer", "reader"])
def test_a_missing_store_says_what_to_do(tmp_path, how):
    with (
        pytest.raises(StoreError, match=r"no store here yet.*fleetwear demo"),
        getattr(Store(tmp_path), how)(),
    ):
        pass
    assert list(tmp_path.iterdir()) == []


def test_no_connection_reaches_for_extensions(store):
    for how in (store.writer, store.reader):
        with how() as con:
            settings = con.execute(
                "select current_setting('autoinstall_known_extensions'), current_setting('autoload_known_extensions')"
            ).fetchall()
        assert settings == [(False, False)]


def test_a_reader_cannot_write(store):
    import duckdb

    with store.reader() as con, pytest.raises(duckdb.InvalidInputException, match="read-only"):
        con.execute("create table t (i integer)")


@pytest.mark.parametrize("how", ["writer", "reader"])
def test_a_store_that_stays_locked_is_given_up_in_words(store, held, how):
    told = []
    with (
        pytest.raises(StoreError, match=r"open for 0.3 seconds.*nothing was changed"),
        getattr(store, how)(wait_seconds=0.3, on_wait=lambda: told.append(1)),
    ):
        pass
    assert told == [1]


def test_the_writer_waits_for_the_other_to_finish(store, held):
    def let_go():
        held.stdin.write("\n")
        held.stdin.flush()

    with store.writer(wait_seconds=20, on_wait=let_go) as con:
        assert con.execute("select 1").fetchall() == [(1,)]


def test_a_file_that_is_no_store_is_refused_in_words(tmp_path):
    (tmp_path / "store.duckdb").write_text("not a database at all, " * 500)
    with pytest.raises(StoreError, match="cannot be opened"):
        Store.create_or_open(tmp_path)


def test_a_query_is_found_by_name():
    with pytest.raises(FileNotFoundError):
        sql("no_such_query")


def test_a_connection_keeps_to_some_memory(store):
    """Sorting a large fleet's tables goes to disk, whatever the machine has."""
    with store.writer() as con:
        said = con.execute("select current_setting('memory_limit')").fetchall()[0][0]
    amount, unit = said.split()
    assert float(amount) * {"MiB": 2**20, "GiB": 2**30}[unit] < 3.1e9
