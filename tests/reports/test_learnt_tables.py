"""What a fit has learnt, as tables: in words, both units, nothing said of shapes of no weight."""

import numpy as np
import pandas as pd
import pytest

from fleetwear.planning.learnt import Learnt, read_learnt
from fleetwear.reports.learnt import method_table, shape_table, weight_table
from fleetwear.store import Store


def learnt():
    shapes = pd.DataFrame(
        {
            "model_group": ["ball joint/in-out"] * 4,
            "shape": ["two-stage", "power", "wandering", "straight"],
            "weight": [0.6, 0.25, 0.12, 0.03],
            "exponent": [1.0, 1.52, 1.0, 1.0],
            "pace": [4.3, 1.0, 1.0, 1.0],
            "wander_mm2_per_km": [0.0, 0.0, 2.5e-9, 0.0],
            "n_lives": 1200,
            "n_readings": 5400,
            "residual_variance": 0.0016,
            "slip_share": 0.031,
            "slip_shift_mm": -0.2,
            "spread": 1.12,
            "doubt": "",
        }
    )
    methods = pd.DataFrame(
        {
            "model_group": "ball joint/in-out",
            "method": ["lever under tyre, read at the joint", "pry bar"],
            "is_reference": [True, False],
            "n_readings": [5000, 400],
            "offset_mm": [0.0, -0.02],
            "offset_se": [0.0, 0.005],
            "variance_ratio": [1.0, 4.0],
            "threshold_mm": [np.nan, 0.25],
            "softness_mm": [np.nan, 0.06],
        }
    )
    weights = pd.DataFrame(
        {
            "cohort": "ball joint/in-out/Van/town",
            "shape": ["power", "two-stage"],
            "weight": [0.98, 0.02],
            "n_scored": 40,
        }
    )
    return Learnt(1, shapes, methods, weights)


def test_shapes_in_words():
    row = shape_table(learnt()).iloc[0]
    assert row["Joints"] == "ball joint, in-out"
    assert row["Shapes by weight"] == (
        "two-stage 0.60 (4.3 times as fast after the onset); power 0.25 (exponent 1.52); "
        "wandering 0.12 (0.016 mm (0.6 thou) in 100,000 km)"
    )
    assert row["Error of a reading"] == "0.040 mm (1.6 thou)"
    assert row["Slipped"] == "3.1%"
    assert row["Parts, readings"] == "1,200, 5,400"
    assert row["Spread"] == "1.12"


def test_methods_in_words():
    reference, other = method_table(learnt()).to_dict("records")
    assert reference["Noise"] == "reference"
    assert reference["Sees every other time"] == ""
    assert other["Reads higher (+) or lower (-)"] == "-0.020 mm \u00b1 0.010"
    assert other["Noise"] == "2.00 times"
    assert other["Sees every other time"] == "0.250 mm (9.8 thou)"


def test_cohorts_of_their_own():
    row = weight_table(learnt()).iloc[0]
    assert row["Cohort"] == "ball joint, in-out, Van, town"
    assert row["Shapes by weight"] == "power 0.98"


def test_a_published_fit_tells_what_it_has_learnt(demo_store):
    """Every group with weights that sum to one; the pry bar of the demo fleet truly reads low, the jack high."""
    with Store(demo_store.folder).reader() as con:
        found = read_learnt(con)
    total = found.shapes.groupby("model_group")["weight"].sum()
    np.testing.assert_allclose(total, 1.0, atol=1e-9)
    assert found.methods.groupby("model_group")["is_reference"].sum().eq(1).all()
    known = found.methods[found.methods["n_readings"] >= 40]
    pry = known[known["method"] == "pry bar, read at the joint"]
    jack = known[known["method"] == "jack and unload, read at the joint"]
    assert len(pry) >= 3
    assert len(jack) >= 3
    assert (pry["offset_mm"] < 0.005).all()
    assert (jack["offset_mm"] > 0.005).all()
    assert set(found.shapes["spread"].between(0.5, 4.0)) == {True}
    assert len(shape_table(found)) == found.shapes["model_group"].nunique()


@pytest.mark.parametrize("table", [shape_table, method_table, weight_table])
def test_nothing_learnt_is_an_empty_table(table):
    empty = Learnt(1, *(frame.iloc[:0] for frame in (learnt().shapes, learnt().methods, learnt().weights)))
    assert table(empty).empty
