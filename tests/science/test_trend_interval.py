"""The interval of the robust slope against scipy, and against slopes drawn many times."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

from hilum.science.errors import OutOfRangeError
from hilum.science.trend import theil_sen

Floats = npt.NDArray[np.float64]


def lag_one(residuals: Floats) -> float:
    """Correlation of each residual with the next, about the mean of all, by numpy's own."""
    apart = residuals - residuals.mean()
    return float(np.sum(apart[:-1] * apart[1:])) / float(
        np.sqrt(np.sum(apart[:-1] ** 2) * np.sum(apart[1:] ** 2))
    )


def noisy(seed: int, count: int, keep: float) -> tuple[Floats, Floats]:
    """A line of slope -1.5 at uneven times, with noise of which a share hangs on."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0.0, 60.0, count))
    noise, kicks = np.zeros(count), rng.standard_normal(count)
    for i in range(count):
        noise[i] = keep * noise[i - 1] + kicks[i]
    return x, 4.0 - 1.5 * x + noise


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("count", [7, 12, 31])
def test_independent_points_have_scipys_interval(seed: int, count: int) -> None:
    """Residuals that alternate leave the whole of Sen's interval: scipy.stats.theilslopes at 90 %.

    The line goes through the median of what the slope leaves.
    """
    x, y = noisy(seed, count, -0.9)
    slope, _, low, high = stats.theilslopes(y, x, 0.90)
    assert lag_one(y - slope * x) < 0.0
    through = float(np.median(y - slope * x))
    assert theil_sen(x, y) == pytest.approx((slope, low, high, through), rel=1e-12)


@pytest.mark.parametrize("keep", [0.3, 0.6, 0.8])
@pytest.mark.parametrize("seed", range(4))
def test_points_that_hang_together_count_for_fewer(seed: int, keep: float) -> None:
    """The interval is Sen's with the variance of Kendall's statistic blown up by n over n'.

    Expected: n' = n (1 - r)/(1 + r) (Bayley & Hammersley 1946 for a first-order series) and the
    ranks of Sen 1968, equation 2.6, worked here with the slopes of all pairs.
    """
    count = 30
    x, y = noisy(seed, count, keep)
    slopes = sorted(
        (y[j] - y[i]) / (x[j] - x[i]) for i in range(count) for j in range(i + 1, count)
    )
    r = lag_one(y - float(np.median(slopes)) * x)
    assert 0.0 < r < 0.9
    effective = max(count * (1.0 - r) / (1.0 + r), 4.0)
    variance = count * (count - 1) * (2 * count + 5) / 18.0 * count / effective
    c = stats.norm.ppf(0.95) * np.sqrt(variance)
    low = slopes[max(round((len(slopes) - c) / 2.0), 1) - 1]
    high = slopes[min(round((len(slopes) + c) / 2.0) + 1, len(slopes)) - 1]
    found = theil_sen(x, y)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-12)


def test_a_line_that_bends_keeps_the_least_count() -> None:
    """A parabola's residuals hang together beyond measure: they count as four, of thirty points."""
    x = np.arange(30.0)
    y = 0.02 * (x - 14.5) ** 2
    c = stats.norm.ppf(0.95) * np.sqrt(30 * 29 * 65 / 18.0 * 30 / 4.0)
    slopes = np.sort([(y[j] - y[i]) / (j - i) for i in range(30) for j in range(i + 1, 30)])
    found = theil_sen(x, y)
    ranks = (max(round((435 - c) / 2.0), 1), min(round((435 + c) / 2.0) + 1, 435))
    assert (found.low, found.high) == pytest.approx((slopes[ranks[0] - 1], slopes[ranks[1] - 1]))


def test_three_points_on_a_line_are_a_line() -> None:
    """The fewest points that are taken: no doubt where all slopes are one."""
    assert theil_sen(np.array([0.0, 1.0, 3.0]), np.array([1.0, 3.0, 7.0])) == (2.0, 2.0, 2.0, 1.0)


def test_one_pair_with_different_x_is_enough_of_a_slope() -> None:
    """Points at two x only: the slopes between the two groups."""
    found = theil_sen(np.array([0.0, 0.0, 2.0]), np.array([1.0, 3.0, 4.0]))
    assert found.slope == pytest.approx(1.0)  # median of 1.5 and 0.5
    with pytest.raises(OutOfRangeError):
        theil_sen(np.ones(3), np.arange(3.0))
