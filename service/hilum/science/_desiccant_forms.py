"""The forms in which desiccant isotherms are published: load from humidity, and back.

Humidity is a fraction, load in g water per g dry desiccant, temperature in kelvin; no checks.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from hilum.science._quantities import Floats
from hilum.science.psychrometrics import ZERO_C_K, saturation_pressure_water_pa

GAS_CONSTANT = 8.314462  # J/(mol K)
WATER_KG_M3 = 997.0  # liquid water, as in the published fits


class Form(Protocol):
    """One published equation with its coefficients."""

    def load(self, r: Floats, kelvin: Floats) -> Floats:
        """Water held in equilibrium with air."""
        ...

    def humidity(self, load: Floats, kelvin: Floats) -> Floats:
        """Humidity of the air in equilibrium with a load; above 1 where it cannot hold so much."""
        ...


def _potential(r: Floats, kelvin: Floats) -> Floats:
    """Work to bring a mole of vapour to saturation, J/mol."""
    return np.asarray(-GAS_CONSTANT * kelvin * np.log(r))


def _fraction(potential: Floats, kelvin: Floats) -> Floats:
    return np.asarray(np.exp(-potential / (GAS_CONSTANT * kelvin)))


@dataclass(frozen=True, slots=True)
class Arctan:
    """``w = 997 {(a/pi) [arctan((A-b)/c) + pi/2] + d}`` (Schawe 2000)."""

    a: float
    b: float
    c: float
    d: float

    def load(self, r: Floats, kelvin: Floats) -> Floats:
        angle = np.arctan((_potential(r, kelvin) - self.b) / self.c)
        return np.asarray(WATER_KG_M3 * (self.a * (angle / np.pi + 0.5) + self.d))

    def humidity(self, load: Floats, kelvin: Floats) -> Floats:
        share = (load / WATER_KG_M3 - self.d) / self.a - 0.5
        angle = np.pi * np.clip(share, -0.499999, 0.499999)
        return _fraction(self.b + self.c * np.tan(angle), kelvin)


@dataclass(frozen=True, slots=True)
class Dubinin:
    """``w = a exp[-(A/b)^c]`` (Dubinin & Astakhov's form)."""

    a: float
    b: float
    c: float

    def load(self, r: Floats, kelvin: Floats) -> Floats:
        return np.asarray(self.a * np.exp(-((_potential(r, kelvin) / self.b) ** self.c)))

    def humidity(self, load: Floats, kelvin: Floats) -> Floats:
        depth = np.maximum(-np.log(load / self.a), 0.0)
        return _fraction(self.b * depth ** (1.0 / self.c), kelvin)


@dataclass(frozen=True, slots=True)
class Power:
    """``w = a r^b`` (Freundlich's form)."""

    a: float
    b: float

    def load(self, r: Floats, kelvin: Floats) -> Floats:
        del kelvin
        return np.asarray(self.a * r**self.b)

    def humidity(self, load: Floats, kelvin: Floats) -> Floats:
        del kelvin
        return np.asarray((load / self.a) ** (1.0 / self.b))


@dataclass(frozen=True, slots=True)
class Toth:
    """``w = a y/(1 + y^n)^(1/n)``, ``y = b exp(c/T) p``, ``n = d + e/T`` (Toth's form)."""

    a: float
    b: float
    c: float
    d: float
    e: float

    def _per_fraction(self, kelvin: Floats) -> Floats:
        full_pa = saturation_pressure_water_pa(np.asarray(kelvin - ZERO_C_K))
        return np.asarray(self.b * np.exp(self.c / kelvin) * full_pa)

    def load(self, r: Floats, kelvin: Floats) -> Floats:
        n = self.d + self.e / kelvin
        y = self._per_fraction(kelvin) * r
        return np.asarray(self.a * y / (1.0 + y**n) ** (1.0 / n))

    def humidity(self, load: Floats, kelvin: Floats) -> Floats:
        n = self.d + self.e / kelvin
        share = np.minimum(load / self.a, 1.0 - 1e-12)
        y = share / (1.0 - share**n) ** (1.0 / n)
        return np.asarray(y / self._per_fraction(kelvin))


@dataclass(frozen=True, slots=True)
class Points:
    """Straight lines between printed points, from dry on; beyond the last point as before it."""

    rh: tuple[float, ...]
    loads: tuple[float, ...]

    def load(self, r: Floats, kelvin: Floats) -> Floats:
        return np.asarray(np.interp(r, self.rh, self.loads) + 0.0 * kelvin)

    def humidity(self, load: Floats, kelvin: Floats) -> Floats:
        return np.asarray(np.interp(load, self.loads, self.rh, right=2.0) + 0.0 * kelvin)


@dataclass(frozen=True, slots=True)
class LinearBelow:
    """A form that is not trusted below a humidity: a straight line from dry instead."""

    form: Form
    r0: float

    def load(self, r: Floats, kelvin: Floats) -> Floats:
        knee = self.form.load(np.asarray(self.r0), kelvin)
        return np.where(r < self.r0, knee * r / self.r0, self.form.load(r, kelvin))

    def humidity(self, load: Floats, kelvin: Floats) -> Floats:
        knee = self.form.load(np.asarray(self.r0), kelvin)
        return np.where(load < knee, self.r0 * load / knee, self.form.humidity(load, kelvin))


_FORMS = {"arctan": (Arctan, 4), "dubinin": (Dubinin, 3), "power": (Power, 2), "toth": (Toth, 5)}


def form_of_row(row: dict[str, str]) -> Form:
    """Make the form that a row of ``desiccant_isotherms`` describes."""
    form: Form
    if row["form"] == "points":
        pairs = [pair.split(":") for pair in row["points"].split()]
        first = [(0.0, 0.0), *((float(rh) / 100.0, float(g) / 100.0) for rh, g in pairs)]
        slope = (first[-1][1] - first[-2][1]) / (first[-1][0] - first[-2][0])
        first.append((1.0, first[-1][1] + slope * (1.0 - first[-1][0])))
        form = Points(tuple(rh for rh, _ in first), tuple(load for _, load in first))
    else:
        make, count = _FORMS[row["form"]]
        form = make(*(float(row[name]) for name in "abcde"[:count]))
    if row["linear_below"]:
        form = LinearBelow(form, float(row["linear_below"]) / 100.0)
    return form
