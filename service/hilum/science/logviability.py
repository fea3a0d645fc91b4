"""Logarithm of the share of seed alive, from probits: fast, and safe far into both tails.

A binomial likelihood of many seeds needs the logarithm of a very small share, which the share
itself cannot carry. Values come from cubic pieces through exact ones and are good to 1e-9.
"""

import math
from functools import cache

import numpy as np

from hilum.science._quantities import Floats

_STEP = 1.0 / 32.0
_LOW = -36.0  # below, the series for the tail takes over
_HIGH = 9.0  # above, the share differs from one by less than float64 can tell
_LOG_SQRT_TWO_PI = 0.5 * math.log(2.0 * math.pi)


def log_viability_fraction(ned: Floats) -> Floats:
    """Natural logarithm of the standard normal distribution function.

    Parameters
    ----------
    ned : ndarray
        Viability as normal equivalent deviate [probit, no +5], any finite value, any shape.

    Returns
    -------
    ndarray
        Log of the share alive [1], same shape. Absolute error below 1e-9 for ned >= -36,
        relative error below 1e-9 beneath.

    Examples
    --------
    At 0 probits half the seed is alive.

    >>> round(float(np.exp(log_viability_fraction(np.array([0.0]))[0])), 9)
    0.5

    Notes
    -----
    Cubic Hermite pieces on nodes 1/32 apart from the error function of the standard library; below
    -36 the asymptotic series for the tail of the normal distribution.

    References
    ----------
    Abramowitz & Stegun (1964), Handbook of Mathematical Functions, equation 26.2.12 (the series).
    """
    position = (np.clip(ned, _LOW, _HIGH - 1e-9) - _LOW) * (1.0 / _STEP)
    piece = position.astype(np.int64)
    position -= piece
    c = _pieces().take(piece, axis=0)
    value = ((c[..., 3] * position + c[..., 2]) * position + c[..., 1]) * position + c[..., 0]
    if np.min(ned, initial=0.0) < _LOW:
        value = np.where(ned < _LOW, _log_tail(np.minimum(ned, _LOW)), value)
    return np.asarray(value, dtype=np.float64)


def death_rate(ned: Floats) -> Floats:
    """Slope of ``log_viability_fraction``: density over share, the inverse Mills ratio.

    Parameters
    ----------
    ned : ndarray
        Viability as normal equivalent deviate [probit], any finite value, any shape.

    Returns
    -------
    ndarray
        Change of the log of the share per probit [1/probit], same shape, positive.

    Examples
    --------
    At 0 probits the density is 1/sqrt(2 pi) and the share one half.

    >>> round(float(death_rate(np.array([0.0]))[0]), 6), round(2.0 / math.sqrt(2.0 * math.pi), 6)
    (0.797885, 0.797885)

    References
    ----------
    Abramowitz & Stegun (1964), Handbook of Mathematical Functions, section 26.2.
    """
    near = np.maximum(ned, _LOW)
    slope = np.exp(-0.5 * near * near - _LOG_SQRT_TWO_PI - log_viability_fraction(near))
    # in the far tail density over share is -v - 1/v to within 2/v^3
    return np.where(ned < _LOW, -ned - 1.0 / np.minimum(ned, _LOW), slope)


@cache
def _pieces() -> Floats:
    nodes = np.arange(_LOW, _HIGH + _STEP / 2, _STEP)
    value = np.array([_exact_log(float(v)) for v in nodes])
    slope = _STEP * np.exp(-0.5 * nodes * nodes - _LOG_SQRT_TWO_PI - value)
    left, right = value[:-1], value[1:]
    square = 3.0 * (right - left) - 2.0 * slope[:-1] - slope[1:]
    cube = 2.0 * (left - right) + slope[:-1] + slope[1:]
    return np.ascontiguousarray(np.stack([left, slope[:-1], square, cube], axis=1))


def _exact_log(ned: float) -> float:
    if ned < 0.0:
        return math.log(0.5 * math.erfc(-ned / math.sqrt(2.0)))
    return math.log1p(-0.5 * math.erfc(ned / math.sqrt(2.0)))


def _log_tail(ned: Floats) -> Floats:
    inverse_square = 1.0 / (ned * ned)
    series = inverse_square * (-1.0 + inverse_square * (3.0 - 15.0 * inverse_square))
    return -0.5 * ned * ned - np.log(-ned) - _LOG_SQRT_TWO_PI + np.log1p(series)
