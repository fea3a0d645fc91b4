"""How seed follows the air of its box: a first-order lag, solved exactly for every step.

``dM/dt = (Me - M) / tau`` with the moisture M of the seed and the moisture Me in equilibrium with
the air. The functions take any quantity that relaxes, in whatever unit it has.
"""

from functools import cache
from typing import overload

import numpy as np

from hilum.science import tables
from hilum.science._quantities import LN_2, Floats, Quantity, as_floats, as_given, checked
from hilum.science.errors import UnknownNameError

REFERENCE_TEMP_C = 20.0  # of the table; cooling slows down from here on
HALVING_C = 10.0  # exchange takes twice as long for each (recalled, low confidence)


@overload
def tau_days(wrap: str, size: str, temp_c: float) -> float: ...
@overload
def tau_days(wrap: str, size: str, temp_c: Floats) -> Floats: ...
def tau_days(wrap: str, size: str, temp_c: Quantity) -> Quantity:
    """Time constant with which wrapped seed follows the air around it.

    ``tau(20 °C) · 2^((20 - t)/10)`` below 20 °C, ``tau(20 °C)`` above.

    Parameters
    ----------
    wrap : str
        One of "open", "paper", "poly", "foil", "jar".
    size : str
        "small" (under about 2 mm) or "large" (bean, maize, pea).
    temp_c : float or ndarray
        Temperature [°C], -60 to 100.

    Returns
    -------
    float or ndarray
        Time constant [d]; infinite in foil and jar.

    Raises
    ------
    OutOfRangeError
        A temperature lies outside the range.
    UnknownNameError
        The table has no such wrap or size.

    Notes
    -----
    Orders of magnitude: derived from remembered ranges (thin layers 0.5 to 2 d small, 3 to 7 d
    large; packets stacked in still air 3 to 10 times slower; zip bags months). Doubling per 10 °C
    is recalled with low confidence.

    Examples
    --------
    >>> tau_days("paper", "small", 10.0)
    8.0

    References
    ----------
    Table ``wraps``, each row with its source; Ohio State Univ. 2006, moisture sorption of five
    ornamental species (abstract); Soh et al. 2014 (laminate).
    """
    rows = _wraps()
    if (wrap, size) not in rows:
        raise UnknownNameError("wrap and size", f"{wrap}, {size}", tuple(map(", ".join, rows)))
    temp = checked("temperature", temp_c, -60.0, 100.0, "°C")
    cooling = np.maximum(REFERENCE_TEMP_C - temp, 0.0)
    return as_given(rows[wrap, size] * np.exp(LN_2 / HALVING_C * cooling))


@cache
def _wraps() -> dict[tuple[str, str], float]:
    """Time constants at 20 °C [d] by wrap and size."""
    return {(row["wrap"], row["size"]): float(row["tau_days"]) for row in tables.rows("wraps")}


@overload
def relax(start: float, target: float, elapsed_days: float, tau_days: float) -> float: ...
@overload
def relax(
    start: Floats, target: Quantity, elapsed_days: Quantity, tau_days: Quantity
) -> Floats: ...
@overload
def relax(start: float, target: Floats, elapsed_days: Quantity, tau_days: Quantity) -> Floats: ...
@overload
def relax(start: float, target: float, elapsed_days: Floats, tau_days: Quantity) -> Floats: ...
def relax(
    start: Quantity, target: Quantity, elapsed_days: Quantity, tau_days: Quantity
) -> Quantity:
    """Value after a step during which the target stands still.

    ``start + (target - start) · (1 - exp(-elapsed/tau))``.

    Parameters
    ----------
    start : float or ndarray
        Value at the start of the step [any unit], any finite value.
    target : float or ndarray
        Value it drifts to [same unit], any finite value.
    elapsed_days : float or ndarray
        Length of the step [d], 0 to inf.
    tau_days : float or ndarray
        Time constant [d], above 0 to inf.

    Returns
    -------
    float or ndarray
        Value at the end of the step [same unit].

    Notes
    -----
    Exact for any step; with an infinite time constant the start comes back to the last bit.

    Examples
    --------
    >>> round(relax(10.0, 0.0, 3.0, 3.0), 4)
    3.6788

    References
    ----------
    Solution of the linear differential equation; a first-order model is adequate for seed.
    """
    gone = -np.expm1(-as_floats(elapsed_days) / as_floats(tau_days))
    begin = as_floats(start)
    return as_given(begin + (as_floats(target) - begin) * gone)


@overload
def relax_ramp(
    start: float, target_from: float, target_to: float, elapsed_days: float, tau_days: float
) -> float: ...
@overload
def relax_ramp(
    start: Floats,
    target_from: Quantity,
    target_to: Quantity,
    elapsed_days: Quantity,
    tau_days: Quantity,
) -> Floats: ...
@overload
def relax_ramp(
    start: float,
    target_from: Floats,
    target_to: Floats,
    elapsed_days: Quantity,
    tau_days: Quantity,
) -> Floats: ...
def relax_ramp(
    start: Quantity,
    target_from: Quantity,
    target_to: Quantity,
    elapsed_days: Quantity,
    tau_days: Quantity,
) -> Quantity:
    """Value after a step during which the target moves in a straight line.

    ``start + (from - start) · g + (to - from) · (1 - g/x)`` with ``x = elapsed/tau`` and
    ``g = 1 - exp(-x)``.

    Parameters
    ----------
    start : float or ndarray
        Value at the start of the step [any unit], any finite value.
    target_from, target_to : float or ndarray
        Target at the start and at the end of the step [same unit], any finite value.
    elapsed_days : float or ndarray
        Length of the step [d], 0 or more, finite.
    tau_days : float or ndarray
        Time constant [d], above 0 to inf.

    Returns
    -------
    float or ndarray
        Value at the end of the step [same unit].

    Notes
    -----
    Exact for any step; splitting a ramp into pieces changes nothing. With an infinite time
    constant the start comes back to the last bit.

    Examples
    --------
    >>> round(relax_ramp(0.0, 0.0, 1.0, 1.0, 1.0), 6)
    0.367879

    References
    ----------
    Solution of the linear differential equation with a linear input.
    """
    steps = as_floats(elapsed_days) / as_floats(tau_days)
    gone = -np.expm1(-steps)
    moving = steps > 0.0
    share = np.where(moving, gone / np.where(moving, steps, 1.0), 1.0)
    begin, first = as_floats(start), as_floats(target_from)
    ramp = as_floats(target_to) - first
    return as_given(begin + (first - begin) * gone + ramp * (1.0 - share))


def lag_series(time_days: Floats, target: Floats, start: float, tau_days: Quantity) -> Floats:
    """Value at each time of a series, the target moving in straight lines between its points.

    Parameters
    ----------
    time_days : ndarray
        Times [d], any finite values, ascending; steps of any length.
    target : ndarray
        Target at those times [any unit], any finite values.
    start : float
        Value at the first time [same unit], any finite value.
    tau_days : float or ndarray
        Time constant [d], above 0 to inf: one for all, or one for each step (one fewer than
        times).

    Returns
    -------
    ndarray
        Value at each time [same unit]; the first is ``start``.

    Notes
    -----
    Exact, one step after the other: the plain form against which faster ones are measured.

    Examples
    --------
    >>> lag_series(np.array([0.0, 1.0, 9.0]), np.array([5.0, 5.0, 5.0]), 5.0, 3.0)
    array([5., 5., 5.])

    References
    ----------
    `relax_ramp`, applied step by step.
    """
    taus = np.broadcast_to(as_floats(tau_days), (max(len(time_days) - 1, 0),))
    values = np.empty(len(time_days))
    if len(values):
        values[0] = start
    for i, tau in enumerate(taus):
        elapsed = float(time_days[i + 1] - time_days[i])
        values[i + 1] = relax_ramp(
            float(values[i]), float(target[i]), float(target[i + 1]), elapsed, float(tau)
        )
    return values
