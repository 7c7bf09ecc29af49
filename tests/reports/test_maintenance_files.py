"""The maintenance record printed and as CSV: nothing left out, headers on every page, inert whatever was written."""

from __future__ import annotations

import dataclasses
import io

import pandas as pd
import pypdf
import pytest

from fleetwear import __version__
from fleetwear.errors import InputError
from fleetwear.planning.maintenance import BUSES, NOTES, read_maintenance
from fleetwear.reports.maintenance_files import record_csv, record_pdf, record_table, write_record
from fleetwear.reports.sheet_text import as_it_was
from fleetwear.store import open_snapshot
from fleetwear.vocabulary import CAUTION


@pytest.fixture(scope="module")
def record(demo_store):
    con = open_snapshot(demo_store.folder)
    try:
        return read_maintenance(con, "B110")
    finally:
        con.close()


def pages(made):
    return [
        " ".join(page.extract_text().replace("\u200b", "").split()) for page in pypdf.PdfReader(io.BytesIO(made)).pages
    ]


def test_every_page_says_what_it_is_and_repeats_its_heads(record):
    told = pages(record_pdf(record))
    assert len(told) >= 2
    for number, text in enumerate(told, start=1):
        assert "Vehicle B110" in text
        assert "Maintenance record" in text
        assert f"fleetwear {__version__}" in text
        assert "As of 2026-11-01" in text
        assert "not legal advice" in text
        assert CAUTION in text.replace("’", "'")
        assert f"{number} of {len(told)}" in text
    heads = [text for text in told if "Keep at least through" in text]
    assert len(heads) >= 2, "the list of what was done goes over pages with its heads"


def test_the_pages_hold_every_entry_field_and_note(record):
    text = " ".join(pages(record_pdf(record, paper="a4")))
    for field in record.identification:
        assert field.name in text
        assert field.shown in text
    days = [entry.day.isoformat() for entry in record.done]
    for day in set(days):
        assert text.count(day) >= days.count(day)
    for words in (BUSES, *NOTES):
        assert words in text.replace("’", "'")
    assert f"At least through {record.keep_through}" in text


def test_missing_fields_and_an_empty_record_are_told(record):
    bare = dataclasses.replace(
        record,
        done=(),
        identification=tuple(dataclasses.replace(field, value=None) for field in record.identification),
    )
    text = " ".join(pages(record_pdf(bare)))
    assert text.count("not on record") >= len(record.identification)
    assert "Nothing is on record." in text
    assert "no entry yet from which to count" in text


def test_what_was_written_is_text_and_nothing_else(record):
    hostile = '=1+1 #eval("1") *bold* $x$ \\u{41} ] #set page(width: 1cm)'
    entry = dataclasses.replace(record.done[0], what=hostile, by=hostile)
    made = dataclasses.replace(record, done=(entry,))
    assert '#eval("1") *bold*' in " ".join(pages(record_pdf(made))).replace("”", '"').replace("“", '"')
    raw = pd.read_csv(io.BytesIO(record_csv(made)), dtype=str)
    assert "'" + hostile in raw["what"].tolist()
    assert hostile in as_it_was(raw)["what"].tolist()


def test_csv_holds_the_table_and_the_notes(record):
    back = pd.read_csv(io.BytesIO(record_csv(record)))
    table = record_table(record)
    own = back[back["part"] != "note"]
    assert own["what"].tolist() == table["what"].tolist()
    assert own["keep_through"].dropna().tolist() == table["keep_through"].dropna().tolist()
    assert back.loc[back["part"] == "note", "what"].tolist() == [*NOTES, CAUTION]
    assert set(back["as_of"]) == {"2026-11-01"}
    assert (back["program_version"] == __version__).all()


def test_the_same_record_gives_the_same_bytes_and_sizes(record):
    made = record_pdf(record)
    assert made == record_pdf(record)
    box = pypdf.PdfReader(io.BytesIO(made)).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((612.0, 792.0), abs=0.1)
    with pytest.raises(InputError, match="a4"):
        record_pdf(record, paper="a5")


def test_a_file_that_cannot_be_written_says_so(record, tmp_path):
    with pytest.raises(InputError, match="neither"):
        write_record(record, tmp_path / "record.txt")
    with pytest.raises(InputError, match="cannot be written"):
        write_record(record, tmp_path / "none" / "record.csv")
