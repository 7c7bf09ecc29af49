"""Growth in words."""

import pytest

from fleetwear.planning.wording import say_fixed, say_growth


def test_growth_that_rounds_to_zero_has_no_sign():
    assert say_growth([1e-12, -1e-12, 3e-6], "in", "mi") == "0.0000 (0.0000 to 0.0019) in"
    assert say_growth([-1e-12, -2e-6, 3e-6], "mm", "km") == "0.000 (-0.020 to 0.030) mm"


@pytest.mark.parametrize(
    ("value", "digits", "said"), [(-0.04, 1, "0.0"), (-0.06, 1, "-0.1"), (0.0, 0, "0"), (2.345, 2, "2.35")]
)
def test_numbers_with_fixed_decimals(value, digits, said):
    assert say_fixed(value, digits) == said
