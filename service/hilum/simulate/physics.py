"""What water does in air, seed, desiccant and plastic: the constants of the simulated world.

Written apart from ``hilum.science`` on purpose: a mistake there must not be repeated here.
Where the sources name no figure, the constant says so.
"""

import math
from functools import cache
from typing import TypeVar

import numpy as np

from hilum.domain.model import Floats

Number = TypeVar("Number", float, Floats)

KELVIN = 273.15
VAPOUR_GAS_CONSTANT = 461.52  # J/(kg K)
GAS_CONSTANT = 8.314462  # J/(mol K)

# Silica gel type 125, Schawe 2000, coefficients read in an open sorption data set.
GEL_A = 4.527805e-4  # m3/kg
GEL_B = 2214.052508  # J/mol
GEL_C = -1593.817135  # J/mol
GEL_D = 6.034706e-7  # m3/kg
GEL_WATER = 997.0  # kg/m3, liquid water
GEL_STRAIGHT_BELOW = 0.10  # the fit's tail is not to be trusted there: a straight line from dry

# Polypropylene, unoriented: middle of the read range at 38 °C, activation energy derived.
PP_G_MM_PER_M2_DAY_KPA = 0.0429
PP_ACTIVATION_J_MOL = 21_500.0
PERMEABILITY_AT_K = 311.15


def saturation_pa(temp_c: Number) -> Number:
    """Saturation vapour pressure over (supercooled) water, Pa.

    Magnus form of WMO-No. 8 / Sonntag 1990, -45 to 60 °C; 0.3 % below Hyland & Wexler 1983.
    """
    power: Number = np.exp(17.62 * temp_c / (243.12 + temp_c))
    return 611.2 * power


def vapour_g_m3(pressure_pa: Number, temp_c: Number) -> Number:
    """Water in the air, g/m3, at a vapour pressure (ideal gas)."""
    return 1000.0 * pressure_pa / (VAPOUR_GAS_CONSTANT * (temp_c + KELVIN))


def seed_shape(r: float) -> tuple[float, float]:
    """The part of the general seed isotherm that depends on humidity, and its slope.

    Cromarty, Ellis & Roberts 1982 (constants from memory, high confidence): the moisture in
    g water per g dry seed is ``seed_scale * seed_shape``, the temperature term squared with the
    rest.

    Parameters
    ----------
    r : float
        Relative humidity as a fraction, 0 < r < 1.
    """
    shape = math.sqrt(-440.0 * math.log(1.0 - r)) / 100.0
    return shape, 0.022 / ((1.0 - r) * shape)


def seed_scale(oil_fraction_dry: float, temp_c: Number) -> Number:
    """The part of the general seed isotherm that depends on oil (dry basis) and temperature."""
    return (1.0 - oil_fraction_dry) / (1.1 + temp_c / 90.0)


def _gel_fit(r: float, temp_c: float) -> tuple[float, float]:
    rt = GAS_CONSTANT * (temp_c + KELVIN)
    x = (-rt * math.log(r) - GEL_B) / GEL_C
    load = GEL_WATER * (GEL_A / math.pi * (math.atan(x) + math.pi / 2) + GEL_D)
    return load, GEL_WATER * GEL_A / math.pi / (1.0 + x * x) * (-rt / (GEL_C * r))


def gel_load(r: float, temp_c: float) -> tuple[float, float]:
    """Load of silica gel in equilibrium with air, g water per g dry gel, and its slope.

    Type 125 (Schawe 2000); below 10 % relative humidity a straight line from dry gel.

    Parameters
    ----------
    r : float
        Relative humidity as a fraction, 0 < r <= 1.
    temp_c : float
        Temperature, °C.
    """
    if r < GEL_STRAIGHT_BELOW:
        slope = _gel_fit(GEL_STRAIGHT_BELOW, temp_c)[0] / GEL_STRAIGHT_BELOW
        return slope * r, slope
    return _gel_fit(r, temp_c)


@cache
def _gel_table(temp_c: float) -> tuple[Floats, Floats]:
    r = np.linspace(0.001, 0.999, 999)
    return np.array([gel_load(float(x), temp_c)[0] for x in r]), r


def gel_rh_pct(load: float, temp_c: float) -> float:
    """Relative humidity over gel of a given load, % (the curve read backwards, by table).

    Parameters
    ----------
    load : float
        g water per g dry gel.
    temp_c : float
        Temperature, °C.
    """
    loads, r = _gel_table(temp_c)
    return float(100.0 * np.interp(load, loads, r))


def permeability(at_38_c: float, activation_j_mol: float, temp_c: Number) -> Number:
    """Permeability of a wall, g mm/(m2 day kPa), from its value at 38 °C (Arrhenius)."""
    inverse = 1.0 / (temp_c + KELVIN) - 1.0 / PERMEABILITY_AT_K
    change: Number = np.exp(-activation_j_mol / GAS_CONSTANT * inverse)
    return at_38_c * change
