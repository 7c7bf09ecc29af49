"""Hostile text in what is written, printed and handed over is read and never carried out."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from datetime import date

import pandas as pd
import pypdf
import pytest
from typer.testing import CliRunner

from fleetwear import cli
from fleetwear.errors import InputError
from fleetwear.intake import load_files
from fleetwear.planning.pressing import pressing_joints
from fleetwear.reports.charts import play_chart, risk_chart
from fleetwear.reports.flag_files import flag_file, to_csv, to_xlsx, with_lead
from fleetwear.reports.inert import file_name, html_text, markdown_text, on_screen
from fleetwear.reports.joint_history import joint_histories
from fleetwear.reports.reading_file import reading_file
from fleetwear.reports.sheet_text import for_sheet
from fleetwear.reports.tables import render
from fleetwear.reports.vehicle_pdf import vehicle_pdf
from fleetwear.store import Store

CONTROLS = "a\x00b\x1b[31mc\x07\x9b31md\x7fe"
MARKS = "\u202e\u202d\u202a\u2066\u2069\u200f\u200e\u061c"


def test_every_table_of_the_store_is_still_there(hostile_store):
    with Store(hostile_store).reader() as con:
        assert con.execute("select count(*) from vehicles").fetchall() == [(1,)]


def test_control_characters_and_direction_marks_are_left_out_of_what_is_shown():
    assert on_screen(CONTROLS) == "ab[31mc31mde"
    assert on_screen(f"a{MARKS}b") == "ab"
    assert on_screen("Ünï \U0001f69a עברית two\nlines") == "Ünï \U0001f69a עברית two\nlines"
    assert on_screen("e" + "\u0301" * 50 + "x") == "e" + "\u0301" * 4 + "x"
    assert len(on_screen("x" * 1_000_000)) == 2_000
    assert html_text('<a href="x">&') == "&lt;a href=&quot;x&quot;&gt;&amp;"
    for text in ("../../etc/passwd", "a/b\\c", "..", "", "x" * 500, "a\x00b", "CON:"):
        made = file_name(text)
        assert made
        assert len(made) <= 60
        assert not set(made) & set('/\\:\x00"<>|')
        assert ".." not in made


def test_markdown_comes_out_as_it_was_written():
    assert markdown_text("[a](http://b) *c* $d$ <e> :f:") == (
        "\\[a\\]\\(http\\:\u2060//b\\) " r"\*c\* \$d\$ \<e\> \:f\:"
    )


@pytest.mark.parametrize("cell", ["=1+1", "+1+1", "-1+1", "@x", "\t=1", "\r=1", "  =1", "\x00=1", "\x0b=1"])
def test_a_formula_becomes_text_in_csv(cell):
    (made,) = for_sheet(pd.DataFrame({"a": [cell]}))["a"]
    assert made.startswith("'")


@pytest.mark.parametrize("cell", ["-1.5", "+2", "-1e-3", "a=1", "", None, 3.5])
def test_numbers_and_plain_words_stay_as_they_are(cell):
    (made,) = for_sheet(pd.DataFrame({"a": pd.Series([cell], dtype=object)}))["a"]
    assert made is None if cell is None else made == cell


def formulas(data):
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert len(rows) > 1
    return [cell for row in rows for cell in row if cell.lstrip()[:1] in ("=", "@") or cell[:2] in ("+1", "-<")]


def test_csv_files_hold_no_formula(hostile):
    flags, record = hostile
    assert formulas(to_csv(flag_file(flags.run, with_lead(flags)))) == []
    assert formulas(to_csv(reading_file(record))) == []


def test_workbooks_hold_no_formula_and_no_link(hostile):
    flags, _ = hostile
    with zipfile.ZipFile(io.BytesIO(to_xlsx(flag_file(flags.run, with_lead(flags)), sheet="flags"))) as book:
        names = book.namelist()
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
        strings = book.read("xl/sharedStrings.xml").decode()
    assert "<f>" not in sheet
    assert "<hyperlink" not in sheet
    assert not any("rels" in name and "sheet" in name for name in names)
    assert "=&lt;img src=x" in strings  # it is there, as text
    assert "\u202e" not in strings


def test_the_printed_page_shows_text_and_nothing_else(hostile):
    _, record = hostile
    page = pypdf.PdfReader(io.BytesIO(vehicle_pdf(record)))
    assert len(page.pages) == 1
    text = page.pages[0].extract_text()
    assert "<b id=own>V</b>" in text
    assert "#h *b* _i_ @y" in text or "[a](http" in text
    assert "/Annots" not in page.pages[0]  # no link came of it
    assert "/OpenAction" not in page.trailer["/Root"]
    assert not any(mark in text for mark in "\u202e\u2066")


@pytest.mark.parametrize("form", ["table", "csv", "json"])
def test_nothing_drives_the_terminal(form, capsys):
    frame = pd.DataFrame({"unit": [f"{CONTROLS}{MARKS}"], "depot": ["[red]x[/red] [link=http://x.example]y[/link]"]})
    parts = []
    render(frame, form, parts.append)
    text = "".join(parts) + capsys.readouterr().out
    assert not set(text) & {"\x00", "\x1b", "\x07", "\x9b", "\x7f"}
    assert "[red]x[" in text.replace("\n", "")
    if form == "json":
        assert json.loads(text)[0]["unit"] == f"{CONTROLS}{MARKS}"


def test_commands_print_text(hostile_store):
    for arguments in (["flags", "--all"], ["flags", "--all", "--format", "csv"], ["quarantine"]):
        done = CliRunner().invoke(cli.app, [*arguments, "--store", str(hostile_store)])
        assert done.exit_code == 0, done.output
        assert not set(done.output) & {"\x1b", "\u202e", "\u2066"} or "csv" in arguments


def test_charts_carry_no_direction_mark_and_no_expression(hostile, valid_chart):
    flags, record = hostile
    specs = [valid_chart(play_chart(history)) for history in joint_histories(record)]
    specs.append(valid_chart(risk_chart(pressing_joints(flags), as_of=flags.run.as_of)))
    for spec in specs:
        text = json.dumps(spec, ensure_ascii=False, default=str)
        assert not set(text) & {"\u202e", "\u2066", "\x00", "\x1b"}
        for expression in _expressions(spec):
            assert "img" not in expression  # only this project's own words are ever evaluated


def _expressions(node):
    if isinstance(node, dict):
        for name, value in node.items():
            if name in ("expr", "filter", "calculate", "href", "url") and isinstance(value, str):
                yield value
            yield from _expressions(value)
    elif isinstance(node, list):
        for value in node:
            yield from _expressions(value)


def test_control_characters_and_endless_text_go_to_quarantine_as_they_were(tmp_path):
    file = tmp_path / "vehicles.csv"
    file.write_text(f"unit,model\nA1,Van\x1b[2J\nA2,{'x' * 9_000}\nA3,Van \U0001f69a\n", encoding="utf-8")
    store = Store.create_or_open(tmp_path / "store")
    (summary,) = load_files(store, [file], today=date(2026, 1, 1))
    assert (summary.rows_in, summary.rows_quarantined) == (1, 2)
    assert any("holds a control character" in reason for reason in summary.reasons)
    assert any("9000 characters: write at most 1000" in reason for reason in summary.reasons)
    endless = tmp_path / "endless.csv"
    endless.write_text(f"unit,model\nA2,{'x' * 900_000}\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 2 cannot be read: field larger than"):
        load_files(store, [endless], today=date(2026, 1, 1))
    nul = tmp_path / "nul.csv"
    nul.write_bytes(b"unit,model\nA4,Va\x00n\n")
    with pytest.raises(InputError, match="not a text file"):
        load_files(store, [nul], today=date(2026, 1, 1))
