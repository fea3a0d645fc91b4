"""The normal distribution, without scipy: share of living seed and its probit."""

from typing import overload

import numpy as np

from hilum.science._quantities import Floats, Quantity, as_given, checked

Coefficients = tuple[float, ...]

# W. J. Cody 1969, Rational Chebyshev approximations for the error function, Math. Comp. 23:631-637,
# highest power first. erf up to 0.46875, erfc up to 4, erfc beyond.
_ERF_P = (
    1.85777706184603153e-1,
    3.16112374387056560e0,
    1.13864154151050156e2,
    3.77485237685302021e2,
    3.20937758913846947e3,
)
_ERF_Q = (
    1.0,
    2.36012909523441209e1,
    2.44024637934444173e2,
    1.28261652607737228e3,
    2.84423683343917062e3,
)
_MID_P = (
    2.15311535474403846e-8,
    5.64188496988670089e-1,
    8.88314979438837594e0,
    6.61191906371416295e1,
    2.98635138197400131e2,
    8.81952221241769090e2,
    1.71204761263407058e3,
    2.05107837782607147e3,
    1.23033935479799725e3,
)
_MID_Q = (
    1.0,
    1.57449261107098347e1,
    1.17693950891312499e2,
    5.37181101862009858e2,
    1.62138957456669019e3,
    3.29079923573345963e3,
    4.36261909014324716e3,
    3.43936767414372164e3,
    1.23033935480374942e3,
)
_FAR_P = (
    1.63153871373020978e-2,
    3.05326634961232344e-1,
    3.60344899949804439e-1,
    1.25781726111229246e-1,
    1.60837851487422766e-2,
    6.58749161529837803e-4,
)
_FAR_Q = (
    1.0,
    2.56852019228982242e0,
    1.87295284992346725e0,
    5.27905102951428412e-1,
    6.05183413124413191e-2,
    2.33520497626869185e-3,
)

# M. J. Wichura 1988, Algorithm AS 241, Appl. Statist. 37:477-484, PPND16, highest power first.
# Centre (within 0.425 of one half), tail, far tail.
_CENTRE_P = (
    2.5090809287301226727e3,
    3.3430575583588128105e4,
    6.7265770927008700853e4,
    4.5921953931549871457e4,
    1.3731693765509461125e4,
    1.9715909503065514427e3,
    1.3314166789178437745e2,
    3.3871328727963666080e0,
)
_CENTRE_Q = (
    5.2264952788528545610e3,
    2.8729085735721942674e4,
    3.9307895800092710610e4,
    2.1213794301586595867e4,
    5.3941960214247511077e3,
    6.8718700749205790830e2,
    4.2313330701600911252e1,
    1.0,
)
_TAIL_P = (
    7.74545014278341407640e-4,
    2.27238449892691845833e-2,
    2.41780725177450611770e-1,
    1.27045825245236838258e0,
    3.64784832476320460504e0,
    5.76949722146069140550e0,
    4.63033784615654529590e0,
    1.42343711074968357734e0,
)
_TAIL_Q = (
    1.05075007164441684324e-9,
    5.47593808499534494600e-4,
    1.51986665636164571966e-2,
    1.48103976427480074590e-1,
    6.89767334985100004550e-1,
    1.67638483018380384940e0,
    2.05319162663775882187e0,
    1.0,
)
_LAST_P = (
    2.01033439929228813265e-7,
    2.71155556874348757815e-5,
    1.24266094738807843860e-3,
    2.65321895265761230930e-2,
    2.96560571828504891230e-1,
    1.78482653991729133580e0,
    5.46378491116411436990e0,
    6.65790464350110377720e0,
)
_LAST_Q = (
    2.04426310338993978564e-15,
    1.42151175831644588870e-7,
    1.84631831751005468180e-5,
    7.86869131145613259100e-4,
    1.48753612908506148525e-2,
    1.36929880922735805310e-1,
    5.99832206555887937690e-1,
    1.0,
)


@overload
def viability_fraction(ned_probit: float) -> float: ...
@overload
def viability_fraction(ned_probit: Floats) -> Floats: ...
def viability_fraction(ned_probit: Quantity) -> Quantity:
    """Share of seed alive at a viability in probits: the standard normal distribution function.

    Parameters
    ----------
    ned_probit : float or ndarray
        Normal equivalent deviate, no +5 [probit], -inf to inf.

    Returns
    -------
    float or ndarray
        Viable share [1], 0 to 1.

    Raises
    ------
    OutOfRangeError
        A value is not a number.

    Notes
    -----
    Relative error below 1e-12 down to the smallest shares; for the share of dead seed pass
    ``-ned_probit``.

    Examples
    --------
    >>> round(viability_fraction(1.0), 6)
    0.841345

    References
    ----------
    W. J. Cody 1969, Math. Comp. 23:631-637, tables II to IV (error function).
    """
    probit = checked("viability", ned_probit, -np.inf, np.inf, "probit")
    flat = (np.abs(probit) / np.sqrt(2.0)).reshape(-1)
    upper = (0.5 * _erfc(flat)).reshape(probit.shape)
    return as_given(np.where(probit > 0.0, 1.0 - upper, upper))


@overload
def ned(fraction: float) -> float: ...
@overload
def ned(fraction: Floats) -> Floats: ...
def ned(fraction: Quantity) -> Quantity:
    """Viability in probits of a share of living seed: the normal equivalent deviate, no +5.

    Parameters
    ----------
    fraction : float or ndarray
        Viable share [1], 0 to 1.

    Returns
    -------
    float or ndarray
        Normal equivalent deviate [probit]; 0 gives -inf, 1 gives inf.

    Raises
    ------
    OutOfRangeError
        A share lies outside the range.

    Notes
    -----
    Relative error about 1e-15. No test shows 0 or 100 %: bring a germination count off the ends
    before converting it.

    Examples
    --------
    >>> round(ned(0.98), 3)
    2.054

    References
    ----------
    M. J. Wichura 1988, Algorithm AS 241, Applied Statistics 37:477-484 (PPND16).
    """
    share = checked("viable share", fraction, 0.0, 1.0, "of one")
    flat = share.reshape(-1)
    from_half = flat - 0.5
    result = np.empty_like(flat)
    centre = np.abs(from_half) <= 0.425
    offset = from_half[centre]
    square = 0.180625 - offset * offset
    result[centre] = offset * _horner(_CENTRE_P, square) / _horner(_CENTRE_Q, square)
    outer = from_half[~centre]
    result[~centre] = np.sign(outer) * _tail(np.minimum(flat[~centre], 1.0 - flat[~centre]))
    return as_given(result.reshape(share.shape))


def _tail(share: Floats) -> Floats:
    """Distance from the middle [probit] of a share in one tail; infinite for none."""
    with np.errstate(divide="ignore"):
        depth = np.sqrt(-np.log(share))
    result = np.full_like(depth, np.inf)
    near = depth <= 5.0
    beyond = (depth > 5.0) & np.isfinite(depth)
    step = depth[near] - 1.6
    result[near] = _horner(_TAIL_P, step) / _horner(_TAIL_Q, step)
    step = depth[beyond] - 5.0
    result[beyond] = _horner(_LAST_P, step) / _horner(_LAST_Q, step)
    return result


def _erfc(value: Floats) -> Floats:
    """Complementary error function of values that are not negative."""
    result = np.zeros_like(value)  # beyond 27 nothing is left that a float can hold
    low = value <= 0.46875
    middle = (value > 0.46875) & (value <= 4.0)
    far = (value > 4.0) & (value < 27.3)
    at = value[low]
    square = at * at
    result[low] = 1.0 - at * _horner(_ERF_P, square) / _horner(_ERF_Q, square)
    at = value[middle]
    result[middle] = np.exp(-at * at) * _horner(_MID_P, at) / _horner(_MID_Q, at)
    at = value[far]
    inverse = 1.0 / (at * at)
    rest = inverse * _horner(_FAR_P, inverse) / _horner(_FAR_Q, inverse)
    result[far] = np.exp(-at * at) / at * (1.0 / np.sqrt(np.pi) - rest)
    return result


def _horner(coefficients: Coefficients, value: Floats) -> Floats:
    """Evaluate a polynomial, highest power first."""
    total = np.full_like(value, coefficients[0])
    for coefficient in coefficients[1:]:
        total *= value
        total += coefficient
    return total
