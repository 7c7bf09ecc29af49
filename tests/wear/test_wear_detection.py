"""Readings that are not exact numbers, against numerical quadrature (scipy.integrate)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from fleetwear.wear.detection import detected, rounded


def moments(likelihood, m, s):
    """Log normaliser, mean and variance of N(m, s) times a likelihood, by quadrature."""
    sd = np.sqrt(s)
    z = np.linspace(m - 12 * sd, m + 12 * sd, 40_001)
    density = stats.norm.pdf(z, m, sd) * likelihood(z)

    def integral(weight):
        return integrate.simpson(weight(z) * density, x=z)

    z0 = integral(np.ones_like)
    mean = integral(lambda z: z) / z0
    return np.log(z0), mean, integral(lambda z: (z - mean) ** 2) / z0


@settings(max_examples=60, deadline=None)
@given(
    m=st.floats(-0.2, 0.8),
    sd=st.floats(0.02, 0.3),
    threshold=st.floats(0.1, 0.4),
    softness=st.floats(0.02, 0.2),
    sign=st.sampled_from([-1.0, 1.0]),
)
def test_detection_equals_quadrature(m, sd, threshold, softness, sign):
    if sign * (m - threshold) < -6.0 * np.hypot(sd, softness):
        return  # too unlikely for quadrature about m
    told = detected(*(np.array([[v]]) for v in (m, sd**2, threshold, softness, sign)))
    wanted = moments(lambda z: stats.norm.cdf(sign * (z - threshold) / softness), m, sd**2)
    assert told.log_z[0, 0] == pytest.approx(wanted[0], abs=1e-6)
    assert told.mean[0, 0] == pytest.approx(wanted[1], abs=1e-6)
    assert told.variance[0, 0] == pytest.approx(wanted[2], abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    m=st.floats(0.0, 0.8),
    sd=st.floats(0.02, 0.3),
    steps=st.integers(0, 8),
    half=st.floats(0.02, 0.25),
    error=st.floats(0.02, 0.1),
)
def test_rounding_equals_quadrature(m, sd, steps, half, error):
    """A reading is a whole number of steps; zero is open below, because no less than nothing is read."""
    y = 2.0 * half * steps
    if abs(y - m) > 6.0 * np.hypot(sd, error):
        return
    told = rounded(*(np.array([[v]]) for v in (m, sd**2, y, half, error**2)))

    def likelihood(z):
        below = 0.0 if steps == 0 else stats.norm.cdf((y - half - z) / error)
        return stats.norm.cdf((y + half - z) / error) - below

    wanted = moments(likelihood, m, sd**2)
    assert told.log_z[0, 0] == pytest.approx(wanted[0], abs=1e-6)
    assert told.mean[0, 0] == pytest.approx(wanted[1], abs=1e-6)
    assert told.variance[0, 0] == pytest.approx(wanted[2], abs=1e-6)


def test_the_unrounded_reading_of_an_interval():
    """Mean squared error of measurement given the interval, against a grid over reading and true play."""
    m, s, y, half, error = 0.3, 0.02, 0.45, 0.15, 0.05
    u = np.linspace(y - half, y + half, 2001)[:, None]
    z = np.linspace(m - 1.2, m + 1.2, 4001)[None, :]
    density = stats.norm.pdf(z, m, np.sqrt(s)) * stats.norm.pdf(u, z, error)
    wanted = (density * (u - z) ** 2).sum() / density.sum()
    told = rounded(*(np.array([[v]]) for v in (m, s, y, half, error**2)))
    assert told.square[0, 0] == pytest.approx(wanted, rel=2e-3)


def test_a_very_narrow_interval_is_a_point():
    m, s, y, half, error = 0.3, 0.01, 0.5, 1e-6, 0.0016
    told = rounded(*(np.array([[v]]) for v in (m, s, y, half, error)))
    assert told.log_z[0, 0] == pytest.approx(np.log(2 * half) + stats.norm.logpdf(y, m, np.sqrt(s + error)), abs=1e-6)
    assert told.mean[0, 0] == pytest.approx(m + s / (s + error) * (y - m), abs=1e-9)


@pytest.mark.parametrize("far", [5.0, 50.0, 5000.0])
def test_far_from_the_prior_everything_stays_finite(far):
    for told in (
        detected(np.array([far]), np.array([0.01]), np.array([0.25]), np.array([0.05]), np.array([-1.0])),
        detected(np.array([-far]), np.array([0.01]), np.array([0.25]), np.array([0.05]), np.array([1.0])),
        rounded(np.array([far]), np.array([0.01]), np.array([0.5]), np.array([0.1]), np.array([0.001])),
    ):
        assert np.isfinite(told.log_z).all()
        assert np.isfinite(told.mean).all()
        assert (told.variance > 0.0).all()
