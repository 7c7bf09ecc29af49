"""Turnbull's estimator: against plain loops, its bounds, ties, and what it refuses."""

import numpy as np
import pytest

from fleetwear.errors import InputError
from fleetwear.survival import Lifetimes, turnbull


def looked_at(rng, n, *, visits=5, clusters=None):
    """Return lifetimes of n parts that were looked at now and then, on a coarse grid so that ends tie."""
    true = 100.0 * rng.weibull(2.0, n)
    at = np.sort(np.round(rng.uniform(0.0, 160.0, (n, visits)), -1), axis=1)
    before = (at < true[:, None]).sum(axis=1)
    ends = np.column_stack([np.zeros(n), at, np.full(n, np.inf)])
    rows = np.arange(n)
    lower, upper = ends[rows, before], ends[rows, before + 1]
    return Lifetimes.of(lower[upper > 0.0], upper[upper > 0.0], clusters)


def plainly(lifetimes, rounds=20_000):
    """Return intersections and masses by Turnbull's own iteration, in loops."""
    pairs = list(zip(lifetimes.lower, lifetimes.upper, strict=True))
    found = []
    for left in sorted({low for low, _ in pairs}):
        right = min(high for _, high in pairs if high > left)
        if not any(left < low < right for low, _ in pairs):
            found.append((left, right))
    covers = [[low <= left and right <= high for left, right in found] for low, high in pairs]
    mass = [1.0 / len(found)] * len(found)
    for _ in range(rounds):
        new = [0.0] * len(found)
        for row in covers:
            total = sum(m for m, inside in zip(mass, row, strict=True) if inside)
            for j, inside in enumerate(row):
                if inside:
                    new[j] += mass[j] / total / len(pairs)
        step = max(abs(a - b) for a, b in zip(new, mass, strict=True))
        mass = new
        if step < 1e-10:
            break
    loglik = sum(np.log(sum(m for m, i in zip(mass, row, strict=True) if i)) for row in covers)
    return found, mass, loglik


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_same_as_plain_loops(seed):
    lifetimes = looked_at(np.random.default_rng(seed), 30)
    found, mass, loglik = plainly(lifetimes)
    told = turnbull(lifetimes, tolerance=1e-9)
    assert told.converged
    assert told.loglik == pytest.approx(loglik, abs=1e-6)
    by_interval = dict(zip(zip(told.left, told.right, strict=True), told.mass, strict=True))
    assert set(by_interval) <= set(found)
    for interval, wanted in zip(found, mass, strict=True):
        assert by_interval.get(interval, 0.0) == pytest.approx(wanted, abs=1e-4)


def test_the_shortfall_bounds_what_is_missing():
    lifetimes = looked_at(np.random.default_rng(4), 300)
    best = turnbull(lifetimes, tolerance=1e-9)
    rough = turnbull(lifetimes, tolerance=1.0)
    assert 0.0 <= best.loglik - rough.loglik <= rough.shortfall <= 1.0
    assert rough.mass.sum() == pytest.approx(1.0)


def test_bounds_enclose_the_truth_of_many_and_meet_between_intervals():
    lifetimes = looked_at(np.random.default_rng(5), 4000)
    told = turnbull(lifetimes)
    at = np.array([40.0, 80.0, 120.0])
    least, most = told.bounds(at)
    assert (least <= most).all()
    truth = np.exp(-((at / 100.0) ** 2))
    assert (np.abs(most - truth) < 0.04).all()
    inside = (told.left + np.where(np.isfinite(told.right), told.right, told.left + 5.0)) / 2.0
    low, high = told.bounds(inside)
    assert high - low == pytest.approx(told.mass, abs=1e-12)
    assert told.bounds([0.0])[1] == pytest.approx([1.0])


def test_an_exact_lifetime_and_one_that_goes_on_from_there_do_not_meet():
    told = turnbull(Lifetimes.of([2.0, 2.0], [2.0, np.inf]), tolerance=1e-12)
    assert told.left.tolist() == [2.0, 2.0]
    assert told.right.tolist() == [2.0, np.inf]
    assert told.mass == pytest.approx([0.5, 0.5])


def test_what_says_nothing_is_left_out_and_what_is_counted():
    lifetimes = Lifetimes.of([0.0, 0.0, 3.0, 4.0, 5.0], [np.inf, 2.0, 6.0, np.inf, 5.0], [1, 1, 2, 2, 3])
    assert len(lifetimes) == 4
    assert (lifetimes.n_left, lifetimes.n_between, lifetimes.n_right, lifetimes.n_crossed) == (1, 2, 1, 3)
    assert lifetimes.clusters_crossed() == 3
    assert lifetimes.reach == 2.0
    assert len(lifetimes.sample(2)) == 2


def test_the_reach_is_where_five_were_looked_at():
    assert Lifetimes.of([0.0] * 2, [7.0, 9.0]).reach == 7.0
    assert Lifetimes.of(np.arange(1.0, 11.0), np.full(10, np.inf)).reach == 6.0
    assert Lifetimes.of([], []).reach == 0.0


@pytest.mark.parametrize(("low", "high"), [(3.0, 2.0), (-1.0, 2.0), (np.nan, 2.0), (0.0, 0.0), (1.0, np.nan)])
def test_bounds_that_mean_nothing_are_refused(low, high):
    with pytest.raises(InputError, match="lifetime 1 lies between"):
        Lifetimes.of([1.0, low], [2.0, high])
