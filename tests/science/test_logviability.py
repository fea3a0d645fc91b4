"""The logarithms of the shares alive and dead against scipy, far into both tails."""

import numpy as np
import pytest
from scipy.special import log_ndtr

from hilum.science.logviability import death_rates, log_shares

NED = np.concatenate([np.linspace(-40.0, 40.0, 20_011), [-1e6, -4e3, -400.0, 0.0, 50.0, 1e6]])


def test_logs_of_the_shares_are_those_of_scipy() -> None:
    """From -1,000,000 to 1,000,000 probits the logarithms agree with scipy.special.log_ndtr."""
    for found, side in zip(log_shares(NED), (NED, -NED), strict=True):
        assert found == pytest.approx(log_ndtr(side), rel=1e-9, abs=1e-10)


def test_slopes_are_density_over_share() -> None:
    """The slopes are exp(log density - log share) with scipy's logarithm, and the tail's series."""
    near = NED[np.abs(NED) < 38.0]
    for found, side in zip(death_rates(near), (near, -near), strict=True):
        expected = np.exp(-0.5 * side**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(side))
        assert found == pytest.approx(expected, rel=4e-5, abs=1e-9)
    far = np.array([-1e6, -400.0])
    assert death_rates(far)[0] == pytest.approx(-far, rel=1e-4)
    assert death_rates(-far)[1] == pytest.approx(-far, rel=1e-4)


def test_shape_is_kept() -> None:
    """Arrays of any shape keep it, also an empty one."""
    for function in (log_shares, death_rates):
        assert function(np.zeros((2, 3, 4)))[1].shape == (2, 3, 4)
        assert function(np.zeros((2, 0)))[0].shape == (2, 0)
