"""Tables in people's own units, and their three forms."""

import json
from io import StringIO

import numpy as np
import pandas as pd
import pytest

from fleetwear.planning.flags import read_flags
from fleetwear.reports.tables import joint_table, render, vehicle_table
from fleetwear.store import open_snapshot


@pytest.fixture(scope="module")
def flags(demo_store):
    con = open_snapshot(demo_store.folder)
    try:
        return read_flags(con)
    finally:
        con.close()


def test_joints_are_shown_in_the_units_of_their_vehicle(flags):
    table = joint_table(flags.joints)
    raw = flags.joints
    thou = (raw["play_unit"] == "thou") & raw["last_play_mm"].notna()
    assert thou.any()
    assert table["last_play"][thou].to_numpy() == pytest.approx(np.round(raw["last_play_mm"][thou] / 0.0254))
    mm = (raw["play_unit"] == "mm") & raw["last_play_mm"].notna()
    assert table["last_play"][mm].to_numpy() == pytest.approx(raw["last_play_mm"][mm].to_numpy(), abs=0.005001)
    assert (table["last_play"][mm] * 100).to_numpy() == pytest.approx((table["last_play"][mm] * 100).round())
    miles = (raw["distance_unit"] == "mi") & (raw["play_unit"] == "thou") & raw["growth_mm_per_km"].notna()
    wanted = (raw["growth_mm_per_km"][miles] * 16093.44 / 0.0254).round(3)
    assert table["growth"][miles].to_numpy() == pytest.approx(wanted.to_numpy(), abs=6e-3)
    inches = raw["play_unit"] == "in"
    assert (table["limit"][inches].dropna() < 1).all()


def test_vehicles_without_an_odometer_show_none(flags):
    table = vehicle_table(flags.vehicles).set_index("unit")
    assert np.isnan(table.loc["T101", "odometer_now"])
    assert table.loc["V101", "odometer_next_service"] > table.loc["V101", "odometer_now"]
    assert table["next_service"].str.fullmatch(r"\d{4}-\d{2}-\d{2}").all()


def test_the_three_forms_say_the_same(flags, capsys):
    table = vehicle_table(flags.vehicles)
    written = {}
    for form in ("json", "csv"):
        parts = []
        render(table, form, parts.append)
        written[form] = "".join(parts)
    records = json.loads(written["json"])
    read_back = pd.read_csv(StringIO(written["csv"]))
    assert [record["unit"] for record in records] == read_back["unit"].tolist() == table["unit"].tolist()
    assert [record["reason"] for record in records] == read_back["reason"].tolist()
    render(table[["unit", "outcome"]], "table", lambda _: None)
    shown = capsys.readouterr().out
    for unit in table["unit"]:
        assert unit in shown


def test_a_probability_is_never_printed_as_a_bare_0_or_1_and_stays_a_number_in_files(capsys):
    frame = pd.DataFrame({"unit": list("ABCDE"), "any_joint_over": [0.0004, 0.073, 0.5, 1.0, None]})
    frame["any_joint_over"] = frame["any_joint_over"].astype(float).round(3)
    render(frame, "table", lambda _: None)
    lines = [line.split() for line in capsys.readouterr().out.splitlines()[1:]]
    assert lines == [["A", "below", "0.01"], ["B", "0.073"], ["C", "0.50"], ["D", "above", "0.99"], ["E"]]
    for form, read in (("json", json.loads), ("csv", lambda text: pd.read_csv(StringIO(text)).to_dict("records"))):
        parts = []
        render(frame, form, parts.append)
        assert [row["any_joint_over"] for row in read("".join(parts))][:4] == [0.0, 0.073, 0.5, 1.0]


def test_an_empty_table_is_still_a_table(flags, capsys):
    none = vehicle_table(flags.vehicles.iloc[:0])
    for form in ("json", "csv", "table"):
        render(none, form, lambda _: None)
    assert "unit" in capsys.readouterr().out
