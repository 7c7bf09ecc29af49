"""Nominal bead diameters: what a tyre size tells, and what is not guessed."""

import pytest

from fleetwear.planning.tyre_size import bead_diameter


@pytest.mark.parametrize(
    ("size", "inches"),
    [
        ("295/75R22.5", 22.5),
        ("11R22.5", 22.5),
        ("LT245/75R16", 16.0),
        ("205/75 R16", 16.0),
        ("315/80 r22.5", 22.5),
        ("P225/60R17", 17.0),
        ("245/40ZR18", 18.0),
        ("8.25-20", 20.0),
        ("7.50R16LT", 16.0),
        ("31x10.50R15LT", 15.0),
        ("295/75R22.5 146/143L", 22.5),
        ("225/70R19.5 128/126N, LRG", 19.5),
        ("11R22.5 steer, 295/75R22.5 drive", 22.5),
    ],
)
def test_sizes_in_inches(size, inches):
    assert bead_diameter(size) == inches


@pytest.mark.parametrize(
    "size",
    [
        None,
        float("nan"),
        "",
        "unknown",
        "225",
        "16",
        "LT245/75",
        "220/55R390",
        "11R22.5 steer, 225/70R19.5 drive",
        "R",
        "11R2.5",
    ],
)
def test_what_does_not_tell_one_diameter_is_not_guessed(size):
    assert bead_diameter(size) is None
