"""What the buttons hand over, opened and read back."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pandas as pd
import pypdf
import pytest
import python_calamine
from serving import OVERFLOW, choose

from fleetwear.planning.maintenance import read_maintenance
from fleetwear.planning.tidy_tables import read_tidy
from fleetwear.reports.maintenance_files import record_table
from fleetwear.store import open_snapshot

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


def taken(page, button):
    with page.expect_download() as waiting:
        page.get_by_role("button", name=button, exact=True).click()
    return waiting.value.suggested_filename, Path(waiting.value.path()).read_bytes()


def test_tables_of_one_depot_as_a_workbook_and_as_parquet(open_page, con):
    page = open_page("/data")
    page.get_by_role("heading", name="Take the data away").wait_for()
    for width in (390, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate(OVERFLOW) == {"wide": 0, "out": []}
    choose(page, "Depot", "Hill")
    choose(page, "Only these tables", "readings")
    page.keyboard.press("Escape")
    wanted = read_tidy(con, names=["readings"], depot="Hill").tables["readings"]

    name, data = taken(page, "Download")
    assert name == "fleetwear_Hill.xlsx"
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
    assert book.sheet_names == ["about", "dictionary", "readings"]
    sheet = book.get_sheet_by_name("readings").to_python()
    assert sheet[0] == wanted.column_names
    assert [row[0] for row in sheet[1:]] == wanted.column("reading_id").to_pylist()

    choose(page, "As", "Parquet files in a ZIP")
    name, data = taken(page, "Download")
    assert name == "fleetwear_Hill.zip"
    with zipfile.ZipFile(io.BytesIO(data)) as pack:
        assert pack.namelist() == ["readings.parquet", "about.parquet", "dictionary.parquet"]
        back = pd.read_parquet(io.BytesIO(pack.read("readings.parquet")))
    assert len(back) == wanted.num_rows


def test_the_maintenance_record_of_a_vehicle_on_a_narrow_screen(open_page, con):
    page = open_page("/vehicle?unit=V102", width=390)
    assert page.evaluate(OVERFLOW) == {"wide": 0, "out": []}
    record = read_maintenance(con, "V102")
    name, data = taken(page, "Download record, PDF")
    assert name == "maintenance_record_V102.pdf"
    text = " ".join(" ".join(leaf.extract_text() for leaf in pypdf.PdfReader(io.BytesIO(data)).pages).split())
    assert f"At least through {record.keep_through}" in text
    name, data = taken(page, "Download record, CSV")
    assert name == "maintenance_record_V102.csv"
    rows = pd.read_csv(io.BytesIO(data))
    assert rows.loc[rows["part"] == "done", "what"].tolist() == [entry.what for entry in record.done]
    assert len(rows) > len(record_table(record))
