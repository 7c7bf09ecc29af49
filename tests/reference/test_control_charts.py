"""Control charts against published values.

Sources, all from memory and recomputed here:

- NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, worked example of the exponentially weighted moving
  average: lambda .3, target 50, standard deviation 2.0539, k 3; the twenty data and their averages as printed to two
  decimals, final limits 52.5884 and 47.4115.
- Lucas & Saccucci (1990), Technometrics 32, table of average run lengths: L 2.814, 2.962, 2.998, 3.054 and 3.071 with
  lambda .1, .2, .25, .4 and .5 give 500 without a shift; with a shift of one standard deviation 10.3, 10.5 and 11.1 for
  lambda .1, .2 and .25, as printed, to one decimal.
- Shewhart's chart is lambda 1: with limit 3 one false signal in 370.4 points, 1 / (2 Phi(-3)).
"""

import numpy as np
import pytest

from fleetwear.measurement.charts import average_run_length, moving_average

DATA = [
    52.0,
    47.0,
    53.0,
    49.3,
    50.1,
    47.0,
    51.0,
    50.1,
    51.2,
    50.5,
    49.6,
    47.6,
    49.9,
    51.3,
    47.8,
    51.2,
    52.6,
    52.4,
    53.6,
    52.1,
]
AVERAGES = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38,
            49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip


def test_the_moving_average_of_the_handbook():
    found = moving_average((np.array(DATA) - 50.0) / 2.0539, weight=0.3, limit=3.0)
    assert 50.0 + 2.0539 * found.values == pytest.approx(np.array(AVERAGES), abs=0.0051)
    final = 3.0 * 2.0539 * np.sqrt(0.3 / 1.7)
    assert [50.0 + final, 50.0 - final] == pytest.approx([52.5884, 47.4115], abs=2e-4)
    assert 2.0539 * moving_average(np.zeros(60), weight=0.3, limit=3.0).limits[-1] == pytest.approx(final)


@pytest.mark.parametrize(("weight", "limit"), [(0.1, 2.814), (0.2, 2.962), (0.25, 2.998), (0.4, 3.054), (0.5, 3.071)])
def test_run_lengths_without_a_shift(weight, limit):
    assert average_run_length(weight=weight, limit=limit) == pytest.approx(500.0, rel=0.005)


@pytest.mark.parametrize(("weight", "limit", "length"), [(0.1, 2.814, 10.3), (0.2, 2.962, 10.5), (0.25, 2.998, 11.1)])
def test_run_lengths_with_a_shift_of_one(weight, limit, length):
    assert average_run_length(1.0, weight=weight, limit=limit) == pytest.approx(length, abs=0.051)


def test_a_single_point_is_the_chart_of_weight_one():
    assert average_run_length(weight=1.0, limit=3.0) == pytest.approx(370.398, rel=1e-5)
