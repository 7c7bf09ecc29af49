"""Growth shapes, their slopes and inverses."""

import numpy as np
import pytest

from fleetwear.errors import InputError
from fleetwear.wear.shapes import Shape, check_shape_name


@pytest.mark.parametrize("exponent", [0.5, 1.0, 1.6, 3.0])
def test_slope_and_inverse(exponent):
    shape = Shape("power", exponent, 40_000.0)
    x = np.linspace(1e3, 3e5, 40)
    assert shape.growth(40_000.0) == pytest.approx(1.0)
    np.testing.assert_allclose(shape.growth(x), (x / 4e4) ** exponent)
    np.testing.assert_allclose(shape.distance_at(shape.growth(x)), x, rtol=1e-12)
    difference = (shape.growth(x + 1.0) - shape.growth(x - 1.0)) / 2.0
    np.testing.assert_allclose(shape.slope(x), difference, rtol=1e-5)


def test_growth_starts_at_zero():
    assert Shape("power", 1.7, 5.0).growth(0.0) == 0.0
    assert Shape("power", 1.7, 5.0).distance_at(-3.0) == 0.0


def test_names():
    assert check_shape_name("level") == "level"
    with pytest.raises(InputError, match="unknown shape 'wavy'"):
        check_shape_name("wavy")
