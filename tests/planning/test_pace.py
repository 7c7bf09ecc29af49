"""Whether wear has changed its pace: probability and place from the onset's posterior."""

import pandas as pd
import pytest

from fleetwear.planning.pace import pace_change


def lines(*rows):
    return pd.DataFrame(rows, columns=["weight", "pace", "onset_km", "shift_km"])


def test_the_probability_is_that_of_onsets_behind_the_joint():
    of = lines((0.1, 1.0, 0.0, 0.0), (0.2, 4.0, 40_000, 0.0), (0.5, 4.0, 60_000, 0.0), (0.2, 4.0, 120_000, 0.0))
    change = pace_change(of, 100_000.0)
    assert change.probability == pytest.approx(0.7)
    assert change.run_km == 60_000
    assert (change.lower_km, change.upper_km) == (40_000, 60_000)
    assert change.pace == pytest.approx(4.0)
    words = change.words("km")
    assert "Wear changed pace at about 60,000 km" in words
    assert "4.0 times as fast; probability 0.70." in words


def test_nothing_is_said_of_what_is_unlikely_or_lies_ahead():
    assert pace_change(lines((0.9, 1.0, 0.0, 0.0), (0.1, 4.0, 40_000, 0.0)), 100_000.0) is None
    assert pace_change(lines((0.2, 1.0, 0.0, 0.0), (0.8, 4.0, 140_000, 0.0)), 100_000.0) is None
    assert pace_change(lines(), 100_000.0) is None


def test_a_distance_run_before_counts():
    """Where the origin is unknown the onset is told from where the record begins; never before it."""
    change = pace_change(lines((1.0, 3.0, 90_000, 50_000)), 60_000.0)
    assert change.run_km == 40_000
    assert pace_change(lines((1.0, 3.0, 30_000, 50_000)), 60_000.0).run_km == 0.0
