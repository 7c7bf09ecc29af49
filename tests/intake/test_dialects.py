"""Any table in any dialect is read as it was meant; sizes are checked; malformed rows and files do no harm."""

from __future__ import annotations

import csv
import importlib.util
import io
import sys
import zipfile
from datetime import date, timedelta
from pathlib import Path

import hypothesis.strategies as st
import pytest
import xlsxwriter
from hypothesis import HealthCheck, assume, given, settings

from fleetwear.errors import InputError
from fleetwear.intake import sheets, sizes
from fleetwear.intake.column_maps import read_map
from fleetwear.intake.sheets import read_sheets
from fleetwear.intake.totals import is_total

CELLS = st.text(st.characters(codec="latin-1", exclude_characters="\x00\x1a", exclude_categories=["Cs"]), max_size=12)
DELIMITERS = st.sampled_from([",", ";", "\t", "|"])
ENCODINGS = st.sampled_from(["utf-8", "latin-1", "windows-1252", "utf-16"])
QUIET = settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def written(rows, delimiter, quoting, ends):
    text = io.StringIO(newline="")
    if any(mark in cell for row in rows for cell in row for mark in "\r\n"):
        quoting = csv.QUOTE_ALL  # the writer leaves a carriage return bare when it is not in its own line end
    for number, row in enumerate(rows):
        csv.writer(text, delimiter=delimiter, quoting=quoting, lineterminator=ends[number % len(ends)]).writerow(row)
    return text.getvalue()


def cells_of(sheet):
    return list(zip(*(column.to_pylist() for column in sheet.cells.columns), strict=True))


@QUIET
@given(
    rows=st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=6),
    delimiter=DELIMITERS,
    encoding=ENCODINGS,
    quoting=st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL]),
    ends=st.lists(st.sampled_from(["\n", "\r\n", "\r"]), min_size=1, max_size=3),
    above=st.integers(0, 3),
    bom=st.booleans(),
)
def test_any_table_in_any_dialect_of_csv(tmp_path, rows, delimiter, encoding, quoting, ends, above, bom):
    """Delimiters, encodings, quoted newlines, mixed line ends, a BOM, title rows: cells and row numbers come back."""
    assume(not any(is_total(next((cell for cell in row if cell.strip()), "x")) for row in rows))
    header = ["first", "second", "third"]
    title = [["title", "", ""]] * above
    text = written([*title, header, *rows], delimiter, quoting, ends)
    codec = sheets.ENCODINGS[encoding] if bom or encoding != "utf-8" else "utf-8"
    try:
        data = text.encode(codec)
    except UnicodeEncodeError:
        assume(False)
    (tmp_path / "x.csv").write_bytes(data)
    stated = f"delimiter = '{delimiter}'" if delimiter != "\t" else 'delimiter = "\\t"'
    (tmp_path / "x.toml").write_text(f'table = "visits"\n{stated}\nencoding = "{encoding}"\nheader_row = {above + 1}\n')
    (sheet,) = read_sheets(tmp_path / "x.csv", columns=read_map(tmp_path / "x.toml"))
    kept = [(number, tuple(row)) for number, row in enumerate(rows, start=above + 2) if any(c.strip() for c in row)]
    assert list(zip(sheet.row_numbers.to_pylist(), cells_of(sheet), strict=True)) == kept


@QUIET
@given(
    data=st.lists(
        st.sampled_from([*"ab,,; é\n\n\xa0\t\x1c\ufeff", "\r\n", "Total", "1.5"]),
        min_size=1, max_size=40,
    )
)  # fmt: skip
def test_the_quick_way_through_a_csv_file_gives_what_the_careful_way_gives(tmp_path, data):
    path = tmp_path / "x.csv"
    path.write_text("h1,h2\n" + "".join(data), encoding="utf-8", newline="")

    def told(way):
        try:
            (sheet,) = way()
        except InputError as error:
            return str(error)
        return sheet.header, sheet.header_row, sheet.row_numbers.to_pylist(), cells_of(sheet), sheet.broken

    quick = told(lambda: read_sheets(path))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sheets, "_clean_csv", lambda *_: None)
        assert told(lambda: read_sheets(path)) == quick


def test_clean_files_take_the_quick_way(tmp_path, monkeypatch):
    (tmp_path / "x.csv").write_text("a,b\n1,2\n3,\n")
    monkeypatch.setattr(sheets, "_records", lambda *_: pytest.fail("the careful way was taken"))
    (sheet,) = read_sheets(tmp_path / "x.csv")
    assert cells_of(sheet) == [("1", "2"), ("3", "")]


READING = st.tuples(
    st.sampled_from(["A1", "A2"]),
    st.integers(0, 300),
    st.sampled_from(["left front lower ball joint", "right front lower ball joint", "left front tie rod end"]),
    st.sampled_from(["in-out", "fore-aft"]),
    st.decimals(0, 3, places=3, allow_nan=False),
)
STYLES = {"dd.mm.yyyy": "%d.%m.%Y", "mm/dd/yyyy": "%m/%d/%Y", "dd/mm/yyyy": "%d/%m/%Y", "yyyy/mm/dd": "%Y/%m/%d"}
READ = """select d.visit_date, d.odometer_km, r.play_mm
from readings as r inner join visits as d on d.visit_id = r.visit_id
inner join loads as l on l.load_id = r.load_id where l.file_name = ? order by r.source_row"""


@settings(QUIET, max_examples=6)
@given(
    readings=st.lists(READING, min_size=1, max_size=8),
    style=st.sampled_from(sorted(STYLES)),
    comma=st.booleans(),
    unit=st.sampled_from(["mm", "thou", "in", "um"]),
    as_workbook=st.booleans(),
    run=st.integers(0, 10**9),
)
def test_readings_in_any_dialect_load_as_the_same_readings(bench, readings, style, comma, unit, as_workbook, run):
    first = date(2023, 1, 1)
    days = [first + timedelta(days=each[1]) for each in readings]
    plain = [
        [each[0], day.isoformat(), f"{5000 + 100 * each[1]} km", each[2], each[3], f"{each[4]} {unit}"]
        for each, day in zip(readings, days, strict=True)
    ]
    text = "unit,visit date,odometer,joint,direction,play,method\n"
    bench.write(f"p{run}.csv", text + "".join(",".join([*row, "pry bar"]) + "\n" for row in plain))
    mark = "," if comma else "."
    other = [
        [
            each[0],
            day.strftime(STYLES[style]),
            str(5000 + 100 * each[1]),
            each[2],
            each[3],
            str(each[4]).replace(".", mark),
        ]
        for each, day in zip(readings, days, strict=True)
    ]
    name = f"q{run}.{'xlsx' if as_workbook else 'csv'}"
    header = ["Wagen", "Tag", "Stand", "Gelenk", "Richtung", "Spiel"]
    if as_workbook:
        with xlsxwriter.Workbook(bench.folder / name) as book:
            sheet = book.add_worksheet()
            for number, row in enumerate([header, *other]):
                sheet.write_row(number, 0, row)
                if number:
                    sheet.write_number(number, 5, float(readings[number - 1][4]))
    else:
        (bench.folder / name).write_text(written([header, *other], ";", csv.QUOTE_MINIMAL, ["\r\n"]), newline="")
    bench.write(
        f"q{run}.columns.toml",
        f"""table = "readings"
dates = "{style}"
decimal = "{mark}"
[columns]
unit = "Wagen"
"visit date" = "Tag"
odometer = "Stand"
joint = "Gelenk"
direction = "Richtung"
play = "Spiel"
[units]
odometer = "km"
play = "{unit}"
[constants]
method = "pry bar"
""",
    )
    bench.load(f"p{run}.csv")
    first_way = bench.rows(READ, f"p{run}.csv")
    factor = {"mm": 1.0, "thou": 0.0254, "in": 25.4, "um": 0.001}[unit]
    assert first_way == [
        (day, 5000.0 + 100 * each[1], pytest.approx(float(each[4]) * factor, abs=1e-9))
        for each, day in zip(readings, days, strict=True)
    ]
    # Rows are known again by all that they say, so that every column has come back equal.
    again = bench.load(name)
    assert (again.rows_known, again.rows_quarantined) == (len(readings), 0)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"unit," * 1_000_000 + b"\n", "1,000,001 columns"),
        (b"unit,model\nA1," + b"x" * 1_000_000 + b"\n", "1,000,000 characters|field larger than field limit"),
        (b'unit,model\nA1,"' + b"x" * 1_000_000 + b'"\n', "field larger than field limit"),
        (b"unit,model\nA1" + b"," * 100_000 + b"x\n", "100,001 columns"),
    ],
)
def test_huge_cells_and_rows_are_refused_in_words(tmp_path, data, says):
    (tmp_path / "x.csv").write_bytes(data)
    with pytest.raises(InputError, match=says):
        read_sheets(tmp_path / "x.csv")


def test_a_file_over_the_size_is_not_read(tmp_path, monkeypatch):
    with (tmp_path / "x.csv").open("wb") as file:
        file.truncate(sizes.MAX_FILE_BYTES + 1)
    with pytest.raises(InputError, match="the file has 500,000,001 bytes"):
        read_sheets(tmp_path / "x.csv")


def workbook(path, change=lambda parts: parts):
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("one").write_row(0, 0, ["a", "b"])
    with zipfile.ZipFile(path) as archive:
        parts = change({name: archive.read(name) for name in archive.namelist()})
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


SHEET = "xl/worksheets/sheet1.xml"


def test_a_part_that_expands_too_far_is_refused(tmp_path):
    path = workbook(tmp_path / "x.xlsx", lambda parts: parts | {SHEET: parts[SHEET] + b" " * 30_000_000})
    with pytest.raises(InputError, match=r"sheet1\.xml' expands too far"):
        read_sheets(path)


def test_a_part_that_hides_its_size_is_refused(tmp_path):
    path = workbook(tmp_path / "x.xlsx", lambda parts: parts | {SHEET: parts[SHEET] + b" " * 3_000})
    with zipfile.ZipFile(path) as archive:
        size = archive.getinfo(SHEET).file_size
    data = path.read_bytes().replace(size.to_bytes(4, "little"), (100).to_bytes(4, "little"))
    path.write_bytes(data)
    with pytest.raises(InputError, match="says that it has 100 bytes and has"):
        read_sheets(path)


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        (b"ZZ1048576", "more than 25,000,000 cells"),
        (b"XFD1", "703 columns"),
        (b"B99999999", "more than 5,000,000 rows"),
    ],
)
def test_one_cell_far_away_does_not_fill_the_memory(tmp_path, cell, says):
    path = workbook(
        tmp_path / "x.xlsx", lambda parts: parts | {SHEET: parts[SHEET].replace(b'"B1"', b'"' + cell + b'"')}
    )
    with pytest.raises(InputError, match=says):
        read_sheets(path)


def test_a_total_in_the_middle_is_a_row_and_at_the_bottom_is_refused(tmp_path):
    (tmp_path / "x.csv").write_text("a,b\n1,2\nTotal,2\n3,4\n\nSumme:,6\ntotal,12\n")
    (sheet,) = read_sheets(tmp_path / "x.csv")
    assert cells_of(sheet) == [("1", "2"), ("Total", "2"), ("3", "4")]
    assert [(row.number, row.cells[0]) for row in sheet.broken] == [(6, "Summe:"), (7, "total")]


def load_fuzz():
    spec = importlib.util.spec_from_file_location("fuzz", Path(__file__).with_name("fuzz.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz"] = module
    spec.loader.exec_module(module)
    return module


def test_malformed_rows_and_files_load_right_or_are_refused(tmp_path):
    """The short form of fuzz.py, which runs 100,000 rows and 2,000 files."""
    fuzz = load_fuzz()
    (tmp_path / "rows").mkdir()
    (tmp_path / "files").mkdir()
    rows = fuzz.fuzz_rows(1_200, seed=11, folder=tmp_path / "rows", batch=300)
    assert rows.wrong == []
    assert rows.rows["loaded"] > 300
    assert rows.rows["refused, and malformed"] > 300
    files = fuzz.fuzz_files(16, seed=11, folder=tmp_path / "files")
    assert files.wrong == []
    assert min(files.files["loaded"], files.files["refused"]) > 0


def test_the_fuzzer_would_see_a_wrong_number():
    fuzz = load_fuzz()
    row = dict(zip(fuzz.HEADER, ["A1", "2024-01-02", "5 km", fuzz.JOINTS[0], "in-out", "20 thou", ""], strict=True))
    said = fuzz.read_independently(row, mapped=False)
    right = ("A1", date(2024, 1, 2), 5.0, fuzz.JOINTS[0], "in-out", "measured", 0.508)
    assert fuzz.differs(said, right) is None
    for place, value in [(0, "A2"), (1, date(2024, 2, 1)), (2, 8.0), (3, fuzz.JOINTS[1]), (4, "up-down"), (6, 0.5081)]:
        assert fuzz.differs(said, (*right[:place], value, *right[place + 1 :])) is not None
