"""Water held in a box: by its desiccant and by its seed, as humidity and temperature tell it.

Seed is counted as oil-free dry matter: in the general isotherm moisture is proportional to it, so
that lots of every oil content add up. Kinds with an isotherm of their own are counted in the same
way here: what matters is how the water of the box changes, not what one lot holds.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hilum.domain.model import Floats
from hilum.science.desiccant import FRESH_LOAD_PCT, gel_load_pct
from hilum.science.isotherms import GeneralIsotherm
from hilum.science.lag import HALVING_C, REFERENCE_TEMP_C, lag_series

ISOTHERM_TEMP_C = (0.0, 50.0)
RH_PCT = (0.5, 99.0)
GRID_PCT = np.linspace(0.5, 99.0, 395)
"""Humidities at which the water of a box is tabulated."""

WEIGHED_SCALE = (0.6, 1.6)
"""A weighing that makes the gel hold less or more than this times its curve is not believed: gels
differ by 20 %, so the dry weight must be wrong. Our choice."""

_OIL_FREE = GeneralIsotherm(0.0)


@dataclass(frozen=True, slots=True)
class Charge:
    """Desiccant put into a box: dry grams, and what it held then, g per 100 g."""

    desiccant: str
    grams: float
    charged_ms: int
    initial_load_pct: float = FRESH_LOAD_PCT.value
    regenerated_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Weighing:
    """Desiccant on the scales: what it held, g per 100 g of its dry weight."""

    time_ms: int
    load_pct: float


@dataclass(frozen=True, slots=True)
class SeedShare:
    """Seed that follows the box alike: oil-free dry grams and time constant at 20 °C."""

    oil_free_g: float
    tau_days: float


def gel_water_g(charge: Charge, scale: float, rh_pct: Floats, temp_c: Floats) -> Floats:
    """Water in a charge in equilibrium with the air; ``scale`` as a weighing made it."""
    load = gel_load_pct(charge.desiccant, np.clip(rh_pct, *RH_PCT), np.clip(temp_c, -40.0, 60.0))
    return charge.grams * scale * load / 100.0


def weighed_scale(charge: Charge, weighing: Weighing, rh_pct: float, temp_c: float) -> float:
    """How much more or less a charge holds than its curve says, by a weighing."""
    curve = gel_load_pct(charge.desiccant, min(max(rh_pct, RH_PCT[0]), RH_PCT[1]), temp_c)
    return weighing.load_pct / curve


def held_g(seeds: Sequence[SeedShare], day: Floats, temp_c: Floats, rh_pct: Floats) -> Floats:
    """Water in the seed of a box, each share following the air with its own lag.

    Parameters
    ----------
    seeds : sequence of SeedShare
        The seed; taken to be in equilibrium on the first day.
    day : ndarray
        Times [d].
    temp_c, rh_pct : ndarray
        Air of the box at those times.

    Returns
    -------
    ndarray
        Water [g] at those times.
    """
    goal = _seed_pct(rh_pct, temp_c)
    cooling = np.maximum(REFERENCE_TEMP_C - (temp_c[1:] + temp_c[:-1]) / 2.0, 0.0)
    slower = 2.0 ** (cooling / HALVING_C)
    total = np.zeros(len(day))
    for share in seeds:
        follows = lag_series(day, goal, float(goal[0]), share.tau_days * slower)
        total += share.oil_free_g * follows / 100.0
    return total


def balance_g(
    charge: Charge | None, scale: float, seeds: Sequence[SeedShare], rh_pct: Floats, temp_c: float
) -> Floats:
    """Water of a box at rest at these humidities and one temperature [g]."""
    temps = np.full(len(rh_pct), temp_c)
    seed_g = sum(share.oil_free_g for share in seeds) * _seed_pct(rh_pct, temps) / 100.0
    return seed_g if charge is None else seed_g + gel_water_g(charge, scale, rh_pct, temps)


def _seed_pct(rh_pct: Floats, temp_c: Floats) -> Floats:
    return _OIL_FREE.mc_dry_pct(np.clip(rh_pct, *RH_PCT), np.clip(temp_c, *ISOTHERM_TEMP_C))


class Balance:
    """Humidity of a box from its water, and back, tabulated at one temperature.

    ``per_degree`` is how much the humidity rises when a box of constant water warms by 1 °C.
    """

    def __init__(
        self, charge: Charge | None, scale: float, seeds: Sequence[SeedShare], temp_c: float
    ) -> None:
        self.temp_c = temp_c
        self._water = balance_g(charge, scale, seeds, GRID_PCT, temp_c)
        warmer, cooler = (
            np.interp(self._water, balance_g(charge, scale, seeds, GRID_PCT, t), GRID_PCT)
            for t in (temp_c + 2.0, temp_c - 2.0)
        )
        self._rise = np.clip((warmer - cooler) / 4.0, -1.0, 1.0)

    def water_g(self, rh_pct: Floats) -> Floats:
        """Water at these humidities."""
        return np.interp(rh_pct, GRID_PCT, self._water)

    def rh_pct(self, water_g: Floats) -> Floats:
        """Humidity with this water."""
        return np.interp(water_g, self._water, GRID_PCT)

    def per_degree(self, rh_pct: Floats) -> Floats:
        """Rise of the humidity by 1 °C of warming, % RH."""
        return np.interp(rh_pct, GRID_PCT, self._rise)
