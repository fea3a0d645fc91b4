"""Equilibrium between the moisture of seed and the humidity of the air around it.

Moisture is in % dry basis inside all models; `wet_from_dry_pct` and `dry_from_wet_pct` convert.
Seed that is drying holds somewhat more water than seed that is taking it up (hysteresis); every
curve here is a working average. Quote ±1 % moisture to people, ±1.3 % below 15 % humidity.
"""

import re
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import overload

import numpy as np

from hilum.science import tables
from hilum.science._quantities import Floats, Quantity, as_given, checked
from hilum.science.basis import MC_DRY_HIGH_PCT, dry_from_wet_pct, wet_from_dry_pct
from hilum.science.errors import UnknownNameError

__all__ = [
    "RH_HIGH_PCT",
    "GeneralIsotherm",
    "Isotherm",
    "IsothermModel",
    "IsothermSet",
    "ModifiedChungPfost",
    "ModifiedHalsey",
    "ModifiedHenderson",
    "ModifiedOswin",
    "d245",
    "dry_from_wet_pct",
    "wet_from_dry_pct",
]

RH_HIGH_PCT = 99.9  # at 100 % the models answer with infinite moisture
TEMP_LOW_C = -40.0
TEMP_HIGH_C = 80.0


class IsothermModel(ABC):
    """What all isotherms have in common: two directions with the same ranges.

    A model adds the two equations, over arrays, with humidity as a fraction.
    """

    @property
    def temp_low_c(self) -> float:
        """Coldest temperature [°C] at which the equation can be written down."""
        return TEMP_LOW_C

    @overload
    def mc_dry_pct(self, rh_pct: float, temp_c: float) -> float: ...
    @overload
    def mc_dry_pct(self, rh_pct: Floats, temp_c: Quantity) -> Floats: ...
    @overload
    def mc_dry_pct(self, rh_pct: float, temp_c: Floats) -> Floats: ...
    def mc_dry_pct(self, rh_pct: Quantity, temp_c: Quantity) -> Quantity:
        """Moisture content of seed in equilibrium with air.

        Parameters
        ----------
        rh_pct : float or ndarray
            Relative humidity of the air [%], 0 to 99.9.
        temp_c : float or ndarray
            Temperature [°C], -40 to 80; a form with a pole begins one degree above it.

        Returns
        -------
        float or ndarray
            Moisture content, dry basis [%].

        Raises
        ------
        OutOfRangeError
            A humidity or temperature lies outside its range.

        Notes
        -----
        The models are published for about 10 to 70 or 90 % humidity and 0 or 5 to 40 or 50 °C;
        outside that the figure is an extrapolation. Below freezing no isotherm is supported.

        Examples
        --------
        >>> round(GeneralIsotherm(0.20).mc_dry_pct(30.0, 20.0), 4)
        7.5796

        References
        ----------
        See the class of each model.
        """
        temp = checked("temperature", temp_c, self.temp_low_c, TEMP_HIGH_C, "°C")
        humidity = checked("relative humidity", rh_pct, 0.0, RH_HIGH_PCT, "%")
        with np.errstate(divide="ignore"):  # the logarithm of 0 % humidity leads back to 0 % water
            return as_given(self.moisture(humidity / 100.0, temp))

    @overload
    def erh_pct(self, mc_dry_pct: float, temp_c: float) -> float: ...
    @overload
    def erh_pct(self, mc_dry_pct: Floats, temp_c: Quantity) -> Floats: ...
    @overload
    def erh_pct(self, mc_dry_pct: float, temp_c: Floats) -> Floats: ...
    def erh_pct(self, mc_dry_pct: Quantity, temp_c: Quantity) -> Quantity:
        """Equilibrium relative humidity of seed: that of the air it would neither wet nor dry.

        Parameters
        ----------
        mc_dry_pct : float or ndarray
            Moisture content, dry basis [%], 0 to 2000.
        temp_c : float or ndarray
            Temperature [°C], -40 to 80; a form with a pole begins one degree above it.

        Returns
        -------
        float or ndarray
            Equilibrium relative humidity [%].

        Raises
        ------
        OutOfRangeError
            A moisture or temperature lies outside its range.

        Notes
        -----
        The inverse of `mc_dry_pct`. At constant moisture seed's humidity falls when it cools, by
        about 0.5 % RH for each °C between 30 and 50 % (general isotherm).

        Examples
        --------
        >>> round(GeneralIsotherm(0.20).erh_pct(7.5796, 20.0), 2)
        30.0

        References
        ----------
        See the class of each model.
        """
        temp = checked("temperature", temp_c, self.temp_low_c, TEMP_HIGH_C, "°C")
        moisture = checked("moisture content (dry basis)", mc_dry_pct, 0.0, MC_DRY_HIGH_PCT, "%")
        with np.errstate(divide="ignore", over="ignore"):
            return as_given(100.0 * self.humidity(moisture, temp))

    @abstractmethod
    def moisture(self, fraction: Floats, temp_c: Floats) -> Floats:
        """Give the model's equation for moisture, without checks.

        Parameters
        ----------
        fraction : ndarray
            Relative humidity as a fraction [1], 0 to 0.999.
        temp_c : ndarray
            Temperature [°C], -40 to 80.

        Returns
        -------
        ndarray
            Moisture content, dry basis [%].

        Notes
        -----
        For loops over millions of readings; `mc_dry_pct` is the checked way in.

        Examples
        --------
        >>> float(GeneralIsotherm(0.20).moisture(np.array(0.30), np.array(20.0)).round(4))
        7.5796

        References
        ----------
        See the class of each model.
        """

    @abstractmethod
    def humidity(self, mc_dry_pct: Floats, temp_c: Floats) -> Floats:
        """Give the model's equation for humidity, without checks.

        Parameters
        ----------
        mc_dry_pct : ndarray
            Moisture content, dry basis [%], 0 to 2000.
        temp_c : ndarray
            Temperature [°C], -40 to 80.

        Returns
        -------
        ndarray
            Relative humidity as a fraction [1].

        Notes
        -----
        For loops over millions of readings; `erh_pct` is the checked way in.

        Examples
        --------
        >>> float(GeneralIsotherm(0.20).humidity(np.array(7.5796), np.array(20.0)).round(4))
        0.3

        References
        ----------
        See the class of each model.
        """


@dataclass(frozen=True, slots=True)
class GeneralIsotherm(IsothermModel):
    """Isotherm of any seed from its oil content.

    ``1 - r = exp(-[(1.1 + T/90) M / (1 - D)]² / 440)``, the temperature term inside the square.

    Parameters
    ----------
    oil_fraction_dry : float
        Oil in the dry matter D [1], 0 to 0.7.

    Raises
    ------
    OutOfRangeError
        The oil fraction lies outside its range.

    Notes
    -----
    Constants recalled (high confidence). Published for 10 to 70 % humidity, at 0 to 40 °C for
    starchy and 15 to 25 °C for oily seed. Against a recalled table of 20 vegetables the error is
    0.8 % moisture rms, 2.3 % at worst. Not for beet, whose corky clusters hold 2 to 3 % more.

    References
    ----------
    Cromarty, Ellis & Roberts 1982 (revised 1985, 1990), The design of seed storage facilities for
    genetic conservation, IBPGR, Rome.
    """

    oil_fraction_dry: float

    def __post_init__(self) -> None:
        checked("oil fraction (dry basis)", self.oil_fraction_dry, 0.0, 0.7, "g/g")

    def moisture(self, fraction: Floats, temp_c: Floats) -> Floats:
        """Give moisture; see `IsothermModel.moisture`."""
        held = (1.0 - self.oil_fraction_dry) * np.sqrt(-440.0 * np.log1p(-fraction))
        return held / (1.1 + temp_c / 90.0)

    def humidity(self, mc_dry_pct: Floats, temp_c: Floats) -> Floats:
        """Give humidity; see `IsothermModel.humidity`."""
        group = (1.1 + temp_c / 90.0) * mc_dry_pct / (1.0 - self.oil_fraction_dry)
        return -np.expm1(-group * group / 440.0)


@dataclass(frozen=True, slots=True)
class _ThreeCoefficients(IsothermModel):
    """A D245 form: three fitted coefficients, humidity as a fraction, moisture in % dry basis."""

    a: float
    b: float
    c: float


class _OffsetTemperature(_ThreeCoefficients):
    """A D245 form with T + C in it, which must stay positive."""

    __slots__ = ()

    @property
    def temp_low_c(self) -> float:
        """Coldest temperature [°C]: one degree above the pole of the equation, or -40."""
        return max(TEMP_LOW_C, 1.0 - self.c)


class ModifiedHenderson(_OffsetTemperature):
    """Modified Henderson equation ``1 - r = exp(-A (T + C) M^B)``.

    Parameters
    ----------
    a, b, c : float
        Coefficients, above 0.

    Notes
    -----
    Good for starchy seed; poor below 25 % humidity for oily seed.

    References
    ----------
    ASAE D245; Pfost et al. 1976.
    """

    __slots__ = ()

    def moisture(self, fraction: Floats, temp_c: Floats) -> Floats:
        """Give moisture; see `IsothermModel.moisture`."""
        return _power(-np.log1p(-fraction) / (self.a * (temp_c + self.c)), 1.0 / self.b)

    def humidity(self, mc_dry_pct: Floats, temp_c: Floats) -> Floats:
        """Give humidity; see `IsothermModel.humidity`."""
        return -np.expm1(-self.a * (temp_c + self.c) * _power(mc_dry_pct, self.b))


class ModifiedChungPfost(_OffsetTemperature):
    """Modified Chung-Pfost equation ``r = exp(-A/(T + C) exp(-B M))``.

    Parameters
    ----------
    a, b, c : float
        Coefficients, above 0.

    Notes
    -----
    The equation reaches no moisture before humidity is 0: mostly at 0.1 to 1 %, in the 1976 sets
    of oily seed at up to 12 %. Below that the answer is 0 % moisture; do not use it there.

    References
    ----------
    ASAE D245; Pfost et al. 1976.
    """

    __slots__ = ()

    def moisture(self, fraction: Floats, temp_c: Floats) -> Floats:
        """Give moisture; see `IsothermModel.moisture`."""
        depth = -(temp_c + self.c) * np.log(fraction) / self.a
        return np.maximum(-np.log(depth) / self.b, 0.0)

    def humidity(self, mc_dry_pct: Floats, temp_c: Floats) -> Floats:
        """Give humidity; see `IsothermModel.humidity`."""
        return np.exp(-self.a / (temp_c + self.c) * np.exp(-self.b * mc_dry_pct))


class ModifiedHalsey(_ThreeCoefficients):
    """Modified Halsey equation ``r = exp(-exp(A + B T) M^-C)``.

    Parameters
    ----------
    a, b, c : float
        Coefficients; C above 0.

    Notes
    -----
    The form for oily seed.

    References
    ----------
    ASAE D245; Chen & Morey 1989, Trans. ASAE 32(3):983.
    """

    __slots__ = ()

    def moisture(self, fraction: Floats, temp_c: Floats) -> Floats:
        """Give moisture; see `IsothermModel.moisture`."""
        return _power(-np.exp(self.a + self.b * temp_c) / np.log(fraction), 1.0 / self.c)

    def humidity(self, mc_dry_pct: Floats, temp_c: Floats) -> Floats:
        """Give humidity; see `IsothermModel.humidity`."""
        return np.exp(-np.exp(self.a + self.b * temp_c) * _power(mc_dry_pct, -self.c))


class ModifiedOswin(_ThreeCoefficients):
    """Modified Oswin equation ``r = 1 / (((A + B T)/M)^C + 1)``.

    Parameters
    ----------
    a, b, c : float
        Coefficients; A and C above 0.

    References
    ----------
    ASAE D245; Chen & Morey 1989, Trans. ASAE 32(3):983.
    """

    __slots__ = ()

    def moisture(self, fraction: Floats, temp_c: Floats) -> Floats:
        """Give moisture; see `IsothermModel.moisture`."""
        return (self.a + self.b * temp_c) * _power(fraction / (1.0 - fraction), 1.0 / self.c)

    def humidity(self, mc_dry_pct: Floats, temp_c: Floats) -> Floats:
        """Give humidity; see `IsothermModel.humidity`."""
        return 1.0 / (_power(mc_dry_pct / (self.a + self.b * temp_c), -self.c) + 1.0)


def _power(base: Floats, exponent: float) -> Floats:
    """Raise to a power by way of exp and log, which round the same way at every position."""
    return np.exp(exponent * np.log(base))


Isotherm = GeneralIsotherm | ModifiedHenderson | ModifiedChungPfost | ModifiedHalsey | ModifiedOswin


@dataclass(frozen=True, slots=True)
class IsothermSet:
    """Published isotherm of one material.

    ``status`` says how the coefficients were come by (``read`` or ``memory``), ``note`` how far to
    trust them.
    """

    material: str
    isotherm: Isotherm
    source: str
    status: str
    note: str = ""


@cache
def d245(material: str, form: str | None = None) -> IsothermSet:
    """Look up the D245 isotherm of a material.

    Parameters
    ----------
    material : str
        Name ("maize yellow dent") or key ("maize-yellow-dent") in the table.
    form : str, optional
        One of "henderson", "chung_pfost", "halsey", "oswin"; without it the best-supported form.

    Returns
    -------
    IsothermSet
        The isotherm with its source and status.

    Raises
    ------
    UnknownNameError
        The table has no such material, or not in this form.

    Notes
    -----
    Sets marked ``memory`` are recalled; five of them reproduce printed tables to rounding. Typical
    error of the equations 0.5 to 1 % moisture, between 10 and 90 % humidity and 5 and 50 °C.
    Sorghum stands 1.5 to 2 % above older data: take it as ±2 %.

    Examples
    --------
    >>> round(wet_from_dry_pct(d245("soybean").isotherm.mc_dry_pct(50.0, 21.1)), 2)
    8.77

    References
    ----------
    ASAE D245.4, D245.5, D245.6; Pfost et al. 1976; Chen & Morey 1989, Trans. ASAE 32(3):983;
    Sokhansanj et al. 1986 (canola).
    """
    key = re.sub(r"[^a-z0-9]+", "-", material.lower()).strip("-")
    table = tables.rows("isotherm_coefficients")
    found = [row for row in table if row["key"] == key]
    if not found:
        names = {row["key"]: row["material"] for row in table}
        near = tuple(names[name] for name in get_close_matches(key, names))
        raise UnknownNameError("material with an isotherm", material, near)
    chosen = [row for row in found if (row["form"] == form if form else row["preferred"])]
    if not chosen:
        forms = tuple(row["form"] for row in found)
        raise UnknownNameError(f"isotherm form of {material}", str(form), forms)
    row = chosen[0]
    isotherm = _form(row["form"])(float(row["a"]), float(row["b"]), float(row["c"]))
    return IsothermSet(row["material"], isotherm, row["source"], row["status"], row["note"])


def _form(name: str) -> Callable[[float, float, float], Isotherm]:
    """Give the class of a form named in the table."""
    forms: dict[str, Callable[[float, float, float], Isotherm]] = {
        "henderson": ModifiedHenderson,
        "chung_pfost": ModifiedChungPfost,
        "halsey": ModifiedHalsey,
        "oswin": ModifiedOswin,
    }
    return forms[name]
