from __future__ import annotations

import pytest

from fleetwear.errors import StoreError
from fleetwear.store import Store
from fleetwear.store.connection import connect
from fleetwear.store.migrations import Migration, migrate, migrations, schema_version


def test_a_new_store_has_every_step_recorded_once(tmp_path):
    store = Store.create_or_open(tmp_path / "store")
    Store.create_or_open(tmp_path / "store")
    with store.reader() as con:
        recorded = con.execute("select number, name from schema_migrations order by number").fetchall()
    assert recorded == [(step.number, step.name) for step in migrations()]


def test_steps_are_numbered_without_gaps():
    assert [step.number for step in migrations()] == list(range(1, len(migrations()) + 1))


def test_a_failing_step_leaves_nothing_behind(tmp_path):
    con = connect(tmp_path / "x.duckdb", read_only=False)
    good = Migration(1, "good", "create table a (i integer)")
    bad = Migration(2, "bad", "create table b (i integer); create table a (i integer)")
    with pytest.raises(StoreError, match=r"step 2 \(bad\) failed"):
        migrate(con, steps=(good, bad))
    assert schema_version(con) == 1
    tables = {row[0] for row in con.execute("select table_name from duckdb_tables()").fetchall()}
    assert tables == {"a", "schema_migrations"}
    assert migrate(con, steps=(good, Migration(2, "mended", "create table b (i integer)"))) == 2
    con.close()


@pytest.mark.parametrize("how", ["writer", "reader", "create_or_open"])
def test_a_newer_store_is_refused_in_words(tmp_path, how):
    store = Store.create_or_open(tmp_path)
    with store.writer() as con:
        con.execute("insert into schema_migrations values (999, 'later', current_timestamp::timestamp)")

    def use():
        if how == "create_or_open":
            Store.create_or_open(tmp_path)
        with getattr(store, how)():
            pass

    with pytest.raises(StoreError, match=r"schema 999.*newer fleetwear"):
        use()
