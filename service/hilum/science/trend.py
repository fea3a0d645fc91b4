"""Robust straight lines: the slope that most pairs of points agree on, with its interval."""

from typing import NamedTuple

import numpy as np

from hilum.science._quantities import Floats, as_floats, checked

Z_90 = 1.6448536  # two-sided 90 % of a normal distribution
MOST_CORRELATED = 0.9  # a lag-1 correlation above this cannot be told from a short record
LEAST_EFFECTIVE = 4.0


class Trend(NamedTuple):
    """A line ``intercept + slope · x``; the slope's 90 % interval runs from low to high."""

    slope: float
    low: float
    high: float
    intercept: float


def theil_sen(x: Floats, y: Floats) -> Trend:
    """Slope as the median over all pairs of points.

    The interval is that of Kendall's tau, with the number of points counted down for residuals
    that depend on each other: ``n (1 - r)/(1 + r)`` with their lag-1 correlation r.

    Parameters
    ----------
    x, y : ndarray
        Points [any unit], any finite values, in order of time, at least 3 with different x.

    Returns
    -------
    Trend
        Slope [unit of y per unit of x] with 90 % interval, and intercept.

    Raises
    ------
    OutOfRangeError
        There are fewer than 3 points, or fewer than 2 different x.

    Notes
    -----
    Up to 29 % of the points may be wild without harm.

    Examples
    --------
    >>> x = np.arange(6.0)
    >>> theil_sen(x, 2.0 * x + np.array([0, 0, 50.0, 0, 0, 0])).slope
    2.0

    References
    ----------
    Theil 1950, Proc. K. Ned. Akad. Wet. A53:386-392; Sen 1968, J. Am. Stat. Assoc. 63:1379-1389
    (equation 2.6 for the interval).
    """
    x, y = as_floats(x), as_floats(y)
    checked("number of points", len(x), 3, np.inf, "")
    i, j = np.triu_indices(len(x), 1)
    run = x[j] - x[i]
    slopes = np.sort((y[j] - y[i])[run != 0] / run[run != 0])
    checked("number of pairs", len(slopes), 1, np.inf, "")
    slope = float(np.median(slopes))
    intercept = float(np.median(y - slope * x))
    spread = Z_90 * np.sqrt(_variance(len(x)) * len(x) / _effective(y - slope * x))
    # the M1-th and the (M2 + 1)-th smallest slope, counted from 1
    first = max(round((len(slopes) - spread) / 2.0) - 1, 0)
    last = min(round((len(slopes) + spread) / 2.0), len(slopes) - 1)
    return Trend(slope, float(slopes[first]), float(slopes[last]), intercept)


def _variance(n: int) -> float:
    """Variance of Kendall's statistic without ties."""
    return n * (n - 1) * (2 * n + 5) / 18.0


def _effective(residuals: Floats) -> float:
    """Number of residuals that tell something new."""
    before, after = residuals[:-1] - residuals.mean(), residuals[1:] - residuals.mean()
    power = float(np.sqrt((before**2).sum() * (after**2).sum()))
    r = float((before * after).sum()) / power if power > 0.0 else 0.0
    r = min(max(r, 0.0), MOST_CORRELATED)
    n = len(residuals)
    return max(n * (1.0 - r) / (1.0 + r), min(LEAST_EFFECTIVE, n))
