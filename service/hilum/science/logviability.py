"""Logarithms of the shares of seed alive and dead: fast, and safe far into both tails.

A binomial likelihood of many seeds needs the logarithm of a very small share, which the share
itself cannot carry. Values come from cubic pieces through exact ones. Both shares, and both slopes,
are wanted together always, so they stand side by side in one table.
"""

import math
from functools import cache

import numpy as np
import numpy.typing as npt

from hilum.science._quantities import Floats

Ints = npt.NDArray[np.int64]

_STEPS = 64  # to the probit
_REACH = 36.0  # beyond, the series for the tail takes over
_LOG_SQRT_TWO_PI = 0.5 * math.log(2.0 * math.pi)


def log_shares(ned: Floats) -> tuple[Floats, Floats]:
    """Natural logarithms of the shares of seed alive and dead.

    Parameters
    ----------
    ned : ndarray
        Viability as normal equivalent deviate [probit, no +5], any finite value, any shape.

    Returns
    -------
    tuple of ndarray
        Log of the share alive and of the share dead [1], same shape. Absolute error below 1e-10
        within 36 probits, relative error below 1e-9 beyond.

    Examples
    --------
    At 0 probits half the seed is alive.

    >>> alive, dead = log_shares(np.array([0.0]))
    >>> round(float(np.exp(alive[0])), 9), round(float(np.exp(dead[0])), 9)
    (0.5, 0.5)

    Notes
    -----
    Cubic Hermite pieces on nodes 1/64 apart from the error function of the standard library; beyond
    36 probits the asymptotic series for the tail of the normal distribution.

    References
    ----------
    Abramowitz & Stegun (1964), Handbook of Mathematical Functions, equation 26.2.12 (the series).
    """
    alive, dead = _read(_log_pieces(), ned)
    if np.max(np.abs(ned), initial=0.0) > _REACH:
        tail = _log_tail(np.maximum(np.abs(ned), _REACH))
        alive = np.where(ned < -_REACH, tail, alive)
        dead = np.where(ned > _REACH, tail, dead)
    return alive, dead


def death_rates(ned: Floats) -> tuple[Floats, Floats]:
    """Slopes of ``log_shares``, each to its own side: density over share, inverse Mills ratios.

    Parameters
    ----------
    ned : ndarray
        Viability as normal equivalent deviate [probit], any finite value, any shape.

    Returns
    -------
    tuple of ndarray
        Change of the log of the share alive per probit, and of the share dead per probit lost
        [1/probit], same shape, not negative. Error below 1e-9 within 36 probits.

    Examples
    --------
    At 0 probits the density is 1/sqrt(2 pi) and the share one half.

    >>> round(float(death_rates(np.array([0.0]))[0][0]), 6), round(2.0 / math.sqrt(2 * math.pi), 6)
    (0.797885, 0.797885)

    References
    ----------
    Abramowitz & Stegun (1964), Handbook of Mathematical Functions, section 26.2.
    """
    alive, dead = _read(_rate_pieces(), ned)
    if np.max(np.abs(ned), initial=0.0) > _REACH:
        # in the far tail density over share is v + 1/v to within 2/v^3
        far = np.maximum(np.abs(ned), _REACH)
        alive = np.where(ned < -_REACH, far + 1.0 / far, alive)
        dead = np.where(ned > _REACH, far + 1.0 / far, dead)
    return alive, dead


def _read(pieces: Floats, ned: Floats) -> tuple[Floats, Floats]:
    """Read a function at a value, and at its mirror image."""
    past = (np.clip(ned, -_REACH, _REACH - 1e-9) + _REACH) * _STEPS
    piece = past.astype(np.int64)
    past -= piece
    return _cubic(pieces[:4], piece, past), _cubic(pieces[4:], piece, past)


def _cubic(coefficients: Floats, piece: Ints, past: Floats) -> Floats:
    """Value of each one's cubic, lowest power first."""
    found: Floats = coefficients[3].take(piece)
    for power in (2, 1, 0):
        found *= past
        found += coefficients[power].take(piece)
    return found


def _pieces(value: Floats, slope: Floats) -> Floats:
    """Cubics through values with slopes [1/probit]; beside them those of the mirror image."""
    sides = []
    for at, along in ((value, slope / _STEPS), (value[::-1], -slope[::-1] / _STEPS)):
        left, right = at[:-1], at[1:]
        square = 3.0 * (right - left) - 2.0 * along[:-1] - along[1:]
        sides += [left, along[:-1], square, 2.0 * (left - right) + along[:-1] + along[1:]]
    return np.stack(sides)


def _nodes() -> tuple[Floats, Floats, Floats]:
    """Places of the nodes, log of the share alive there, and its slope."""
    at = np.arange(-_REACH * _STEPS, _REACH * _STEPS + 1) / _STEPS
    log = np.array([_exact_log(float(v)) for v in at])
    return at, log, np.exp(-0.5 * at * at - _LOG_SQRT_TWO_PI - log)


@cache
def _log_pieces() -> Floats:
    _, log, rate = _nodes()
    return _pieces(log, rate)


@cache
def _rate_pieces() -> Floats:
    at, _, rate = _nodes()
    return _pieces(rate, -rate * (at + rate))


def _exact_log(ned: float) -> float:
    if ned < 0.0:
        return math.log(0.5 * math.erfc(-ned / math.sqrt(2.0)))
    return math.log1p(-0.5 * math.erfc(ned / math.sqrt(2.0)))


def _log_tail(reach: Floats) -> Floats:
    inverse_square = 1.0 / (reach * reach)
    series = inverse_square * (-1.0 + inverse_square * (3.0 - 15.0 * inverse_square))
    log: Floats = np.log(reach)
    return -0.5 * reach * reach - log - _LOG_SQRT_TWO_PI + np.log1p(series)
