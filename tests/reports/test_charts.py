"""Charts are valid, draw what they are given, and keep their order in grey."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import altair as alt
import numpy as np
import pandas as pd
import pytest
import vl_convert

from fleetwear.planning.flags import read_flags
from fleetwear.planning.pressing import PRESSING, pressing_joints
from fleetwear.planning.vehicle import read_vehicle
from fleetwear.reports.charts import key_chart, play_chart, risk_chart
from fleetwear.reports.joint_history import joint_histories
from fleetwear.reports.looks import DARK, LIGHT, PRINT
from fleetwear.store import open_snapshot
from fleetwear.units import factor
from fleetwear.vocabulary import Outcome


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


@pytest.fixture(scope="module")
def flags(con):
    return read_flags(con)


def svg_words(spec):
    alt.LayerChart.from_dict(spec)  # raises where the schema of Vega-Lite does not hold
    root = ET.fromstring(vl_convert.vegalite_to_svg(spec))
    return [element.text for element in root.iter() if element.tag.endswith("text") and element.text]


def test_pressing_joints_are_the_worst_direction_of_each(flags):
    pressing = pressing_joints(flags)
    assert not pressing.duplicated(["vehicle_id", "position_id"]).any()
    wanted = flags.joints[flags.joints["outcome"].isin([str(o) for o in PRESSING])]
    keys = ["vehicle_id", "position_id"]
    assert set(map(tuple, pressing[keys].to_numpy())) == set(map(tuple, wanted[keys].to_numpy()))
    ranks = [Outcome(o).rank for o in pressing["outcome"]]
    assert ranks == sorted(ranks)
    for row in pressing.itertuples():
        same = wanted[(wanted["vehicle_id"] == row.vehicle_id) & (wanted["position_id"] == row.position_id)]
        assert Outcome(row.outcome).rank == min(Outcome(o).rank for o in same["outcome"])
    for _, group in pressing.groupby("outcome"):
        assert group["next_service_date_50"].is_monotonic_increasing


@pytest.mark.parametrize("look", [LIGHT, DARK, PRINT])
def test_risk_chart_names_every_joint(flags, look):
    pressing = pressing_joints(flags)
    words = svg_words(risk_chart(pressing, as_of=flags.run.as_of, look=look, width=360))
    assert set(pressing["unit"]) <= set(words)
    assert sum(word in ("no limit", "below 0.01", "above 0.99") or word[0] == "0" for word in words) >= len(pressing)


def test_play_charts_of_vehicles_with_every_kind_of_history(con, flags):
    seen = set()
    for unit in ("H102", "T101", *flags.vehicles["unit"].head(4)):
        record = read_vehicle(con, unit)
        histories = joint_histories(record)
        assert len(histories) == len(record.joints)
        for history in histories[:2]:
            words = svg_words(play_chart(history, width=340))
            assert f"play, {record.vehicle['play_unit']}" in words
            assert "next service" in words
            assert (history.limit is None) == (history.limit_label == "no limit on record")
            assert history.limit is None or history.limit_label in words
            seen.add(history.axis)
    assert seen == {"date", "distance"}


def test_history_is_in_the_vehicles_own_units(con, flags):
    unit = flags.vehicles.loc[flags.vehicles["play_unit"] == "thou", "unit"].iloc[0]
    record = read_vehicle(con, unit)
    for history in joint_histories(record):
        same = (record.readings["position_id"] == history.fact["position_id"]) & (
            record.readings["direction"] == history.fact["direction"]
        )
        stored = record.readings.loc[same, "play_mm"].dropna().to_numpy() * factor("mm", "thou")
        np.testing.assert_allclose(np.sort(history.readings["play"].dropna()), np.sort(stored), rtol=1e-12)
        distances = record.readings.loc[same, "running_km"].to_numpy() * factor("km", "mi")
        np.testing.assert_allclose(np.sort(history.readings["x"]), np.sort(distances), rtol=1e-12)


def test_curve_meets_the_forecast_at_the_as_of_date(con, flags):
    """The draws also share effects between a vehicle's joints, which moves them by less than their spread."""
    for unit in flags.vehicles["unit"].iloc[[0, 20, 40, 60]]:
        record = read_vehicle(con, unit)
        scale = factor("mm", str(record.vehicle["play_unit"]))
        for history in joint_histories(record):
            at_now = history.curve[history.curve["until_now"] & history.curve["ahead"]]
            assert len(at_now) == 1
            sd = (at_now["upper"].iloc[0] - at_now["lower"].iloc[0]) / 3.92
            expected = float(history.fact["play_now_mm"]) * scale
            assert at_now["play"].iloc[0] == pytest.approx(expected, abs=0.7 * sd)


def test_swapped_meter_is_drawn_by_distance_run(con):
    history = joint_histories(read_vehicle(con, "H102"))[0]
    assert "swapped" in history.x_title
    assert history.readings["x"].min() >= 0.0
    assert history.window is not None
    assert history.readings["x"].max() <= float(history.window[1])


def test_readings_without_a_number_stand_below_zero(con, flags):
    record = read_vehicle(con, flags.vehicles["unit"].iloc[0])
    history = joint_histories(record)[0]
    bare = pd.DataFrame(
        {
            "x": [10.0, 20.0, 30.0],
            "play": [np.nan, np.nan, 1.0],
            "result": ["none seen", "seen, not measured", "measured"],
            "life": ["current", "earlier", "current"],
            "in_question": [True, False, True],
            "note": ["a", "b", "c"],
        }
    )
    spec = play_chart(history.showing(readings=bare))
    shapes = [layer["mark"]["shape"] for layer in spec["layer"] if layer["mark"]["type"] == "point"]
    assert sorted(shapes) == ["circle", "circle", "circle", "diamond", "triangle-down"]
    upright = [layer["encoding"].get("y", {}) for layer in spec["layer"]]
    domains = [channel["scale"]["domain"] for channel in upright if "scale" in channel]
    assert domains
    assert all(low < 0.0 < high for low, high in domains)


def test_key_explains_every_mark():
    words = svg_words(key_chart(width=340))
    assert len(words) == 10
    assert max(len(word) for word in words) <= 50


@pytest.mark.parametrize("look", [LIGHT, DARK, PRINT])
def test_probability_keeps_its_order_in_grey(look):
    def grey(colour):
        linear = [
            value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
            for value in (int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5))
        ]
        return float(np.dot([0.2126, 0.7152, 0.0722], linear))

    greys = [grey(look.shade(p)) for p in np.linspace(0.0, 1.0, 21)]
    steps = np.diff(greys)
    assert (steps < 0.0).all() or (steps > 0.0).all()
    for colour in (look.ink, look.muted, look.accent):
        lighter, darker = sorted([grey(colour), grey(look.paper)], reverse=True)
        assert (lighter + 0.05) / (darker + 0.05) >= 4.5


def test_a_reading_in_question_does_not_squash_the_others(con, flags):
    asked = con.execute(
        "select distinct v.unit from questions join readings as r using (reading_id) "
        "join vehicles as v on v.vehicle_id = r.vehicle_id order by v.unit"
    ).fetchall()
    assert asked
    found = 0
    for (unit,) in asked:
        for history in joint_histories(read_vehicle(con, unit)):
            calm = history.readings.loc[~history.readings["in_question"], "play"].max()
            if history.limit is None or not history.readings["play"].max() > 5.0 * max(calm, history.limit):
                continue
            found += 1
            spec = play_chart(history, width=340)
            tops = [
                layer["encoding"]["y"]["scale"]["domain"][1]
                for layer in spec["layer"]
                if "scale" in layer["encoding"].get("y", {})
            ]
            assert max(tops) < 3.0 * max(calm, history.limit)
            assert any(word.endswith("above this axis") for word in svg_words(play_chart(history, width=340)))
    assert found
