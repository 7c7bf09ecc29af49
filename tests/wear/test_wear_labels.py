"""Labels of lives and cohorts at the door."""

import numpy as np
import pandas as pd
import pytest

from fleetwear.errors import InputError
from fleetwear.wear.labels import label_codes, labelled_readings


def test_labels_of_any_kind_come_back():
    for labels in (["b", "a", "b"], [7, 3, 7], [("x", 1), ("y", 2), ("x", 1)]):
        life = np.empty(3, dtype=object)
        life[:] = labels
        found = labelled_readings(life, np.ones(3), np.ones(3), None)
        assert list(found.lives) == [labels[0], labels[1]]
        assert sorted(found.readings.life.tolist()) == [0, 0, 1]
    assert found.cohorts == ["all"]


def test_series_and_categories_are_taken():
    frame = pd.DataFrame({"life": pd.Categorical(["a", "b", "a"]), "x": [1, 2, 3], "y": [0.1, 0.2, 0.3]})
    found = labelled_readings(frame["life"], frame["x"], frame["y"], frame["life"].astype("string"))
    assert found.cohorts == ["a", "b"]


def test_a_life_in_two_cohorts():
    with pytest.raises(InputError, match="life 'a' stands in the cohorts 'k' and 'm'") as caught:
        labelled_readings(["a", "b", "a"], np.ones(3), np.ones(3), ["k", "k", "m"])
    assert caught.value.where == "reading 2"


@pytest.mark.parametrize("missing", [None, np.nan])
def test_missing_labels(missing):
    life = np.array(["a", missing, "b"], dtype=object)
    full = np.array(["a", "b", "c"], dtype=object)
    with pytest.raises(InputError, match="life has no label") as caught:
        labelled_readings(life, np.ones(3), np.ones(3), None)
    assert caught.value.where == "reading 1"
    with pytest.raises(InputError, match="cohort has no label"):
        labelled_readings(full, np.ones(3), np.ones(3), life)


def test_lengths():
    with pytest.raises(InputError, match="shape"):
        labelled_readings(["a", "b"], np.ones(2), np.ones(2), ["k"])
    with pytest.raises(InputError, match="shape"):
        labelled_readings(["a", "b"], np.ones(3), np.ones(2), None)


def test_no_readings():
    found = labelled_readings([], [], [], None)
    assert found.readings.n_lives == 0


def test_codes_of_labels():
    lives = pd.Index(["a", "b", "c"])
    codes, x = label_codes(lives, ["c", "a"], [1.0, 2.0])
    assert codes.tolist() == [2, 0]
    assert x.tolist() == [1.0, 2.0]
    codes, x = label_codes(lives, "b", [1.0, 2.0, 3.0])
    assert codes.tolist() == [1, 1, 1]
    codes, x = label_codes(lives, ["a", "b"], 5.0)
    assert x.tolist() == [5.0, 5.0]
