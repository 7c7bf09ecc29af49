"""Exact conversion factors: NIST SP 811 (2008), Appendix B (from memory), and scipy.constants."""

import scipy.constants

from fleetwear.units import factor


def test_inch_and_mile():
    assert factor("in", "mm") == 25.4 == scipy.constants.inch * 1e3
    assert factor("mi", "km") == 1.609344
    # scipy multiplies feet up to the mile and rounds in the last place
    assert abs(scipy.constants.mile / 1609.344 - 1.0) < 1e-15
    assert factor("thou", "mm") == 0.0254 == scipy.constants.mil * 1e3
    assert factor("um", "mm") == 1e-3


def test_pound_force():
    """The avoirdupois pound times standard gravity; the project stores no forces, so only the constant."""
    assert scipy.constants.pound_force == 4.4482216152605
