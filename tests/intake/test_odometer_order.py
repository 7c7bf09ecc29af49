from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fleetwear.intake.odometer_order import contradicted, largest_chain, run_on

C = 10.0


def can_all_be_true(entries, *, c=C):
    """Plain twin of the rule: entries (day, km) in order, each against the one before."""
    ordered = sorted(entries)
    return all(a[1] <= b[1] and b[1] - a[1] <= c * max(b[0] - a[0], 1) for a, b in itertools.pairwise(ordered))


def brute_force(days, kms, stored):
    """Return the size and the number of stored entries of the best set: every set is tried."""
    best = (0, 0)
    for size in range(len(days), 0, -1):
        for chosen in itertools.combinations(range(len(days)), size):
            if can_all_be_true([(days[i], kms[i]) for i in chosen]):
                best = max(best, (size, sum(stored[i] for i in chosen)))
        if best[0] == size:
            break
    return best


ENTRIES = st.lists(
    st.tuples(st.integers(0, 6), st.integers(0, 60), st.booleans()),
    min_size=1,
    max_size=8,
    unique_by=lambda e: e[:2],
)


@settings(max_examples=300, deadline=None)
@given(ENTRIES)
def test_the_chain_is_a_largest_set_with_most_stored_entries(entries):
    days, kms, stored = (list(column) for column in zip(*entries, strict=True))
    chain = largest_chain(days, kms, stored, max_km_per_day=C)
    kept = [(d, o) for d, o, k in zip(days, kms, chain, strict=True) if k]
    assert can_all_be_true(kept)
    assert (len(kept), sum(s for s, k in zip(stored, chain, strict=True) if k)) == brute_force(days, kms, stored)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 3), st.integers(0, 6), st.integers(0, 60)), max_size=20))
def test_contradicted_vehicles_are_those_whose_entries_cannot_all_be_true(entries):
    columns = [list(column) for column in zip(*entries, strict=True)] or [[], [], []]
    expected = [
        vehicle for vehicle in (1, 2, 3) if not can_all_be_true([(day, km) for v, day, km in entries if v == vehicle])
    ]
    assert contradicted(*columns, max_km_per_day=C).tolist() == expected


def test_one_typo_among_many_stands_alone():
    days = np.arange(0, 1000, 10)
    kms = days * 150.0
    kms[40] *= 10
    chain = largest_chain(days, kms, np.zeros(100, dtype=bool))
    assert np.flatnonzero(~chain).tolist() == [40]


def test_many_entries_are_sorted_out_quickly():
    rng = np.random.default_rng(5)
    days = np.arange(20_000)
    kms = days * 300.0
    typos = rng.choice(20_000, 500, replace=False)
    kms[typos] *= 10
    chain = largest_chain(days, kms, np.zeros(20_000, dtype=bool))
    assert chain.sum() >= 19_500
    assert not contradicted(np.ones(chain.sum()), days[chain], kms[chain]).size


def test_entries_after_a_swap_go_on_from_the_old_instrument():
    got = run_on(
        [1, 10, 10, 20, 30],
        [100, 900, 5, 105, 50],
        swap_days=[10, 25],
        swap_old_km=[900, 200],
        swap_new_km=[0, 40],
    )
    assert got.tolist() == [100, 900, 905, 1005, 1110]


def test_no_entries_at_all():
    assert largest_chain([], [], []).tolist() == []
    assert contradicted([], [], []).tolist() == []
