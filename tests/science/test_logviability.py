"""The logarithm of the share alive against scipy, far into both tails."""

import numpy as np
import pytest
from scipy.special import log_ndtr

from hilum.science.logviability import death_rate, log_viability_fraction

NED = np.concatenate([np.linspace(-40.0, 12.0, 20_011), [-1e6, -4e3, -400.0, 0.0, 50.0, 1e6]])


def test_log_of_the_share_is_that_of_scipy() -> None:
    """From -1,000,000 to 1,000,000 probits the logarithm agrees with scipy.special.log_ndtr."""
    assert log_viability_fraction(NED) == pytest.approx(log_ndtr(NED), rel=1e-9, abs=1e-9)


def test_slope_is_density_over_share() -> None:
    """The slope is exp(log density - log share) with scipy's logarithm, and the tail's series."""
    near = NED[(NED > -38.0) & (NED < 30.0)]
    expected = np.exp(-0.5 * near**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(near))
    assert death_rate(near) == pytest.approx(expected, rel=2e-5, abs=1e-30)
    far = np.array([-1e6, -400.0])
    assert death_rate(far) == pytest.approx(-far, rel=1e-4)


def test_shape_is_kept() -> None:
    """Arrays of any shape keep it, also an empty one."""
    assert log_viability_fraction(np.zeros((2, 3, 4))).shape == (2, 3, 4)
    assert log_viability_fraction(np.zeros((2, 0))).shape == (2, 0)
