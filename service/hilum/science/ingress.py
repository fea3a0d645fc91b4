"""Water that comes into a closed box: through its walls, through its leaks, with each opening."""

from dataclasses import dataclass
from typing import overload

import numpy as np

from hilum.science import tables
from hilum.science._quantities import Floats, Quantity, as_given, checked
from hilum.science.errors import UnknownNameError
from hilum.science.psychrometrics import ZERO_C_K, absolute_humidity_g_m3, vapour_pressure_pa

GAS_CONSTANT = 8.314462  # J/(mol K)
MEASURED_AT_K = 311.15  # permeabilities are printed for 38 °C
ACTIVATION_J_MOL = 21_500.0  # derived from two figures for polyethylene; polypropylene up to 48000


@dataclass(frozen=True, slots=True)
class Enclosure:
    """How leaky a kind of box is: air changes a day, low, middle (geometric mean) and high."""

    key: str
    name: str
    low: float
    middle: float
    high: float
    source: str
    status: str


def enclosure(key: str) -> Enclosure:
    """Give what is known about the leaks of a kind of box.

    Parameters
    ----------
    key : str
        "tub", "unsealed" or "jar".

    Returns
    -------
    Enclosure
        Air changes a day.

    Raises
    ------
    UnknownNameError
        The table has no such box.

    Examples
    --------
    >>> enclosure("tub").high
    1.0

    References
    ----------
    Recalled, low confidence: a sensor inside tells more.
    """
    for row in tables.rows("enclosures"):
        if row["key"] == key:
            low, high = float(row["low"]), float(row["high"])
            middle = float(np.sqrt(low * high))
            return Enclosure(key, row["name"], low, middle, high, row["source"], row["status"])
    known = tuple(row["key"] for row in tables.rows("enclosures"))
    raise UnknownNameError("box", key, known)


@dataclass(frozen=True, slots=True)
class Wall:
    """A plastic: permeability at 38 °C, low and high, g mm/(m2 d kPa)."""

    key: str
    name: str
    low: float
    high: float
    source: str
    status: str


def wall(key: str) -> Wall:
    """Give what is known about a plastic.

    Parameters
    ----------
    key : str
        "ldpe", "hdpe", "pp", "oriented-pp", "pet", "ps" or "nylon".

    Returns
    -------
    Wall
        Permeability at 38 °C.

    Raises
    ------
    UnknownNameError
        The table has no such plastic.

    Examples
    --------
    >>> wall("pp").high
    0.046

    References
    ----------
    Food Package Engineering table in a biosystems engineering handbook (read), converted.
    """
    for row in tables.rows("walls"):
        if row["key"] == key:
            low, high = float(row["low"]), float(row["high"])
            return Wall(key, row["name"], low, high, row["source"], row["status"])
    raise UnknownNameError("plastic", key, tuple(row["key"] for row in tables.rows("walls")))


@overload
def permeability(
    at_38_c: float, temp_c: float, activation_j_mol: float = ACTIVATION_J_MOL
) -> float: ...
@overload
def permeability(
    at_38_c: float, temp_c: Floats, activation_j_mol: float = ACTIVATION_J_MOL
) -> Floats: ...
def permeability(
    at_38_c: float, temp_c: Quantity, activation_j_mol: float = ACTIVATION_J_MOL
) -> Quantity:
    """Permeability of a plastic wall at its temperature.

    ``P(T) = P(38 °C) · exp[-(Ea/R) (1/T - 1/311.15)]``.

    Parameters
    ----------
    at_38_c : float
        Permeability at 38 °C [g mm/(m² d kPa)], 0 to 10.
    temp_c : float or ndarray
        Temperature [°C], -40 to 60.
    activation_j_mol : float
        Activation energy [J/mol], 0 to 80000.

    Returns
    -------
    float or ndarray
        Permeability [g mm/(m² d kPa)].

    Raises
    ------
    OutOfRangeError
        A value lies outside its range.

    Notes
    -----
    Activation energies between 20 and 45 kJ/mol were found; at 20 °C they differ by a factor 1.8.

    Examples
    --------
    >>> round(permeability(0.0429, 20.0), 3)
    0.026

    References
    ----------
    Arrhenius' law; permeabilities in the table ``walls``.
    """
    checked("permeability", at_38_c, 0.0, 10.0, "g mm/(m² d kPa)")
    checked("activation energy", activation_j_mol, 0.0, 80_000.0, "J/mol")
    kelvin = checked("temperature", temp_c, -40.0, 60.0, "°C") + ZERO_C_K
    inverse = 1.0 / kelvin - 1.0 / MEASURED_AT_K
    return as_given(at_38_c * np.exp(-activation_j_mol / GAS_CONSTANT * inverse))


def wall_g_per_day(
    *,
    permeability_g_mm: float,
    area_m2: float,
    wall_mm: float,
    temp_c: float,
    rh_out_pct: float,
    rh_in_pct: float,
) -> float:
    """Water through the walls, both sides at one temperature.

    ``W = P · A · (e_out - e_in) / L``.

    Parameters
    ----------
    permeability_g_mm : float
        Permeability at this temperature [g mm/(m² d kPa)], 0 to 10.
    area_m2 : float
        Area of the walls [m²], 0 to 100.
    wall_mm : float
        Their thickness [mm], 0.01 to 100.
    temp_c : float
        Temperature [°C], -40 to 60.
    rh_out_pct, rh_in_pct : float
        Humidity outside and inside [%], 0 to 100.

    Returns
    -------
    float
        Water that comes in [g/d]; below 0 where it goes out.

    Raises
    ------
    OutOfRangeError
        A value lies outside its range.

    Examples
    --------
    >>> round(wall_g_per_day(permeability_g_mm=0.0257, area_m2=0.27, wall_mm=1.5, temp_c=20.0,
    ...     rh_out_pct=60.0, rh_in_pct=15.0), 4)
    0.0049

    References
    ----------
    Fick's law for a flat wall.
    """
    checked("permeability", permeability_g_mm, 0.0, 10.0, "g mm/(m² d kPa)")
    checked("area of the walls", area_m2, 0.0, 100.0, "m²")
    checked("thickness of the walls", wall_mm, 0.01, 100.0, "mm")
    outside = vapour_pressure_pa(temp_c, rh_out_pct)
    drive_kpa = (outside - vapour_pressure_pa(temp_c, rh_in_pct)) / 1000.0
    return permeability_g_mm * area_m2 * drive_kpa / wall_mm


def leak_g_per_day(
    *,
    volume_l: float,
    changes_per_day: float,
    temp_c: float,
    rh_out_pct: float,
    rh_in_pct: float,
) -> float:
    """Water through leaks, both sides at one temperature.

    ``W = V · N · (AH_out - AH_in)``.

    Parameters
    ----------
    volume_l : float
        Free air in the box [L], 0 to 100000.
    changes_per_day : float
        Air changes [1/d], 0 to 1000.
    temp_c : float
        Temperature [°C], -40 to 60.
    rh_out_pct, rh_in_pct : float
        Humidity outside and inside [%], 0 to 100.

    Returns
    -------
    float
        Water that comes in [g/d]; below 0 where it goes out.

    Raises
    ------
    OutOfRangeError
        A value lies outside its range.

    Examples
    --------
    >>> round(leak_g_per_day(volume_l=9.0, changes_per_day=0.3, temp_c=20.0, rh_out_pct=60.0,
    ...     rh_in_pct=15.0), 4)
    0.021

    References
    ----------
    Mass balance of the exchanged air.
    """
    checked("air changes", changes_per_day, 0.0, 1000.0, "1/d")
    whole = {"volume_l": volume_l, "temp_c": temp_c}
    return changes_per_day * opening_g(rh_out_pct=rh_out_pct, rh_in_pct=rh_in_pct, **whole)


def opening_g(*, volume_l: float, temp_c: float, rh_out_pct: float, rh_in_pct: float) -> float:
    """Water that one full opening brings: all air is exchanged, nothing else takes part.

    ``W = V · (AH_out - AH_in)``.

    Parameters
    ----------
    volume_l : float
        Free air in the box [L], 0 to 100000.
    temp_c : float
        Temperature [°C], -40 to 60.
    rh_out_pct, rh_in_pct : float
        Humidity outside and inside [%], 0 to 100.

    Returns
    -------
    float
        Water that comes in [g].

    Raises
    ------
    OutOfRangeError
        A value lies outside its range.

    Examples
    --------
    >>> round(opening_g(volume_l=9.0, temp_c=20.0, rh_out_pct=60.0, rh_in_pct=15.0), 3)
    0.07

    References
    ----------
    Mass balance of the exchanged air.
    """
    checked("volume", volume_l, 0.0, 1e5, "L")
    outside = absolute_humidity_g_m3(temp_c, rh_out_pct)
    return volume_l / 1000.0 * (outside - absolute_humidity_g_m3(temp_c, rh_in_pct))
