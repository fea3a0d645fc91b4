"""Water vapour in air: saturation pressure, dew point, absolute humidity, humidity ratio.

Relative humidity below 0 °C is relative to supercooled water, as the meteorological convention
and the makers of sensors have it; surfaces still frost over at saturation above *ice*, and
`dew_point_c` answers with that frost point.
"""

from collections.abc import Callable
from typing import overload

import numpy as np

from hilum.science._quantities import Floats, Quantity, as_floats, as_given, checked
from hilum.science.errors import OutOfRangeError

ZERO_C_K = 273.15
GAS_CONSTANT_WATER = 461.52  # J/(kg K): the molar gas constant 8.314462 over 18.01528 g/mol
MOLAR_MASS_RATIO = 0.621945  # water to dry air; ASHRAE Handbook of Fundamentals 2009, ch. 1

TEMP_LOW_C = -40.0  # of air: the span of the sensors; water below 0 °C is extrapolated
TEMP_HIGH_C = 100.0

_NEWTON_STEPS = 6  # from a start within 2 °C the error is squared at each: 4 do, 6 are safe


def _ln_water(temp_c: Floats) -> tuple[Floats, Floats]:
    """Logarithm of saturation pressure over water (Hyland & Wexler 1983) and its slope per K."""
    kelvin = temp_c + ZERO_C_K
    polynomial = -4.8640239e-2 + kelvin * (4.1764768e-5 - 1.4452093e-8 * kelvin)
    value = -5.8002206e3 / kelvin + 1.3914993 + kelvin * polynomial + 6.5459673 * np.log(kelvin)
    slope = (
        (5.8002206e3 / kelvin + 6.5459673) / kelvin
        - 4.8640239e-2
        + kelvin * (2 * 4.1764768e-5 - 3 * 1.4452093e-8 * kelvin)
    )
    return value, slope


def _ln_ice(temp_c: Floats) -> tuple[Floats, Floats]:
    """Logarithm of saturation pressure over ice (Hyland & Wexler 1983) and its slope per K."""
    kelvin = temp_c + ZERO_C_K
    polynomial = -9.677843e-3 + kelvin * (
        6.2215701e-7 + kelvin * (2.0747825e-9 - 9.484024e-13 * kelvin)
    )
    value = -5.6745359e3 / kelvin + 6.3925247 + kelvin * polynomial + 4.1635019 * np.log(kelvin)
    slope = (
        (5.6745359e3 / kelvin + 4.1635019) / kelvin
        - 9.677843e-3
        + kelvin * (2 * 6.2215701e-7 + kelvin * (3 * 2.0747825e-9 - 4 * 9.484024e-13 * kelvin))
    )
    return value, slope


@overload
def saturation_pressure_water_pa(temp_c: float) -> float: ...
@overload
def saturation_pressure_water_pa(temp_c: Floats) -> Floats: ...
def saturation_pressure_water_pa(temp_c: Quantity) -> Quantity:
    """Saturation pressure of water vapour over liquid water.

    ``ln p = -5800.2206/T + 1.3914993 - 0.048640239 T + 4.1764768e-5 T² - 1.4452093e-8 T³
    + 6.5459673 ln T`` with T in kelvin.

    Parameters
    ----------
    temp_c : float or ndarray
        Temperature [°C], -40 to 200.

    Returns
    -------
    float or ndarray
        Saturation pressure [Pa].

    Raises
    ------
    OutOfRangeError
        A temperature lies outside the range.

    Notes
    -----
    Published for 0 to 200 °C. Below 0 °C the formula is extrapolated to supercooled water, where
    it stays within 0.3 % of Sonntag 1990 at -18 °C.

    Examples
    --------
    >>> round(saturation_pressure_water_pa(20.0), 2)
    2338.8

    References
    ----------
    Hyland & Wexler 1983, ASHRAE Transactions 89(2A):500-519; ASHRAE Handbook of Fundamentals,
    chapter Psychrometrics (coefficients read in psychrolib 2.5.0).
    """
    value, _ = _ln_water(checked("temperature", temp_c, TEMP_LOW_C, 200.0, "°C"))
    return as_given(np.exp(value))


@overload
def saturation_pressure_ice_pa(temp_c: float) -> float: ...
@overload
def saturation_pressure_ice_pa(temp_c: Floats) -> Floats: ...
def saturation_pressure_ice_pa(temp_c: Quantity) -> Quantity:
    """Saturation pressure of water vapour over ice.

    ``ln p = -5674.5359/T + 6.3925247 - 0.009677843 T + 6.2215701e-7 T² + 2.0747825e-9 T³
    - 9.484024e-13 T⁴ + 4.1635019 ln T`` with T in kelvin.

    Parameters
    ----------
    temp_c : float or ndarray
        Temperature [°C], -100 to 0.

    Returns
    -------
    float or ndarray
        Saturation pressure [Pa].

    Raises
    ------
    OutOfRangeError
        A temperature lies outside the range.

    Notes
    -----
    At -18 °C ice is in balance with air of 84 % relative humidity (which is relative to water):
    frost forms above that.

    Examples
    --------
    >>> round(saturation_pressure_ice_pa(-18.0), 2)
    124.92

    References
    ----------
    Hyland & Wexler 1983, ASHRAE Transactions 89(2A):500-519; ASHRAE Handbook of Fundamentals,
    chapter Psychrometrics (coefficients read in psychrolib 2.5.0).
    """
    value, _ = _ln_ice(checked("temperature", temp_c, -100.0, 0.0, "°C"))
    return as_given(np.exp(value))


@overload
def vapour_pressure_pa(temp_c: float, rh_pct: float) -> float: ...
@overload
def vapour_pressure_pa(temp_c: Floats, rh_pct: Quantity) -> Floats: ...
@overload
def vapour_pressure_pa(temp_c: float, rh_pct: Floats) -> Floats: ...
def vapour_pressure_pa(temp_c: Quantity, rh_pct: Quantity) -> Quantity:
    """Partial pressure of the water vapour in air.

    ``e = RH/100 · p_water(T)``, with supercooled water below 0 °C.

    Parameters
    ----------
    temp_c : float or ndarray
        Air temperature [°C], -40 to 100.
    rh_pct : float or ndarray
        Relative humidity [%], 0 to 100.

    Returns
    -------
    float or ndarray
        Vapour pressure [Pa].

    Raises
    ------
    OutOfRangeError
        A temperature or humidity lies outside its range.

    Notes
    -----
    The accuracy is that of the sensor: ±2 % RH outweighs the formula's error by far.

    Examples
    --------
    >>> round(vapour_pressure_pa(20.0, 60.0), 1)
    1403.3

    References
    ----------
    Hyland & Wexler 1983 for p_water; WMO-No. 8, Guide to Instruments and Methods of Observation,
    part I chapter 4, for humidity relative to water below 0 °C.
    """
    value, _ = _ln_water(checked("temperature", temp_c, TEMP_LOW_C, TEMP_HIGH_C, "°C"))
    humidity = checked("relative humidity", rh_pct, 0.0, 100.0, "%")
    return as_given(np.exp(value) * (humidity / 100.0))


@overload
def dew_point_c(temp_c: float, rh_pct: float) -> float: ...
@overload
def dew_point_c(temp_c: Floats, rh_pct: Quantity) -> Floats: ...
@overload
def dew_point_c(temp_c: float, rh_pct: Floats) -> Floats: ...
def dew_point_c(temp_c: Quantity, rh_pct: Quantity) -> Quantity:
    """Temperature of a surface at which this air begins to shed water; below 0 °C as frost.

    Solves ``p_water(Td) = e`` at and above 0 °C, ``p_ice(Td) = e`` below.

    Parameters
    ----------
    temp_c : float or ndarray
        Air temperature [°C], -40 to 100.
    rh_pct : float or ndarray
        Relative humidity [%], 0.1 to 100.

    Returns
    -------
    float or ndarray
        Dew point, or frost point where below zero [°C].

    Raises
    ------
    OutOfRangeError
        A temperature or humidity lies outside its range.

    Notes
    -----
    Newton's method on the logarithm of pressure, a fixed number of steps, to 1e-9 °C. Below 0 °C
    near saturation the frost point lies *above* the air temperature: humidity is relative to
    water, and air saturated over water is more than saturated over ice.

    Examples
    --------
    >>> round(dew_point_c(20.0, 60.0), 2)
    12.01

    References
    ----------
    Hyland & Wexler 1983 for both pressures; start value from the Magnus formula of WMO-No. 8
    (Sonntag 1990).
    """
    checked("relative humidity", rh_pct, 0.1, 100.0, "%")
    checked("temperature", temp_c, TEMP_LOW_C, TEMP_HIGH_C, "°C")
    pressure = np.asarray(vapour_pressure_pa(as_floats(temp_c), rh_pct))
    wanted = np.log(pressure)
    zero = np.zeros(())
    over_water = _solve(_ln_water, np.maximum(wanted, _ln_water(zero)[0]), 17.62, 243.12)
    over_ice = _solve(_ln_ice, np.minimum(wanted, _ln_ice(zero)[0]), 22.46, 272.62)
    return as_given(np.where(wanted < _ln_water(zero)[0], over_ice, over_water))


def _solve(
    curve: Callable[[Floats], tuple[Floats, Floats]], wanted: Floats, factor: float, offset: float
) -> Floats:
    """Find the temperature [°C] at which a pressure curve takes the wanted logarithm."""
    ratio = wanted - np.log(611.2)
    temp_c: Floats = offset * ratio / (factor - ratio)
    for _ in range(_NEWTON_STEPS):
        value, slope = curve(temp_c)
        temp_c = temp_c - (value - wanted) / slope
    return temp_c


@overload
def absolute_humidity_g_m3(temp_c: float, rh_pct: float) -> float: ...
@overload
def absolute_humidity_g_m3(temp_c: Floats, rh_pct: Quantity) -> Floats: ...
@overload
def absolute_humidity_g_m3(temp_c: float, rh_pct: Floats) -> Floats: ...
def absolute_humidity_g_m3(temp_c: Quantity, rh_pct: Quantity) -> Quantity:
    """Mass of water vapour in a volume of air.

    ``AH = 1000 · e / (461.52 · T)`` with T in kelvin.

    Parameters
    ----------
    temp_c : float or ndarray
        Air temperature [°C], -40 to 100.
    rh_pct : float or ndarray
        Relative humidity [%], 0 to 100.

    Returns
    -------
    float or ndarray
        Absolute humidity [g/m³].

    Raises
    ------
    OutOfRangeError
        A temperature or humidity lies outside its range.

    Notes
    -----
    Vapour is taken as an ideal gas.

    Examples
    --------
    >>> round(absolute_humidity_g_m3(20.0, 80.0), 2)
    13.83

    References
    ----------
    Ideal gas law with the specific gas constant of water vapour, 461.52 J/(kg K). The example is
    the figure for 20 °C and 80 % in the worked example of DIN 55474.
    """
    pressure = vapour_pressure_pa(as_floats(temp_c), rh_pct)
    kelvin = as_floats(temp_c) + ZERO_C_K
    return as_given(1000.0 * pressure / (GAS_CONSTANT_WATER * kelvin))


@overload
def humidity_ratio(temp_c: float, rh_pct: float, pressure_pa: float = ...) -> float: ...
@overload
def humidity_ratio(temp_c: Floats, rh_pct: Quantity, pressure_pa: float = ...) -> Floats: ...
@overload
def humidity_ratio(temp_c: float, rh_pct: Floats, pressure_pa: float = ...) -> Floats: ...
def humidity_ratio(temp_c: Quantity, rh_pct: Quantity, pressure_pa: float = 101325.0) -> Quantity:
    """Mass of water vapour for each mass of dry air.

    ``w = 0.621945 · e / (p - e)``.

    Parameters
    ----------
    temp_c : float or ndarray
        Air temperature [°C], -40 to 100.
    rh_pct : float or ndarray
        Relative humidity [%], 0 to 100.
    pressure_pa : float
        Air pressure [Pa], 50000 to 120000.

    Returns
    -------
    float or ndarray
        Humidity ratio [kg/kg].

    Raises
    ------
    OutOfRangeError
        A value lies outside its range, or the vapour pressure reaches the air pressure (the water
        would boil).

    Notes
    -----
    Air at 500 m stands at about 95500 Pa, which raises the ratio by 6 %.

    Examples
    --------
    >>> round(1000 * humidity_ratio(25.0, 50.0), 3)
    9.881

    References
    ----------
    ASHRAE Handbook of Fundamentals, chapter Psychrometrics, equation for W from partial pressure
    (read in psychrolib 2.5.0).
    """
    total = float(checked("air pressure", pressure_pa, 50_000.0, 120_000.0, "Pa"))
    vapour = np.asarray(vapour_pressure_pa(as_floats(temp_c), rh_pct))
    if np.any(vapour >= total):
        raise OutOfRangeError("vapour pressure", float(vapour.max()), 0.0, total, "Pa")
    return as_given(MOLAR_MASS_RATIO * vapour / (total - vapour))
