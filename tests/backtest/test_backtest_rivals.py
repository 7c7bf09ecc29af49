"""The straight-line rival against numpy and scipy, and the dates that are looked from."""

from datetime import date

import numpy as np
import pytest
from scipy import stats

from fleetwear.backtest.dates import choose_dates
from fleetwear.backtest.rivals import straight_lines
from fleetwear.errors import InputError

FIRST, LAST = date(2021, 11, 2), date(2026, 10, 30)


def test_lines_are_those_of_another_program():
    rng = np.random.default_rng(3)
    series = np.repeat(np.arange(6), [2, 3, 4, 5, 6, 7])
    x = rng.uniform(0, 1e5, len(series))
    y = 0.2 + 4e-6 * x + rng.normal(0, 0.05, len(series))
    intercept, slope = straight_lines(series, x, y, np.zeros(6, dtype=np.int64))
    for k in range(6):
        line = stats.linregress(x[series == k], y[series == k])
        assert (intercept[k], slope[k]) == pytest.approx((line.intercept, line.slope), rel=1e-8)


def test_one_reading_takes_the_slope_of_its_kind():
    """Kind 0: slopes 1 and 3 of lines over the same distances, so 2 in common; kind 1 has no slope and takes all's."""
    series = np.array([0, 0, 1, 1, 2, 3, 3])
    x = np.array([0.0, 10.0, 20.0, 30.0, 5.0, 7.0, 7.0])
    y = np.array([0.0, 10.0, 0.0, 30.0, 50.0, 1.0, 3.0])
    intercept, slope = straight_lines(series, x, y, np.array([0, 0, 0, 1, 1]))
    assert slope == pytest.approx([1.0, 3.0, 2.0, 2.0, 2.0])
    assert intercept[:4] == pytest.approx([0.0, -60.0, 40.0, 2.0 - 14.0])
    assert np.isnan(intercept[4]), "a series without a reading has no line"


def test_without_any_slope_a_line_is_level():
    intercept, slope = straight_lines(np.array([0]), np.array([5.0]), np.array([0.3]), np.array([0]))
    assert (intercept[0], slope[0]) == (0.3, 0.0)


def test_four_dates_back_from_the_last_reading():
    assert choose_dates(FIRST, LAST) == [
        date(2024, 10, 30), date(2025, 4, 30), date(2025, 10, 30), date(2026, 4, 30),
    ]  # fmt: skip
    assert choose_dates(date(2026, 1, 1), LAST) == [date(2026, 4, 30)]
    assert choose_dates(FIRST, date(2026, 8, 31))[-1] == date(2026, 2, 28)


def test_dates_from_a_day_on_and_dates_named():
    assert choose_dates(FIRST, LAST, start=date(2026, 1, 31), every_months=3) == [
        date(2026, 1, 31), date(2026, 4, 30), date(2026, 7, 31),
    ]  # fmt: skip
    named = [date(2026, 5, 1), date(2025, 1, 1), date(2026, 5, 1)]
    assert choose_dates(FIRST, LAST, dates=named) == [date(2025, 1, 1), date(2026, 5, 1)]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"dates": [date(2020, 1, 1), date(2025, 1, 1), LAST]}, r"2020-01-01, 2026-10-30.*from 2021-11-02"),
        ({"start": date(2027, 1, 1)}, "2027-01-01"),
        ({"every_months": 0}, "every 0 months"),
        ({"every_months": 120}, r"less than 120 months.*--every-months"),
    ],
)
def test_dates_that_cannot_be_are_refused_in_words(options, words):
    with pytest.raises(InputError, match=words):
        choose_dates(FIRST, LAST, **options)
