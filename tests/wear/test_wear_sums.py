"""Sums over lives against plain loops, and their precision far from the origin."""

from fractions import Fraction

import numpy as np
import pytest

from fleetwear.errors import InputError
from fleetwear.wear.sums import LifeSums, reading_arrays

NAMES = ["n", "w", "wg", "wgg", "wy", "wgy", "wyy", "log_v"]


def readings(seed, lives=12):
    """Shuffled readings, some of one life at one distance, one life without any."""
    rng = np.random.default_rng(seed)
    life = rng.integers(0, lives - 1, 90)
    x = rng.integers(0, 6, 90) * 10_000.0
    return life, x, rng.normal(size=90), rng.choice([0.4, 1.0, 2.5], 90)


def looped(g, y, v):
    w = 1.0 / v
    return [len(g), w.sum(), (w * g).sum(), (w * g * g).sum(), (w * y).sum(), (w * g * y).sum(),
            (w * y * y).sum(), np.log(v).sum()]  # fmt: skip


def as_matrix(sums):
    return np.stack([getattr(sums, name) for name in NAMES], axis=1)


@pytest.mark.parametrize("exponent", [1.0, 1.7, 0.5])
def test_sums_equal_a_loop(exponent):
    life, x, y, v = readings(1)
    got = as_matrix(reading_arrays(life, x, y, n_lives=12, variance_ratio=v).sums(exponent, 25_000.0))
    g = (x / 25_000.0) ** exponent
    expected = [looped(g[life == j], y[life == j], v[life == j]) for j in range(12)]
    np.testing.assert_allclose(got, expected, rtol=1e-12, atol=1e-12)
    assert (got[11] == 0.0).all()


@pytest.mark.parametrize("exponent", [1.0, 2.2])
def test_earlier_sums_equal_a_loop(exponent):
    life, x, y, v = readings(2)
    arrays = reading_arrays(life, x, y, n_lives=12, variance_ratio=v)
    got = as_matrix(arrays.earlier_sums(exponent, 25_000.0))
    g = (arrays.distance / 25_000.0) ** exponent
    expected = []
    for i in range(90):
        earlier = (arrays.life == arrays.life[i]) & (arrays.distance < arrays.distance[i])
        expected.append(looped(g[earlier], arrays.play[earlier], arrays.variance_ratio[earlier]))
    np.testing.assert_allclose(got, expected, rtol=1e-10, atol=1e-10)


def test_strokes_of_one_visit_are_not_earlier_than_each_other():
    arrays = reading_arrays(np.zeros(4, dtype=np.int64), [5.0, 5.0, 5.0, 9.0], [1.0, 2.0, 3.0, 4.0], n_lives=1)
    assert arrays.earlier_sums(1.0, 1.0).n.tolist() == [0.0, 0.0, 0.0, 3.0]


def test_order_of_readings_does_not_matter():
    life, x, y, v = readings(3)
    order = np.random.default_rng(0).permutation(90)
    one = reading_arrays(life, x, y, n_lives=12, variance_ratio=v)
    other = reading_arrays(life[order], x[order], y[order], n_lives=12, variance_ratio=v[order])
    assert (other.life == one.life).all()
    assert (other.distance == one.distance).all()
    np.testing.assert_allclose(as_matrix(one.sums(1.0, 1e4)), as_matrix(other.sums(1.0, 1e4)), rtol=1e-12, atol=1e-12)


def test_sums_of_two_halves_add_up():
    life, x, y, v = readings(4)
    half = np.arange(90) < 37
    parts = [
        as_matrix(reading_arrays(life[m], x[m], y[m], n_lives=12, variance_ratio=v[m]).sums(1.3, 3e4))
        for m in (half, ~half)
    ]
    whole = as_matrix(reading_arrays(life, x, y, n_lives=12, variance_ratio=v).sums(1.3, 3e4))
    np.testing.assert_allclose(parts[0] + parts[1], whole, rtol=1e-12, atol=1e-12)


def test_centring_equals_sums_of_centred_growth():
    life, x, y, v = readings(5)
    centred = as_matrix(reading_arrays(life, x, y, n_lives=12, variance_ratio=v).sums(1.0, 25_000.0).centred(0.9, 0.6))
    g = (x / 25_000.0 - 0.9) / 0.6
    expected = [looped(g[life == j], y[life == j], v[life == j]) for j in range(12)]
    np.testing.assert_allclose(centred, expected, rtol=1e-11, atol=1e-11)


def test_readings_of_chosen_lives_keep_their_codes():
    life, x, y, v = readings(6)
    arrays = reading_arrays(life, x, y, n_lives=12, variance_ratio=v)
    chosen = np.arange(12) % 3 == 1
    part = arrays.of_lives(chosen).sums(1.0, 1e4)
    whole = arrays.sums(1.0, 1e4)
    np.testing.assert_allclose(part.wgy, np.where(chosen, whole.wgy, 0.0), rtol=1e-12)


def test_short_spacing_far_from_the_origin_keeps_its_digits():
    """Readings 100 km apart at 500,000 to 1,000,000 km: the scatter within a life is exact."""
    rng = np.random.default_rng(0)
    start = rng.integers(500_000, 999_000, 200)
    x = (start[:, None] + 100 * np.arange(4)).ravel().astype(float)
    life = np.repeat(np.arange(200), 4)
    arrays = reading_arrays(life, x, np.zeros(800), n_lives=200)
    reference = arrays.mean_distance
    raw = arrays.sums(1.0, reference)
    centre = raw.wg.sum() / 800.0
    spread = np.sqrt(raw.wgg.sum() / 800.0 - centre**2)
    z = raw.centred(centre, spread)
    got = z.n * z.wgg - z.wg**2
    # 4 readings 100 km apart: n sum x^2 - (sum x)^2 = 4 * 14 * 100^2 - (6 * 100)^2 = 200,000 km^2 exactly
    exact = float(Fraction(200_000) / Fraction(reference * spread) ** 2)
    # the terms that cancel are 1e7 times the difference, so nine of sixteen digits are left
    np.testing.assert_allclose(got, exact, rtol=1e-6)


def test_earlier_sums_keep_their_digits_at_the_end_of_a_large_fleet():
    """Differences of running sums over 200,000 readings against the sums of the last life alone."""
    rng = np.random.default_rng(1)
    life = np.repeat(np.arange(50_000), 4)
    x = rng.uniform(1.0, 9e5, 200_000)
    y = rng.uniform(0.0, 3.0, 200_000)
    arrays = reading_arrays(life, x, y, n_lives=50_000)
    got = as_matrix(arrays.earlier_sums(1.0, arrays.mean_distance))[-1]
    rows = arrays.life == 49_999
    g = arrays.distance[rows][:-1] / arrays.mean_distance
    expected = looped(g, arrays.play[rows][:-1], np.ones(3))
    # running totals of 1e6 lose six digits of sixteen
    np.testing.assert_allclose(got, expected, rtol=1e-8, atol=1e-9)


@pytest.mark.parametrize(
    ("column", "value", "rule"),
    [
        ("distance", np.nan, "not negative"),
        ("distance", -1.0, "not negative"),
        ("play", np.inf, "finite"),
        ("variance_ratio", 0.0, "positive"),
    ],
)
def test_values_that_cannot_be_taken_are_named(column, value, rule):
    columns = {"distance": np.ones(3), "play": np.ones(3), "variance_ratio": np.ones(3)}
    columns[column] = np.array([1.0, value, 1.0])
    with pytest.raises(InputError, match=rule) as caught:
        reading_arrays(
            np.zeros(3, dtype=np.int64), columns["distance"], columns["play"], n_lives=1,
            variance_ratio=columns["variance_ratio"],
        )  # fmt: skip
    assert caught.value.where == "reading 1"
    assert column in caught.value.what


def test_unequal_lengths_are_refused():
    with pytest.raises(InputError, match="shapes"):
        reading_arrays(np.zeros(3, dtype=np.int64), np.ones(3), np.ones(2), n_lives=1)


def test_empty_sums():
    assert len(LifeSums.empty(4)) == 4
    assert (as_matrix(LifeSums.empty(4)) == 0.0).all()
