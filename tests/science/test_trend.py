"""The robust slope against scipy and against known noise."""

import numpy as np
import pytest
from scipy import stats

from hilum.science.errors import OutOfRangeError
from hilum.science.trend import theil_sen


@pytest.mark.parametrize("seed", range(5))
def test_slope_is_that_of_an_independent_implementation(seed: int) -> None:
    """Scipy's Theil slopes give the same slope, and its interval lies within ours."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0.0, 100.0, 40))
    y = 3.0 * x + rng.standard_cauchy(40)
    found = theil_sen(x, y)
    slope, _, low, high = stats.theilslopes(y, x, 0.90)
    assert found.slope == pytest.approx(slope, rel=1e-12)
    wide = 0.05 * (high - low)
    assert found.low <= low + wide
    assert found.high >= high - wide


def test_interval_holds_the_slope_as_often_as_it_says() -> None:
    """90 % of 400 noisy lines; more where the noise hangs together (lag-1 correlation 0.5)."""
    rng = np.random.default_rng(9)
    x = np.arange(20.0)
    for keep in (0.0, 0.5):
        held = 0
        for _ in range(400):
            noise = np.zeros(20)
            for i, kick in enumerate(rng.standard_normal(20)):
                noise[i] = keep * noise[i - 1] + kick
            found = theil_sen(x, 2.0 * x + noise)
            held += found.low <= 2.0 <= found.high
        assert 0.80 < held / 400 <= 1.0


def test_wild_points_do_no_harm() -> None:
    """Five of twenty points far off leave the slope where it was."""
    x = np.arange(20.0)
    y = -0.5 * x
    y[::4] += 1000.0
    assert theil_sen(x, y).slope == pytest.approx(-0.5)


def test_too_few_points_are_refused() -> None:
    """Two points, or all at one x, have no robust slope."""
    with pytest.raises(OutOfRangeError):
        theil_sen(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    with pytest.raises(OutOfRangeError):
        theil_sen(np.zeros(5), np.arange(5.0))
