"""Files pass through the inbox: killed, at once, altered, of an earlier schema, backed up; every row once."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
import zipfile
from datetime import date
from pathlib import Path

import pytest

from fleetwear.errors import StoreError
from fleetwear.store import Store
from fleetwear.store.backups import backup, restore
from fleetwear.store.connection import connect
from fleetwear.store.inbox import Damage, Inbox
from fleetwear.store.migrations import migrate, migrations
from fleetwear.store.verifying import verify
from pipelines import load

SCRIPT = Path(__file__).with_name("kill_loading.py")
TODAY = date(2026, 11, 20)
TABLES = {
    "vehicles": "unit,model\nA1,Alpha\n",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint\n",
}


def rows(folder, query):
    with Store(folder).reader() as con:
        return con.execute(query).fetchall()


def test_killed_loads_end_as_peaceful_ones(tmp_path):
    done = subprocess.run([sys.executable, SCRIPT, tmp_path, "5"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    figures = json.loads(done.stdout)
    assert figures["kills"] >= 5
    assert figures["rows a store"]["readings"] == 18
    assert figures["rows a store"]["quarantine"] == 2


def test_what_lies_in_the_inbox_is_taken_once(make_store, tmp_path):
    folder = make_store(TABLES)
    file = tmp_path / "more.csv"
    file.write_text("unit,model\nA2,Alpha\n")
    with Inbox(folder).deliver([file], by="a form") as (entry,):
        assert load.run(folder, [], TODAY) == [], "its process is alive and takes it itself"
    notes = []
    (summary,) = load.run(folder, [], TODAY, on_note=notes.append)
    assert (summary.file, summary.rows_in) == ("more.csv", 1)
    assert "more.csv" in notes[0]
    assert load.run(folder, [], TODAY) == []
    before = rows(folder, "select * from inbox_entries order by all")
    assert [row[0] for row in before].count(entry.entry) == 1
    (again,) = load.run(folder, [file], TODAY)
    assert (again.rows_in, again.rows_known) == (0, 1)
    assert rows(folder, "select * from inbox_entries order by all") == before
    assert not verify(folder).wrong


def test_damaged_entries_are_named_and_left(make_store, tmp_path):
    folder = make_store(TABLES)
    inbox = Inbox(folder)
    for name in ("x", "y"):
        (tmp_path / f"{name}.csv").write_text(f"unit,model\n{name},Alpha\n")
    with inbox.deliver([tmp_path / "x.csv", tmp_path / "y.csv"], by="a form") as (x, y):
        pass
    inbox.content(x).write_text("unit,model\nz,Alpha\n")
    (inbox.folder / y.entry / "manifest.json").unlink()
    notes = []
    assert load.run(folder, [], TODAY, on_note=notes.append) == []
    assert "altered" in notes[0]
    assert "manifest is missing" in notes[1]
    assert isinstance(inbox.check(x.entry), Damage)
    assert len(verify(folder).wrong) == 2
    assert {x.entry, y.entry} <= set(inbox.names())


def test_damage_says_how_it_is_mended_and_loading_the_file_again_mends_it(make_store, tmp_path):
    folder = make_store(TABLES)
    inbox = Inbox(folder)
    files = [tmp_path / "files" / "vehicles.csv", tmp_path / "files" / "positions.csv"]
    first, second = inbox.names()
    inbox.content(inbox.check(first)).write_text("unit,model\nZ9,Alpha\n")
    shutil.rmtree(inbox.folder / second)
    (tmp_path / "late.csv").write_text("unit,model\nA2,Alpha\n")
    with inbox.deliver([tmp_path / "late.csv"], by="a form") as (waiting,):
        (inbox.folder / waiting.entry / "manifest.json").write_text("{")
    wrong = verify(folder).wrong
    assert len(wrong) == 3
    assert sum("Its rows are in the store: load its file again" in text for text in wrong) == 2
    assert sum("its rows are not in the store" in text for text in wrong) == 1
    load.run(folder, files, TODAY)
    found = verify(folder)
    assert len(found.wrong) == 1
    assert sum("is a whole copy of its file" in text for text in found.remarks) == 2


def test_files_that_lie_about_in_the_inbox_are_no_damage(make_store):
    folder = make_store(TABLES)
    for name in (".DS_Store", "stray.csv"):
        (folder / "inbox" / name).write_text("x")
    notes = []
    assert load.run(folder, [], TODAY, on_note=notes.append) == []
    assert notes == []
    found = verify(folder)
    assert found.wrong == ()
    assert found.remarks == ("Inbox: stray.csv is no delivery; load it with `fleetwear load`.",)


def test_a_refused_file_is_kept_and_not_waiting(make_store, tmp_path):
    folder = make_store(TABLES)
    (tmp_path / "odd.csv").write_text("colour,taste\nred,sweet\n")
    with pytest.raises(Exception, match=r"odd\.csv"):
        load.run(folder, [tmp_path / "odd.csv"], TODAY)
    assert load.run(folder, [], TODAY) == []
    assert rows(folder, "select original_name from inbox_entries where refused is not null") == [("odd.csv",)]


def test_an_earlier_schema_is_copied_before_it_is_brought_up_to_date(tmp_path):
    con = connect(tmp_path / "store.duckdb", read_only=False)
    migrate(con, steps=migrations()[:4])
    con.close()
    (tmp_path / "store.schema-0004.20260101T000000000000Z.duckdb.unfinished").write_bytes(b"cut off")
    with Store(tmp_path).writer() as con:
        assert con.execute("select count(*) from inbox_entries").fetchall() == [(0,)]
    (kept,) = tmp_path.glob("store.schema-0004.*.duckdb")
    con = connect(kept, read_only=True)
    assert con.execute("select max(number) from schema_migrations").fetchall() == [(4,)]
    con.close()
    with Store(tmp_path).writer():
        pass
    assert len(list(tmp_path.glob("store.schema-*"))) == 1


def test_a_backup_comes_back_and_nothing_is_overwritten(make_store, tmp_path):
    folder = make_store(TABLES)
    file = tmp_path / "b.zip"
    backup(folder, file)
    with pytest.raises(StoreError, match="such a file already"):
        backup(folder, file)
    with pytest.raises(StoreError, match="not empty"):
        restore(file, folder)
    aside = restore(file, folder, replace=True)
    for place in (folder, aside):
        assert rows(place, "select unit from vehicles") == [("A1",)]
        assert not verify(place).wrong
    damaged = tmp_path / "d.zip"
    damaged.write_bytes(file.read_bytes().replace(b"A1,Alpha", b"A9,Alpha"))
    with pytest.raises(StoreError, match="cannot be restored"):
        restore(damaged, tmp_path / "elsewhere")
    assert not (tmp_path / "elsewhere").exists()


def test_a_backup_goes_to_a_disk_that_knows_no_second_names(make_store, tmp_path, monkeypatch):
    folder = make_store(TABLES)

    def refused(*_):
        raise PermissionError(1, "Operation not permitted")  # what FAT and exFAT answer, link(2)

    monkeypatch.setattr("os.link", refused)
    backup(folder, tmp_path / "b.zip")
    assert restore(tmp_path / "b.zip", tmp_path / "elsewhere") is None
    assert rows(tmp_path / "elsewhere", "select unit from vehicles") == [("A1",)]
    assert not list(tmp_path.glob("*.unfinished"))


@pytest.mark.parametrize("error", [EOFError(), RuntimeError("encrypted"), NotImplementedError("packed otherwise")])
def test_whatever_a_damaged_archive_raises_is_told(make_store, tmp_path, monkeypatch, error):
    folder = make_store(TABLES)
    backup(folder, tmp_path / "b.zip")

    def broken(*_, **__):
        raise error

    monkeypatch.setattr("zipfile.ZipFile.open", broken)
    with pytest.raises(StoreError, match=r"b\.zip: the backup cannot be restored"):
        restore(tmp_path / "b.zip", tmp_path / "elsewhere")
    assert not list(tmp_path.glob("*.unfinished"))


def test_a_backup_of_a_newer_program_is_told_of_its_file(make_store, tmp_path):
    folder = make_store(TABLES)
    with Store(folder).writer() as con:
        con.execute(
            "insert into schema_migrations (number, name, applied_at) "
            "select max(number) + 1, 'later', max(applied_at) from schema_migrations"
        )
        con.execute("checkpoint")
    archive = tmp_path / "b.zip"
    with zipfile.ZipFile(archive, "w") as made:
        data = (folder / "store.duckdb").read_bytes()
        made.writestr("store.duckdb", data)
        member = {"name": "store.duckdb", "size": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        made.writestr("manifest.json", json.dumps({"kind": "fleetwear backup", "members": [member]}))
    with pytest.raises(StoreError) as caught:
        restore(archive, tmp_path / "elsewhere")
    assert caught.value.where == str(archive)


def test_lost_and_orphan_rows_are_found(make_store):
    folder = make_store(TABLES)
    assert not verify(folder).wrong
    with Store(folder).writer() as con:
        con.execute("delete from positions")
        con.execute("update loads set rows_quarantined = 1 where table_name = 'vehicles'")
        con.execute(
            "insert into odometer (vehicle_id, entry_date, odometer_km, event, load_id, source_row, row_key) "
            "select 55, '2026-01-01', 10.0, 'reading', max(load_id), 1, 'k' from loads"
        )
    told = " ".join(verify(folder).wrong)
    assert "1 rows of odometer name a vehicle_id that is not among the vehicles" in told
    assert "brought 1 rows and 0 are there" in told
    assert "refused 1 and 0 are in quarantine" in told


def test_a_reading_taken_in_twice_or_without_its_visit_is_found(make_store):
    folder = make_store(TABLES)
    with Store(folder).writer() as con:
        con.execute(
            "insert into reading_rows (reading_id, visit_id, vehicle_id, position_id, way_id, session, stroke, result, "
            "load_id, source_row, row_key) select 8, 77, v.vehicle_id, p.position_id, 99, 1, 1, "
            "'none seen', p.load_id, twice, 'the same' from vehicles as v, positions as p, range(2) as t (twice)"
        )
    told = " ".join(verify(folder).wrong)
    assert "2 readings, from number 8 to 8, are one row of a file: they have the key the same." in told
    assert "2 readings have the number 8." in told
    assert "2 rows of reading_rows name a visit_id that is not among the visits" in told
    assert "2 rows of reading_rows name a way_id that is not among the reading_ways" in told
