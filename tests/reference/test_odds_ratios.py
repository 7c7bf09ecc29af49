"""Conditional odds ratios and their exact intervals against Fisher's tea and a plain sum over tables.

Fisher (1935), The Design of Experiments, chapter 2: a lady told 3 of 4 cups with milk first, and 3 of 4 with tea
first. The conditional estimate 6.408 and the 95 % interval 0.3136 (one-sided) and 0.2117 to 621.9 are those that
handbooks of R print for fisher.test on it (from memory). That solves for the lower end, and for one over the upper end,
to ROOT, which is the tolerance here; that ours solve their own equations is tested below to 1e-4 of a probability.
"""

from __future__ import annotations

from math import comb

import numpy as np
import pytest

from fleetwear.forecast.mates import odds_ratio

TEA = np.array([[3, 1], [1, 3]])
ROOT = float(np.finfo(float).eps ** 0.25)


def chances(table, ratio):
    """The probability of each first cell at an odds ratio, margins given: Fisher's noncentral hypergeometric law."""
    (a, b), (c, d) = table.tolist()
    low, high = max(0, a - d), min(a + b, a + c)
    cells = range(low, high + 1)
    weights = [comb(a + b, x) * comb(c + d, a + c - x) * ratio**x for x in cells]
    return list(cells), [weight / sum(weights) for weight in weights]


def test_fishers_tea():
    ratio, low, high = odds_ratio(TEA, level=0.95)
    assert ratio == pytest.approx(6.408309, rel=1e-5)
    assert low == pytest.approx(0.2117329, abs=ROOT)
    assert 1 / high == pytest.approx(1 / 621.9337505, abs=ROOT)
    assert odds_ratio(TEA, level=0.90)[1] == pytest.approx(0.3135693, abs=ROOT)


@pytest.mark.parametrize("table", [TEA, np.array([[9, 11], [30, 150]]), np.array([[2, 10], [15, 3]])])
def test_estimate_and_interval_solve_their_equations(table):
    a = table[0, 0]
    ratio, low, high = odds_ratio(table, level=0.95)
    cells, weights = chances(table, ratio)
    assert sum(x * p for x, p in zip(cells, weights, strict=True)) == pytest.approx(a, rel=1e-6)
    cells, weights = chances(table, low)
    assert sum(p for x, p in zip(cells, weights, strict=True) if x >= a) == pytest.approx(0.025, rel=1e-4)
    cells, weights = chances(table, high)
    assert sum(p for x, p in zip(cells, weights, strict=True) if x <= a) == pytest.approx(0.025, rel=1e-4)


def test_zero_cells_bound_one_side_only():
    assert odds_ratio(np.array([[5, 0], [2, 9]]), level=0.95)[2] == np.inf
    assert odds_ratio(np.array([[0, 5], [2, 9]]), level=0.95)[1] == 0.0
    assert odds_ratio(np.array([[0, 5], [0, 9]]), level=0.95)[1:] == (0.0, np.inf)
