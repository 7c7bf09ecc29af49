"""Sheets with other headers, dialects and shapes, read with a column map."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest
import xlsxwriter
from typer.testing import CliRunner

from fleetwear.cli import app
from fleetwear.errors import InputError, UnitError
from fleetwear.intake import load_files, take_files
from fleetwear.intake.column_maps import read_map
from fleetwear.intake.columns import BY_NAME
from fleetwear.intake.notation import Notation
from fleetwear.store.inbox import Inbox

TODAY = date(2024, 6, 1)
LOADED_AT = datetime(2024, 6, 1, 12, 0)

WIDE_MAP = """
table = "readings"
header_rows = [2, 3]
delimiter = ";"
decimal = ","
dates = "dd.mm.yyyy"
encoding = "latin-1"
blank = ["-"]

[columns]
unit = "Fahrzeug"
"visit date" = "Datum"
odometer = "Stand"

[constants]
method = "lever under tyre"

[units]
odometer = "km"
play = "mm"

[readings]
"Führung links innen" = { joint = "left front lower ball joint", direction = "in-out" }
"Führung links längs" = { joint = "left front lower ball joint", direction = "fore-aft" }
"Führung rechts innen" = { joint = "right front lower ball joint", direction = "in-out" }
"""
WIDE = """Werkstatt Nord;;;;;;
;;;Führung links;;Führung rechts;
Fahrzeug;Datum;Stand;innen;längs;innen;Notiz
A1;02.03.2024;1000,5;0,25;-;0,3 mm;"zwei
Zeilen"
A2;3.3.2024;2000;0,5;none seen;x;
A2;04.04.2024;2400;-;;;nichts
Summe;;;0,75;;;
"""


def wide(bench, text=WIDE, columns=WIDE_MAP, name="nord"):
    (bench.folder / f"{name}.csv").write_bytes(text.encode("latin-1"))
    bench.write(f"{name}.columns.toml", columns)
    return bench.load(f"{name}.csv")


PLAYS = """select v.unit, d.visit_date::varchar, d.odometer_km, p.joint, r.direction, r.method, r.result, r.play_mm,
    r.source_row
from readings as r inner join visits as d on d.visit_id = r.visit_id
inner join vehicles as v on v.vehicle_id = r.vehicle_id inner join positions as p on p.position_id = r.position_id
order by r.reading_id"""
LEFT, RIGHT, LEVER = "left front lower ball joint", "right front lower ball joint", "lever under tyre"


def test_a_wide_sheet_with_two_header_rows_commas_and_latin_1(bench):
    summary = wide(bench)
    assert (summary.rows_read, summary.rows_in, summary.rows_quarantined) == (7, 4, 3)
    assert bench.rows(PLAYS) == [
        ("A1", "2024-03-02", 1000.5, LEFT, "in-out", LEVER, "measured", 0.25, 4),
        ("A1", "2024-03-02", 1000.5, RIGHT, "in-out", LEVER, "measured", 0.3, 4),
        ("A2", "2024-03-03", 2000.0, LEFT, "in-out", LEVER, "measured", 0.5, 5),
        ("A2", "2024-03-03", 2000.0, LEFT, "fore-aft", LEVER, "none seen", None, 5),
    ]
    (bad,), (empty,), (total,) = bench.reasons()
    assert bad.startswith("under 'Führung rechts innen': ")
    assert '"x" is not a plain number' in bad
    assert "no reading under any of" in empty
    assert "taken for a total" in total
    assert [row[0] for row in bench.rows("select source_row from quarantine order by 1")] == [5, 6, 7]
    assert summary.ignored == ("'Führung rechts Notiz'",)


def test_the_same_wide_sheet_again_changes_nothing_and_a_corrected_one_settles(bench):
    wide(bench)
    before = bench.dump()
    again = wide(bench)
    assert (again.rows_in, again.rows_known, again.rows_quarantined, again.settled) == (0, 4, 0, 0)
    assert bench.dump() == before
    mended = wide(bench, WIDE.replace(";x;", ";0,4;"))
    assert (mended.rows_in, mended.rows_known, mended.settled) == (1, 4, 1)


def test_a_workbook_with_merged_headers_blank_first_rows_formulas_errors_and_a_hidden_sheet(bench):
    path = bench.folder / "shop.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("2024")
        sheet.merge_range(2, 3, 2, 4, "Left")
        sheet.write(2, 5, "Right")
        sheet.write_row(3, 0, ["No", "Day", "km", "in-out", "fore-aft", "in-out"])
        for row, (unit, odometer) in enumerate([("A1", 1000), ("A2", 2000), ("A2", 2500)], start=4):
            sheet.write_row(row, 0, [unit, f"0{row}/03/2024", odometer])
        sheet.write_formula(4, 3, "=0.1+0.1", value=0.2)
        sheet.write_formula(4, 4, "=1/0", value="#DIV/0!")
        sheet.write_number(5, 5, 0.3)
        sheet.write_formula(6, 3, "=A1", value="")
        sheet.write_number(6, 5, 0.35)
        hidden = book.add_worksheet("old")
        hidden.write(0, 0, "x")
        hidden.hide()
    bench.write(
        "shop.columns.toml",
        """table = "readings"
header_rows = [3, 4]
dates = "dd/mm/yyyy"
columns = { unit = "No", "visit date" = "Day", odometer = "km" }
units = { odometer = "km", play = "mm" }
[readings]
"Left in-out" = { joint = "left front lower ball joint", direction = "in-out" }
"Left fore-aft" = { joint = "left front lower ball joint", direction = "fore-aft" }
"Right in-out" = { joint = "right front lower ball joint", direction = "in-out" }
""",
    )
    summary = bench.load("shop.xlsx")
    assert [row[1:4] + row[7:] for row in bench.rows(PLAYS)] == [
        ("2024-03-04", 1000.0, LEFT, 0.2, 5),
        ("2024-03-05", 2000.0, RIGHT, 0.3, 6),
        ("2024-03-06", 2500.0, RIGHT, 0.35, 7),
    ]
    (divided,), (not_calculated,) = bench.reasons()
    assert 'shows the error "#DIV/0!"' in divided
    assert 'shows the error "#NOT CALCULATED"' in not_calculated
    assert "sheet 'old' is hidden and was left out" in summary.remarks


def test_a_formula_that_was_never_calculated_is_refused(bench, tmp_path):
    import zipfile

    path = tmp_path / "raw.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("readings")
        sheet.write_row(0, 0, ["unit", "visit date", "odometer (km)", "joint", "direction", "play (mm)", "shop"])
        sheet.write_row(1, 0, ["A1", "2024-03-02", 1000, LEFT, "in-out", 0.25])
        sheet.write_formula(1, 6, "=B7")
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = "xl/worksheets/sheet1.xml"
    parts[name] = parts[name].replace(b"<f>B7</f><v>0</v>", b"<f>B7</f>")
    assert b"<f>B7</f></c>" in parts[name]
    with zipfile.ZipFile(bench.folder / "raw.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        for each, data in parts.items():
            archive.writestr(each, data)
    assert bench.load("raw.xlsx").rows_in == 0
    ((reason,),) = bench.reasons()
    assert "NOT CALCULATED" in reason


MAP = """table = "readings"
[columns]
unit = "No"
"visit date" = "Day"
odometer = "km"
joint = "What"
play = "mm"
[constants]
direction = "in-out"
[units]
odometer = "km"
play = "mm"
"""


@pytest.mark.parametrize(
    ("style", "cell", "expected"),
    [
        ("dd.mm.yyyy", "05.03.2024", "2024-03-05"),
        ("dd.mm.yyyy", "5.3.2024", "2024-03-05"),
        ("dd/mm/yyyy", "05/03/2024", "2024-03-05"),
        ("mm/dd/yyyy", "05/03/2024", "2024-05-03"),
        ("yyyy/mm/dd", "2024/05/03", "2024-05-03"),
        ("dd.mm.yyyy", "2024-03-05", "2024-03-05"),
        ("dd.mm.yyyy", "31.02.2024", None),
        ("dd.mm.yyyy", "05.03.24", None),
        ("dd.mm.yyyy", "05/03/2024", None),
        ("mm/dd/yyyy", "25/03/2024", None),
    ],
)
def test_dates_count_as_stated(style, cell, expected):
    said, wrong = Notation(dates=style).read(cell, BY_NAME["readings"].column("visit date"))
    if expected is None:
        assert "is not a date as the column map states them" in wrong
    else:
        assert (said, wrong) == (expected, None)


@pytest.mark.parametrize("cell", ["05/03/2024", "25.03.2024", "25/03/2024", "5-3-24"])
def test_dates_are_never_guessed(bench, cell):
    bench.write("x.columns.toml", MAP)
    assert bench.load("x.csv", f"No,Day,km,What,mm\nA1,{cell},1000,{LEFT},0.25\n").rows_in == 0
    assert "or state in a column map how its dates are written" in bench.reasons()[0][0]


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("0,5", "0.5"), ("0,5 thou", "0.5 thou"), ("12", "12"), (",5", ".5"), ("none seen", "none seen"),
        ("1,5e3", "1.5e3"),
        ("0.5", None), (".5", None), ("1.250,5", None), ("1,2,3", None), ("1.250", None), ("1'250", None),
    ],
)  # fmt: skip
def test_a_stated_decimal_comma(cell, expected):
    said, wrong = Notation(decimal=",").read(cell, BY_NAME["readings"].column("play"))
    if expected is None:
        assert "decimal comma" in wrong
    else:
        assert (said, wrong) == (expected, None)


def test_words_and_sides(bench):
    bench.write(
        "x.columns.toml",
        f'{MAP}[sides]\nleft = ["L", "links"]\nright = "R"\n'
        '[words.joint]\n"Kugel R" = "right front lower ball joint"\n[words.unit]\n"Lkw 1" = "A1"\n',
    )
    text = "No,Day,km,What,mm\n"
    text += "Lkw 1,2024-03-05,1000,L front lower ball joint,0.1\nA1,2024-03-05,1000,kugel r,0.2\n"
    text += "A1,2024-03-05,1000,front lower L-ball joint,0.3\n"
    bench.load("x.csv", text)
    assert bench.rows("select p.joint, play_mm from readings join positions as p using (position_id) order by 2") == [
        (LEFT, 0.1), (RIGHT, 0.2),
    ]  # fmt: skip
    assert '"front lower left-ball joint" is not a joint' in bench.reasons()[0][0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('table = "reading"', "no table 'reading'; nearest is 'readings'"),
        ("x = 1", "no setting 'x'"),
        ("", "'table' is missing"),
        ("table = [", "not TOML"),
        ('table = "readings"\n[columns]\nplays = "x"', "no column of readings 'plays'; nearest is 'play'"),
        ('table = "readings"\n[constants]\nmethod = "magic"', "'magic' is no method"),
        ('table = "readings"\n[columns]\nplay = "x"\n[constants]\nplay = "1 mm"', "'play' is said twice"),
        ('table = "readings"\n[units]\nplay = "km"', "unknown play unit 'km'"),
        ('table = "readings"\n[units]\nshop = "km"', "has no unit"),
        ('table = "readings"\ndates = "dd.mm.yy"', "dates is 'dd.mm.yy'"),
        ('table = "readings"\ndecimal = ";"', "decimal is ';'"),
        ('table = "readings"\nencoding = "ebcdic"', "encoding is 'ebcdic'"),
        ('table = "readings"\nheader_rows = [2, 4]', "header rows are"),
        ('table = "readings"\nheader_row = 0', "header rows are"),
        ('table = "readings"\ncolumns = 3', "no section"),
        ('table = "readings"\n[readings]\nLF = { direction = "in-out" }', "the joint is missing"),
        ('table = "readings"\n[readings]\nLF = { joint = "x", unit = "A1" }', "not said of single readings"),
        ('table = "visits"\n[readings]\nLF = { joint = "x" }', "map of visits"),
        ('table = "readings"\n[sides]\nupper = "x"', "sides has 'upper'"),
        ('table = "readings"\n[sides]\nleft = "x"\nright = "x"', "means no one side"),
    ],
)
def test_a_map_is_checked(tmp_path, text, says):
    path = tmp_path / "x.columns.toml"
    path.write_text(text)
    with pytest.raises((InputError, UnitError), match=says.replace("[", r"\[")) as caught:
        read_map(path)
    assert "x.columns.toml" in str(caught.value)
    assert caught.value.mend


@pytest.mark.parametrize(
    ("text", "columns", "says"),
    [
        ("No,Date,km,What,mm\n", MAP, "names the header 'Day', which is not there"),
        ("No,Day,km,What,mm\n", MAP.replace('joint = "What"\n', ""), "gives no 'joint'"),
        ("No,Day,km,What,play (thou)\n", MAP.replace('"mm"\n[con', '"play (thou)"\n[con'), "is in mm and the header"),
        ("No,Day,km,What,mm\n", f'{MAP}[words.joint]\nx = "left frnt ball joint"', "no vehicle has a joint 'left frnt"),
        ("No,Day,km,What,mm\n", f"header_row = 9\n{MAP}", "there is no row 9"),
    ],
)  # fmt: skip
def test_a_map_that_does_not_fit_its_file(module_bench, text, columns, says):
    bench = module_bench
    bench.write("x.columns.toml", columns)
    with pytest.raises(InputError, match=says.replace("(", r"\(")) as caught:
        bench.load("x.csv", text)
    assert "x.columns.toml" in str(caught.value)


def test_the_inbox_keeps_the_map_and_a_changed_map_is_a_new_delivery(bench):
    folder = bench.folder / "store"
    path = bench.write("x.csv", f"No,Day,km,What,mm\nA1,05/03/2024,1000,{LEFT},0.25\n")
    columns = bench.write("x.columns.toml", f'dates = "dd/mm/yyyy"\n{MAP}')
    take_files(folder, [path, columns], today=TODAY, loaded_at=LOADED_AT)
    inbox = Inbox(folder)
    (first,) = inbox.names()
    entry = inbox.check(first)
    assert inbox.columns(entry).read_text() == columns.read_text()
    take_files(folder, [path], today=TODAY, loaded_at=LOADED_AT)
    assert inbox.names() == [first]
    columns.write_text(f'dates = "mm/dd/yyyy"\n{MAP}')
    take_files(folder, [path], today=TODAY, loaded_at=LOADED_AT)
    assert len(inbox.names()) == 2
    dates = bench.rows("select visit_date::varchar from visits order by 1")
    assert dates == [("2024-03-05",), ("2024-05-03",)]
    inbox.columns(entry).write_text("altered")
    assert "column map is altered" in str(inbox.check(first))


def test_a_replay_of_the_inbox_gives_the_same_rows(two_benches):
    one, two = two_benches
    (one.folder / "nord.csv").write_bytes(WIDE.encode("latin-1"))
    columns = one.write("other name.toml", WIDE_MAP)
    take_files(one.folder / "store", [one.folder / "nord.csv"], columns=columns, today=TODAY, loaded_at=LOADED_AT)
    (one.folder / "store" / "inbox").rename(two.folder / "store" / "inbox")
    take_files(two.folder / "store", today=TODAY, loaded_at=LOADED_AT)
    assert one.dump() == two.dump()
    assert len(one.rows(PLAYS)) == 4


def test_messages_name_the_file_that_was_handed_over(bench):
    elsewhere = bench.folder / "from the shop"
    elsewhere.mkdir()
    (elsewhere / "x.csv").write_bytes(b"a,b\n1,\xe9\n")
    with pytest.raises(InputError) as caught:
        take_files(bench.folder / "store", [elsewhere / "x.csv"], today=TODAY)
    assert str(caught.value).startswith(f"{elsewhere / 'x.csv'}: ")
    assert "inbox" not in str(caught.value)
    (elsewhere / "y.xlsx").write_bytes(b"PK not really")
    with pytest.raises(InputError) as caught:
        load_files(bench.store, [elsewhere / "y.xlsx"], today=TODAY)
    assert str(elsewhere / "y.xlsx") in str(caught.value)


def test_the_map_in_the_readme_loads(bench):
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    columns = readme.split("```toml\n")[1].split("```")[0].replace("V101", "A1")
    sheet = "Harbour;;;;\n;;;Left ball joint;Right ball joint\nTruck;Day;Clock;in-out;in-out\n"
    sheet += "Truck one;05.03.2024;1000;0,25;-\nA2;06.03.2024;900,5;0,31;none seen\n"
    summary = wide(bench, sheet, columns, "harbour")
    assert (summary.rows_in, summary.rows_quarantined) == (3, 0)
    assert [row[:3] + row[6:8] for row in bench.rows(PLAYS)] == [
        ("A1", "2024-03-05", 1000.0, "measured", 0.25),
        ("A2", "2024-03-06", 900.5, "measured", 0.31),
        ("A2", "2024-03-06", 900.5, "none seen", None),
    ]


def test_the_command_takes_a_map_and_tells_what_was_asked(bench):
    path = bench.write("x.csv", f"No,Day,km,What,mm\nA1,05/03/2024,1000,{LEFT},0.25\nA1,06/03/2024,1003,{LEFT},0.25\n")
    columns = bench.write("shop.toml", f'dates = "dd/mm/yyyy"\n{MAP}')
    store = ["--store", str(bench.folder / "store")]
    done = CliRunner().invoke(app, ["load", str(path), "--columns", str(columns), *store])
    assert done.exit_code == 0, done.output
    assert "2 rows in, 1 asked about" in done.output
    asked = CliRunner().invoke(app, ["questions", "--format", "csv", *store])
    assert '""same visit"" or ""two visits""' in asked.output
    answered = CliRunner().invoke(app, ["answer", "1", "same visit", *store])
    assert answered.exit_code == 0, answered.output
    refused = CliRunner().invoke(app, ["load", str(path), "--columns", str(bench.folder / "none.toml"), *store])
    assert isinstance(refused.exception, InputError)
    assert "there is no such column map" in str(refused.exception)
