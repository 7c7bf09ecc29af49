"""Units at the edge: the listed spellings and plain numbers, nothing else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleetwear.errors import InputError, UnitError
from fleetwear.units import CANONICAL, SPELLINGS, convert, factor, parse_measure, resolve, say, spelling_table


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("20 thou", (20.0, "thou")), ("0.5 mm", (0.5, "mm")), (".25in", (0.25, "in")), ("250 µm", (250.0, "um")),
        ("250 μm", (250.0, "um")), (" 3.1e1 MILS ", (31.0, "thou")), ('0.25"', (0.25, "in")),
    ],
)  # fmt: skip
def test_measures_of_play(text, wanted):
    assert parse_measure(text, "play") == wanted


@pytest.mark.parametrize(
    "text",
    [
        "",
        "thou",
        "twenty thou",
        "nan mm",
        "inf mm",
        "1_000 mm",
        "0x10 mm",
        "1,5 mm",
        "1e999 mm",
        "5",
        "5 km",
        "2*3 mm",
    ],
)
def test_what_is_no_measure_of_play_is_refused(text):
    with pytest.raises(InputError) as refused:
        parse_measure(text, "play")
    assert refused.value.mend


def test_a_default_unit_is_used_only_where_none_is_written():
    assert parse_measure("5", "play", default_unit="mm") == (5.0, "mm")
    assert parse_measure("5 thou", "play", default_unit="mm") == (5.0, "thou")
    assert parse_measure("12400", "distance", default_unit="miles") == (12400.0, "mi")


@pytest.mark.parametrize("spelling", ["", "furlong", "mm²", "thou**2", "__import__('os')", "km"])
def test_units_that_are_not_listed_are_refused(spelling):
    with pytest.raises(UnitError, match="unknown play unit"):
        resolve(spelling, "play")


@given(
    st.floats(0, 1e6),
    st.sampled_from(["thou", "in", "mm", "um"]),
    st.sampled_from(["thou", "in", "mm", "um"]),
)
def test_there_and_back(value, unit, other):
    assert convert(convert([value], unit, other), other, unit)[0] == pytest.approx(value, rel=1e-12)
    assert factor(unit, other) * factor(other, unit) == pytest.approx(1.0, rel=1e-15)


def test_the_table_of_spellings_holds_each_once():
    table = spelling_table()
    assert not table.duplicated(["quantity", "spelling"]).any()
    assert len(table) == sum(len(spellings) for spellings in SPELLINGS.values())
    for row in table.itertuples():
        assert row.canonical_unit == CANONICAL[row.quantity]
        assert row.to_canonical == factor(row.unit, row.canonical_unit)


def test_values_are_said_with_sensible_digits():
    assert say(0.508, "thou", stored_in="mm") == "20 thou"
    assert say(0.508, "mm", stored_in="mm") == "0.51 mm"
    assert say(0.508, "in", stored_in="mm") == "0.020 in"
    assert say(20000.0, "mi", stored_in="km") == "12,427 mi"
