"""Distinct combinations of columns against a plain loop."""

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleetwear.intake import combinations as module
from fleetwear.intake.combinations import combinations, repeated

ROWS = st.lists(
    st.tuples(
        st.sampled_from([0, 1, 7, None]),
        st.sampled_from([2**30, 5, None]),
        st.sampled_from(["a", "b", "", None]),
    ),
    max_size=30,
)


def columns_of(rows):
    kinds = (pa.int32(), pa.int64(), pa.string())
    return [pa.array([row[place] for row in rows], kind) for place, kind in enumerate(kinds)]


def in_plain_words(rows):
    numbers, firsts, of_rows = {}, [], []
    for place, row in enumerate(rows):
        if row not in numbers:
            numbers[row] = len(numbers)
            firsts.append(place)
        of_rows.append(numbers[row])
    return of_rows, firsts


@given(rows=ROWS, largest=st.sampled_from([2, 100, 2**62]))
def test_combinations_are_those_of_a_plain_loop(rows, largest):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_LARGEST", largest)
        found = combinations(columns_of(rows), len(rows))
    of_rows, firsts = in_plain_words(rows)
    assert found.of_rows.tolist() == of_rows
    assert found.firsts.tolist() == firsts
    assert len(found) == len(firsts)


def test_rows_without_columns_are_one_combination():
    assert combinations([], 3).of_rows.tolist() == [0, 0, 0]
    assert combinations([], 3).firsts.tolist() == [0]


@given(rows=ROWS)
def test_what_holds_of_a_combination_is_spread_to_its_rows(rows):
    found = combinations(columns_of(rows), len(rows))
    for place, column in enumerate(columns_of(rows)):
        spread = found.spread(column.take(pa.array(found.firsts)))
        assert spread.to_pylist() == [row[place] for row in rows]


@given(codes=st.lists(st.integers(0, 2**40) | st.integers(0, 9), max_size=40))
def test_repeated_numbers_are_those_of_a_plain_loop(codes):
    found = repeated(np.array(codes, dtype=np.int64))
    assert found.tolist() == sorted({code for code in codes if codes.count(code) > 1})
