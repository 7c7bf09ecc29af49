"""fleetwear study: files in people's units, refused rows, the result and its words."""

from __future__ import annotations

import io
import json
import zipfile

import numpy as np
import pytest
import xlsxwriter

from fleetwear import cli
from fleetwear.errors import InputError
from fleetwear.intake.study_file import read_study, read_study_bytes
from fleetwear.measurement import analyse


@pytest.fixture
def rows():
    rng = np.random.default_rng(2)
    j, p, _ = np.indices((6, 3, 2))
    play = 0.4 + 0.1 * j + 0.02 * p + 0.02 * rng.normal(size=j.shape)
    return [(f"J{a}", f"P{b}", round(float(c), 3)) for a, b, c in zip(j.ravel(), p.ravel(), play.ravel(), strict=True)]


def run(monkeypatch, capsys, *arguments):
    monkeypatch.setattr("sys.argv", ["fleetwear", *map(str, arguments)])
    with pytest.raises(SystemExit) as left:
        cli.main()
    out = capsys.readouterr()
    return left.value.code or 0, out.out, out.err


def write(path, rows, header="joint,technician,play (mm)"):
    path.write_text("\n".join([header, *(",".join(map(str, row)) for row in rows)]) + "\n")
    return path


def test_a_study_is_printed_with_what_it_means_for_a_limit(monkeypatch, capsys, tmp_path, rows):
    file = write(tmp_path / "study.csv", rows)
    code, out, err = run(monkeypatch, capsys, "study", file, "--limit", "0.5 mm")
    assert code == 0
    assert "gauge R&R" in out
    assert "36 readings: 6 joints, 3 people, 2 strokes each" in out
    assert "Against a limit of 0.50 mm" in out
    assert "never clears a vehicle" in err
    assert "refused" not in err


def test_json_holds_the_figures_of_the_analysis(monkeypatch, capsys, tmp_path, rows):
    file = write(tmp_path / "study.csv", rows)
    code, out, _ = run(monkeypatch, capsys, "study", file, "--format", "json")
    assert code == 0
    told = json.loads(out)
    study = analyse(*zip(*rows, strict=True))
    by_name = {row["quantity"]: row for row in told["variations"]}
    assert by_name["repeatability"]["deviation"] == pytest.approx(study.repeatability, abs=1e-6)
    assert by_name["gauge R&R"]["share_of_limit"] is None
    assert told["distinct_categories"] == pytest.approx(study.distinct_categories)


def test_bad_rows_are_refused_with_what_where_and_how_to_mend_them(monkeypatch, capsys, tmp_path, rows):
    bad = [("J1", "", 0.4), ("J1", "P1", "-0.4"), ("J1", "P1", "some"), ("J1", "P1", "3 furlong"), ("J1", "P1")]
    file = write(tmp_path / "study.csv", [*rows, *bad])
    code, out, err = run(monkeypatch, capsys, "study", file)
    assert code == 0
    assert "36 readings" in out
    for number, words in enumerate(("technician is empty", "negative", "not a number", "furlong", "2 cells"), start=38):
        assert any(f"study.csv, row {number}:" in line and words in line for line in err.splitlines()), words


def test_units_beside_the_number_in_a_column_or_in_the_header_mean_the_same(tmp_path, rows):
    plain = read_study(write(tmp_path / "a.csv", rows))
    beside = read_study(write(tmp_path / "b.csv", [(j, p, f"{x} mm") for j, p, x in rows], "Joint,Technician,Play"))
    column = read_study(
        write(tmp_path / "c.csv", [(j, p, x * 1000, "um") for j, p, x in rows], "joint,person,play,play unit")
    )
    header = read_study(
        write(tmp_path / "d.csv", [(j, p, x / 0.0254) for j, p, x in rows], "joint,technician,play thou")
    )
    assert [one.play_unit for one in (plain, beside, column, header)] == ["mm", "mm", "um", "thou"]
    for other in (beside, column, header):
        assert other.play_mm == pytest.approx(plain.play_mm)
        assert not other.refused


def test_workbooks_are_read(tmp_path, rows):
    with xlsxwriter.Workbook(str(tmp_path / "study.xlsx")) as book:
        book.add_worksheet("Notes").write_row(0, 0, ["read in May"])
        sheet = book.add_worksheet("Study")
        for number, row in enumerate([("joint", "technician", "play (mm)"), *rows]):
            sheet.write_row(number, 0, row)
    found = read_study(tmp_path / "study.xlsx")
    assert found.play_mm == pytest.approx([row[2] for row in rows])
    assert found.name == "study.xlsx, sheet 'Study'"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("joint,play (mm)\nJ1,0.4\n", "no header fits a study"),
        ("joint,technician,play,reading\nJ1,P1,1 mm,1 mm\n", "both mean 'play'"),
        ("joint,technician,play (furlong)\nJ1,P1,1\n", "furlong"),
        ("joint,technician,play\nJ1,P1,0.4\n", "none of 1 rows can be taken .row 2: '0.4' has no unit"),
    ],
)
def test_files_that_are_no_study_are_refused(tmp_path, text, says):
    path = tmp_path / "study.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=says):
        read_study(path)


def test_a_limit_without_a_unit_is_refused(monkeypatch, capsys, tmp_path, rows):
    file = write(tmp_path / "study.csv", rows)
    assert run(monkeypatch, capsys, "study", file, "--limit", "0.5")[0] == 1
    assert run(monkeypatch, capsys, "study", file, "--limit", "0 mm")[0] == 1


@pytest.mark.parametrize(
    "name",
    ["../../study.csv", "..\\..\\study.csv", "n" * 5000 + ".csv", "\u00e9" * 300 + ".csv", "a\0b.csv", "\ud800.csv",
     "\u202eabc.csv", "con.csv", "a\nb.csv"],
)  # fmt: skip
def test_a_file_that_is_handed_over_may_be_called_anything(name):
    found = read_study_bytes(name, b"joint,technician,play (mm)\nJ1,P1,0.42\nJ1,P2,0.45\n")
    assert found.play_mm == (0.42, 0.45)
    assert len(found.name) < 100
    assert not {"\0", "\n", "\u202e", "/"} & set(found.name)


@pytest.mark.parametrize("name", ["..", "", "/", "study", ".csv", "csv." + "x" * 5000])
def test_a_file_without_a_name_to_go_by_is_refused_calmly(name):
    with pytest.raises(InputError, match="are not read"):
        read_study_bytes(name, b"joint,technician,play (mm)\nJ1,P1,0.42\n")


def workbook(cells):
    """Return the bytes of a workbook with a study's header and these cells, by row and column."""
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, {"in_memory": True}) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["joint", "technician", "play (mm)"])
        for row, column in cells:
            sheet.write(row, column, 1)
    return made.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.xlsx", workbook([(34_000, 700)]), "more than 500,000 cells"),  # a few kilobytes, laid out as 24 million
        ("a.xlsx", workbook((row, 0) for row in range(1, 9)), "none of 8 rows"),
        ("a.csv", b"joint,technician,play (mm)\n" * 200_000, "more than 5,000,000"),
        ("a.parquet", b"PAR1", "are not read here"),
        ("a.json", b"{}", "are not read here"),
        ("a.xlsx", b"PK\3\4 and no more", "cannot be read"),
    ],
)
def test_what_is_handed_over_is_small_before_it_is_laid_out(name, data, words):
    with pytest.raises(InputError, match=words):
        read_study_bytes(name, data)


def test_a_workbook_that_expands_far_is_refused_before_it_is_laid_out():
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"<c><v>1</v></c>" * 4_000_000)
    with pytest.raises(InputError, match="more than 50,000,000"):
        read_study_bytes("a.xlsx", made.getvalue())
