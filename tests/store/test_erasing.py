"""A person's name is erased on request: nowhere in the store's folder, and all numbers as they were."""

from __future__ import annotations

import json
from datetime import date, datetime

import pytest
import xlsxwriter

from fleetwear.errors import InputError
from fleetwear.intake import list_quarantine
from fleetwear.intake.sheets import read_sheets
from fleetwear.store import Store, publish
from fleetwear.store.erasing import erase_person
from fleetwear.store.inbox import Inbox
from fleetwear.store.rewriting_files import Name, without_name
from fleetwear.store.verifying import verify
from pipelines import load

TODAY = date(2026, 11, 20)
NAME = "Zoé Quux-Nobody"
JOINT = "left front lower ball joint"
TABLES = {
    "vehicles": f"unit,model,owner,depot\nA1,Alpha,{NAME},Harbour",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint",
    "visits": "unit,visit date,odometer (km),technician,complaint\n"
    f'A1,2024-02-10,2000,{NAME.upper()},"clunk; ask {NAME}, or not"',
    "readings": f"unit,visit date,odometer (km),technician,joint,direction,play\n"
    f"A1,2024-02-10,2000,{NAME},{JOINT},in-out,20 thou",
    f"work of {NAME}": f"unit,work date,odometer (km),joint,work,reason\nA1,2024-03-01,2900,{JOINT},replaced,x",
}
MAP = f"""
table = "visits"
delimiter = ";"
[columns]
unit = "Truck"
"visit date" = "Day"
odometer = "Clock"
technician = "By"
[constants]
shop = "Bay of {NAME}"
[units]
odometer = "km"
[words.technician]
"the other" = "{NAME.upper()}"  # {NAME.replace("é", chr(92) + "u00e9")} said so
"""
NUMBERS = "select reading_id, visit_id, session, stroke, play_mm, row_key from readings order by 1"


def holding(folder, name=NAME):
    """Return the files that hold the name, in any case, in their bytes or their own name."""
    wanted = [form.encode() for form in (name, name.upper(), name.lower())]
    return [
        path
        for path in folder.rglob("*")
        if name.lower() in path.name.lower() or (path.is_file() and any(form in path.read_bytes() for form in wanted))
    ]


def rows(folder, query):
    with Store(folder).reader() as con:
        return con.execute(query).fetchall()


@pytest.fixture
def folder(make_store, tmp_path):
    folder = make_store(TABLES)
    bad = tmp_path / "bad.csv"
    bad.write_text(
        f'unit,visit date,odometer (km),technician\nZ9,2024-02-10,2000,"{NAME}"\nA1,2024-06-01,"{NAME}",T1\n'
    )
    book = tmp_path / "book.xlsx"
    with xlsxwriter.Workbook(book) as workbook:
        sheet = workbook.add_worksheet()
        bold = workbook.add_format({"bold": True})
        for i, row in enumerate((["unit", "visit date", "odometer (km)", "technician"], ["A1", "2024-05-01", "5000"])):
            for j, cell in enumerate(row):
                sheet.write(i, j, cell)
        sheet.write_rich_string(1, 3, bold, NAME[:6], NAME[6:])
    corrections = tmp_path / "c.csv"
    corrections.write_text(f"table,number,change,why,by\nreading,1,play=18 thou; technician={NAME},slip,{NAME}\n")
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(f"Truck;Day;Clock;By\nA1;2024-07-01;7000;{NAME}\nA1;2024-08-01;8000;the other\n")
    (tmp_path / f"map of {NAME}.toml").write_text(MAP, encoding="utf-8")
    load.run(folder, [bad, book, corrections], TODAY)
    (taken,) = load.run(folder, [sheet], TODAY, columns=tmp_path / f"map of {NAME}.toml")
    assert taken.rows_in == 2
    for _ in range(2):
        publish(Store(folder))
    return folder


def test_the_name_is_nowhere_and_the_numbers_are_as_they_were(folder):
    before, snapshots = rows(folder, NUMBERS), list((folder / "snapshots").glob("*.duckdb"))
    assert len(holding(folder)) > 5
    done = erase_person(folder, NAME.lower(), by=NAME, why=f"asked by {NAME}")
    assert holding(folder) == []
    assert done.left == ()
    assert done.snapshots_removed == len(snapshots)
    assert len(list((folder / "snapshots").glob("*.duckdb"))) == 1
    assert rows(folder, NUMBERS) == before
    assert rows(folder, "select owner from vehicles") == [(done.code,)]
    assert rows(folder, "select distinct technician from readings") == [(done.code,)]
    assert rows(folder, "select complaint from visit_notes order by 1")[0] == (f"clunk; ask {done.code}, or not",)
    assert rows(folder, "select corrected_by, changes from corrections") == [
        (done.code, f"play=18 thou; technician={done.code}")
    ]
    with Store(folder).reader() as con:
        refused = list_quarantine(con)
    assert json.loads(refused["cells"][0])["technician"] == done.code
    assert any(done.code in reason for reason in refused["reasons"][1])
    assert rows(folder, "select erased_by, why from erasures") == [(done.code, f"asked by {done.code}")]
    assert not verify(folder).wrong
    maps = []
    for name in Inbox(folder).names():
        entry = Inbox(folder).check(name)
        assert entry.rewritten == () or entry.rewritten[-1][1] == entry.sha256
        maps += [] if entry.columns_sha256 is None else [(entry, Inbox(folder).columns(entry).read_text())]
    ((entry, text),) = maps
    assert entry.columns_name == f"map of {done.code}.toml"
    assert text == MAP.replace(NAME.upper(), done.code).replace(NAME, done.code).replace(
        NAME.replace("é", chr(92) + "u00e9"), done.code
    )
    steps = json.loads(rows(folder, "select steps from (select entries::varchar as steps from erasures)")[0][0])
    assert [step["columns_to_sha256"] for step in steps if "columns_to_sha256" in step] == [entry.columns_sha256]
    assert rows(folder, "select distinct shop from visit_details where shop is not null") == [(f"Bay of {done.code}",)]


def test_what_comes_after_goes_on_as_before(folder, tmp_path):
    erase_person(folder, NAME, by="T2", why="asked")
    assert load.run(folder, [], TODAY) == []
    (tmp_path / "more.csv").write_text("unit,model\nA2,Alpha\n")
    assert load.run(folder, [tmp_path / "more.csv"], TODAY)[0].rows_in == 1
    ids = rows(folder, "select vehicle_row_id, load_id from vehicles order by 1")
    assert ids[1][0] == ids[0][0] + 1
    assert load.run(folder, [tmp_path / "files" / "readings.csv"], TODAY)[0].rows_known == 1
    with pytest.raises(InputError, match="stands nowhere"):
        erase_person(make_empty(tmp_path), NAME, by="T2", why="asked")
    assert not verify(folder).wrong


def test_a_copy_of_an_earlier_schema_that_was_cut_off_holds_no_name_either(folder):
    cut_off = folder / "store.schema-0015.20260101T000000000000Z.duckdb.unfinished"
    content = (folder / "store.duckdb").read_bytes()
    cut_off.write_bytes(content[: len(content) // 2])
    assert erase_person(folder, NAME, by="T2", why="asked").left == ()
    assert not cut_off.exists()


def make_empty(tmp_path):
    (tmp_path / "v.csv").write_text("unit,model\nA2,Alpha\n")
    load.run(tmp_path / "other", [tmp_path / "v.csv"], TODAY)
    return tmp_path / "other"


def test_a_replay_of_the_rewritten_files_gives_the_same_rows(folder, tmp_path):
    erase_person(folder, NAME, by="T2", why="asked")
    inbox = Inbox(folder)
    for entry in map(inbox.look, inbox.names()):
        load.run(tmp_path / "replayed", [inbox.content(entry)], TODAY, columns=inbox.columns(entry))
    for query in (
        "select visit_date, odometer_km, technician from visit_details order by all",
        "select play_mm, technician, session, stroke from readings order by all",
        "select unit, owner from vehicles",
        "select cells::varchar, reasons from quarantine order by all",
    ):
        assert rows(tmp_path / "replayed", query) == rows(folder, query)


def test_an_erasure_that_was_cut_off_goes_on_with_its_code(folder, monkeypatch):
    from fleetwear.store import erasing

    def cut(*_, **__):
        raise OSError("the disk is gone")

    with monkeypatch.context() as patched:
        patched.setattr(erasing, "_swap_store", cut)
        with pytest.raises(Exception, match="not erased everywhere yet"):
            erase_person(folder, NAME, by="T2", why="asked")
    (code,) = {json.loads((folder / "erasing.json").read_text())["code"]}
    done = erase_person(folder, NAME, by="T2", why="asked")
    assert done.code == code
    assert holding(folder) == []
    assert not verify(folder).wrong


def test_a_map_that_alone_holds_the_name_is_rewritten_and_its_file_stays(folder, tmp_path):
    other = "Ann Other-Nobody"
    sheet = tmp_path / "more.csv"
    sheet.write_text("Truck;Day;Clock;By\nA1;2024-09-01;9000;somebody\n")
    (tmp_path / "more.toml").write_text(MAP.replace(NAME, other).replace(NAME.upper(), other) + f"# {other}\n")
    load.run(folder, [sheet], TODAY, columns=tmp_path / "more.toml")
    erase_person(folder, other, by="T2", why="asked")
    assert holding(folder, other) == []
    (entry,) = [one for one in map(Inbox(folder).check, Inbox(folder).names()) if one.original_name == "more.csv"]
    assert Inbox(folder).content(entry).read_bytes() == sheet.read_bytes()
    assert not verify(folder).wrong


def test_drafts_of_visits_are_rewritten_too_and_double_nothing_when_handed_over_again(folder):
    from fleetwear.recording import Drafts, Visit, record_draft

    now = datetime(2026, 11, 20, 9)
    drafts = Drafts(folder)
    begun = [drafts.begin({"unit": "A1", "technician_other": NAME}, now=now).draft for _ in range(2)]
    visit = Visit(unit="A1", visit_date=TODAY, odometer="9900", technician=NAME)
    first = record_draft(folder, begun[0], visit, today=TODAY, now=now)
    assert first.taken
    code = erase_person(folder, NAME, by="T2", why="asked").code
    assert holding(folder) == []
    assert drafts.read(begun[1]).fields["technician_other"] == code
    again = record_draft(folder, begun[0], visit, today=TODAY, now=now)
    assert (again.rows_in, again.rows_known, again.refused) == (0, first.rows_in, ())


def test_words_that_numbers_hang_on_are_not_erased(folder):
    before = rows(folder, NUMBERS)
    for name in ("Alpha", "Harbour", "a1", "ball", "x"):
        with pytest.raises(InputError):
            erase_person(folder, name, by="T2", why="asked")
    assert rows(folder, NUMBERS) == before
    assert holding(folder)


def test_files_of_every_kind(tmp_path):
    name = Name("T. Nobody", "person-1")
    assert without_name(b"T. Nobody,x\nT. Nobodyson\n", name) == b"person-1,x\nT. Nobodyson\n"
    assert without_name("\ufefft.  NOBODY;ü".encode("utf-16"), name).decode("utf-16").endswith("person-1;ü")
    assert without_name("T. Nobody ü".encode("cp1252"), name) == "person-1 ü".encode("cp1252")
    book = tmp_path / "b.xlsx"
    with xlsxwriter.Workbook(book) as workbook:
        workbook.add_worksheet().write_column(0, 0, ["unit", "T. Nobody", "& T. Nobody"])
    book.write_bytes(without_name(book.read_bytes(), name))
    (sheet,) = read_sheets(book)
    assert sheet.cells.column(0).to_pylist() == ["person-1", "& person-1"]
