"""Files to take away read back as what they were made from; nothing in them is ever live."""

from __future__ import annotations

import io

import pandas as pd
import pytest
import python_calamine

from fleetwear.planning.flags import narrow, read_flags
from fleetwear.planning.vehicle import read_vehicle
from fleetwear.planning.wording import say_distances, say_growth, say_probability
from fleetwear.reports.flag_files import flag_file, to_csv, to_xlsx, with_lead
from fleetwear.reports.reading_file import reading_file
from fleetwear.store import open_snapshot


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


def test_flag_file_has_units_in_its_headers(con):
    flags = narrow(read_flags(con), depot="Hill")
    back = pd.read_csv(io.BytesIO(to_csv(flag_file(flags.run, with_lead(flags)))))
    assert back["unit"].tolist() == flags.vehicles["unit"].tolist()
    known = back.dropna(subset=["odometer_now_km"])
    off = known["odometer_now_km"] - 1.609344 * known["odometer_now_mi"]
    assert off.abs().max() <= 0.5 + 0.5 * 1.609344, "both are rounded to whole units"


def test_cells_that_look_like_formulas_stay_text():
    frame = pd.DataFrame({"unit": ["=1+1", "+A1", "@x", "https://a.test/x"], "number": [1.5, None, 2.0, 3.0]})
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(to_xlsx(frame, sheet="x")))
    rows = book.get_sheet_by_index(0).to_python()
    assert [row[0] for row in rows[1:]] == frame["unit"].tolist()
    assert [row[1] for row in rows[1:]] == [1.5, "", 2.0, 3.0]


def test_reading_file_holds_every_stroke(con):
    record = read_vehicle(con, "B101")
    back = pd.read_csv(io.BytesIO(to_csv(reading_file(record))))
    assert len(back) == len(record.readings)
    assert {"play_mm", "play_thou", "odometer_km", "odometer_mi"} <= set(back.columns)
    measured = back.dropna(subset=["play_mm"])
    assert (measured["play_mm"] - measured["play_thou"] * 0.0254).abs().max() < 1e-4


def test_wording():
    assert say_probability(0.0) == "below 0.01"
    assert say_probability(1.0) == "above 0.99"
    assert say_probability(0.0732) == "0.073"
    assert say_probability(float("nan")) == "not known"
    assert say_distances(1609.344, 3218.688, 4828.032, "mi") == "2,000 (1,000 to 3,000) mi"
    assert say_growth([2.54e-6, 0.0, 5.08e-6], "thou", "km") == "1.0 (0.0 to 2.0) thou"
