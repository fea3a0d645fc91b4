"""Desiccants: how much water they hold, how they show it, and how they are dried again.

Loads are g water per 100 g dry desiccant. Gel has no "full" point at low humidity: it is exhausted
when it can no longer hold its box below the humidity that is wanted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType
from typing import Literal, cast, overload

import numpy as np

from hilum.science import tables
from hilum.science._desiccant_forms import Form, form_of_row
from hilum.science._quantities import Floats, Quantity, as_given, checked
from hilum.science.errors import OutOfRangeError, UnknownNameError
from hilum.science.kindmodel import Fact
from hilum.science.psychrometrics import ZERO_C_K

Family = Literal["gel", "zeolite", "clay"]

DEFAULT = "silica-gel"
RH_HIGH_PCT = 99.9
TEMP_LOW_C, TEMP_HIGH_C = -40.0, 80.0

UNKNOWN_GEL_SPREAD_PCT = Fact(
    20.0,
    "spread between published gel isotherms at 25 °C",
    "derived",
    "Gels of different make hold 15 to 20 % more or less at the same humidity.",
)
FRESH_LOAD_PCT = Fact(
    2.0,
    "residual moisture up to 3 % for gel and 6 % for zeolite (one maker's figures)",
    "derived",
    "Desiccant from the oven is never quite dry.",
)
COOL_FIRST = (
    "Weigh it now and then: it is dry when two weighings differ by less than half a per cent. "
    "Let it cool in a closed jar; never put hot desiccant on seed."
)

DYE_BURNS = "No dye bears such heat (orange breaks down above 120 °C): dry only undyed beads so."


@dataclass(frozen=True, slots=True)
class Desiccant:
    """A desiccant with its isotherm; ``spread_pct`` is how far makes differ, each way."""

    key: str
    name: str
    family: Family
    form: Form
    spread_pct: float
    source: str
    status: str
    note: str


@dataclass(frozen=True, slots=True)
class Indicator:
    """A dye that shows how full a gel is; the change is at ``uptake_pct`` g per 100 g."""

    key: str
    name: str
    dry: str
    wet: str
    uptake_pct: float
    hazard: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class OvenAdvice:
    """How a desiccant is dried again; temperatures in °C, ``None`` where no limit is known."""

    words: str
    least_c: float | None
    highest_c: float | None
    cautions: tuple[str, ...]
    source: str
    status: str


@cache
def desiccants() -> Mapping[str, Desiccant]:
    """Every desiccant by key, the default first.

    Returns
    -------
    mapping of str to Desiccant
        Read-only.

    Examples
    --------
    >>> desiccants()["clay"].family
    'clay'

    References
    ----------
    Each row of the table ``desiccant_isotherms`` names its own source.
    """
    made = {row["key"]: _made(row) for row in tables.rows("desiccant_isotherms")}
    return MappingProxyType(made)


def _made(row: dict[str, str]) -> Desiccant:
    return Desiccant(
        key=row["key"],
        name=row["name"],
        family=cast("Family", row["family"]),
        form=form_of_row(row),
        spread_pct=float(row["spread"]),
        source=row["source"],
        status=row["status"],
        note=row["note"],
    )


def find_desiccant(name: str) -> Desiccant:
    """Give a desiccant by key or common name.

    Parameters
    ----------
    name : str
        Key or name ("silica-gel", "drying beads").

    Returns
    -------
    Desiccant
        The desiccant.

    Raises
    ------
    UnknownNameError
        The table has no such desiccant.

    Examples
    --------
    >>> find_desiccant("Zeolite beads").key
    'zeolite-4a'

    References
    ----------
    Table ``desiccant_isotherms``.
    """
    return desiccants()[_key_in("desiccant_isotherms", "desiccant", name)]


def _key_in(table: str, what: str, name: str) -> str:
    """Key of the row that has this key or name."""
    wanted = name.strip().casefold()
    names = {}
    for row in tables.rows(table):
        known = (row["key"], row["name"], *filter(None, row["also"].split(";")))
        names.update({each.casefold(): row["key"] for each in known})
    if wanted not in names:
        raise UnknownNameError(what, name, tuple(get_close_matches(wanted, names, 3, 0.5)))
    return names[wanted]


@overload
def gel_load_pct(desiccant: str, rh_pct: float, temp_c: float) -> float: ...
@overload
def gel_load_pct(desiccant: str, rh_pct: Floats, temp_c: Quantity) -> Floats: ...
@overload
def gel_load_pct(desiccant: str, rh_pct: float, temp_c: Floats) -> Floats: ...
def gel_load_pct(desiccant: str, rh_pct: Quantity, temp_c: Quantity) -> Quantity:
    """Water a desiccant holds in equilibrium with air.

    Parameters
    ----------
    desiccant : str
        Key or name of the table.
    rh_pct : float or ndarray
        Relative humidity [%], 0 to 99.9.
    temp_c : float or ndarray
        Temperature [°C], -40 to 80.

    Returns
    -------
    float or ndarray
        Load [g water per 100 g dry desiccant].

    Raises
    ------
    OutOfRangeError
        A humidity or temperature lies outside its range.
    UnknownNameError
        The table has no such desiccant.

    Notes
    -----
    The default gel below 10 % humidity is a straight line from dry: the fit's tail is not to be
    trusted there. Where only points at 25 °C are known, temperature makes no difference.

    Examples
    --------
    >>> round(gel_load_pct("silica-gel", 20.0, 20.0), 2)
    10.85

    References
    ----------
    Schawe 2000; Sapienza et al. 2017; Sakoda & Suzuki 1984; Chua et al. 2004; Wang & LeVan 2009
    (coefficients read in an open data set of sorption fits).
    """
    form = find_desiccant(desiccant).form
    humidity = checked("relative humidity", rh_pct, 0.0, RH_HIGH_PCT, "%")
    temp = checked("temperature", temp_c, TEMP_LOW_C, TEMP_HIGH_C, "°C")
    with np.errstate(divide="ignore"):  # dry air: the logarithm leads back to no water
        return as_given(100.0 * form.load(humidity / 100.0, temp + ZERO_C_K))


@overload
def gel_rh_pct(desiccant: str, load_pct: float, temp_c: float) -> float: ...
@overload
def gel_rh_pct(desiccant: str, load_pct: Floats, temp_c: Quantity) -> Floats: ...
@overload
def gel_rh_pct(desiccant: str, load_pct: float, temp_c: Floats) -> Floats: ...
def gel_rh_pct(desiccant: str, load_pct: Quantity, temp_c: Quantity) -> Quantity:
    """Humidity of the air over a desiccant that holds so much water.

    Parameters
    ----------
    desiccant : str
        Key or name of the table.
    load_pct : float or ndarray
        Load [g water per 100 g dry desiccant], 0 to what it holds at 99.9 % humidity.
    temp_c : float or ndarray
        Temperature [°C], -40 to 80.

    Returns
    -------
    float or ndarray
        Relative humidity [%].

    Raises
    ------
    OutOfRangeError
        It cannot hold so much, or the temperature lies outside its range.
    UnknownNameError
        The table has no such desiccant.

    Notes
    -----
    The inverse of `gel_load_pct`, in closed form.

    Examples
    --------
    >>> round(gel_rh_pct("silica-gel", 10.85, 20.0), 1)
    20.0

    References
    ----------
    As for `gel_load_pct`.
    """
    form = find_desiccant(desiccant).form
    temp = checked("temperature", temp_c, TEMP_LOW_C, TEMP_HIGH_C, "°C")
    most = 100.0 * float(np.min(form.load(np.asarray(RH_HIGH_PCT / 100.0), temp + ZERO_C_K)))
    most *= 1.0 + 1e-12  # its own answer must be taken back
    load = checked("load of the desiccant", load_pct, 0.0, most, "g per 100 g")
    with np.errstate(divide="ignore"):
        return as_given(100.0 * form.humidity(load / 100.0, temp + ZERO_C_K))


@cache
def indicators() -> Mapping[str, Indicator]:
    """Every indicator dye by key.

    Returns
    -------
    mapping of str to Indicator
        Read-only.

    Examples
    --------
    >>> indicators()["cobalt"].wet
    'pink'

    References
    ----------
    Each row of the table ``indicators`` names its own source.
    """
    made = {
        row["key"]: Indicator(
            row["key"], row["name"], row["dry"], row["wet"], float(row["uptake"]),
            row["hazard"], row["source"], row["status"],
        )
        for row in tables.rows("indicators")
    }  # fmt: skip
    return MappingProxyType(made)


def oven_advice(desiccant: str, indicator: str | None = None) -> OvenAdvice:
    """Say how a desiccant is dried again.

    Parameters
    ----------
    desiccant : str
        Key or name of the table.
    indicator : str, optional
        Dye of a gel: "cobalt" (blue) or "orange"; none for white gel.

    Returns
    -------
    OvenAdvice
        Temperature, time and cautions.

    Raises
    ------
    UnknownNameError
        No such desiccant or indicator.

    Examples
    --------
    >>> oven_advice("gel", "orange").highest_c
    120.0

    References
    ----------
    Tables ``regeneration`` and ``indicators``, each row with its source.
    """
    family = find_desiccant(desiccant).family
    dye = indicators()[_key_in("indicators", "indicator", indicator)] if indicator else None
    wanted = (family, dye.key if dye and family == "gel" else "")
    row = next(r for r in tables.rows("regeneration") if (r["family"], r["indicator"]) == wanted)
    burns = dye is not None and family == "zeolite"
    return OvenAdvice(
        words=row["words"],
        least_c=float(row["least_c"]) if row["least_c"] else None,
        highest_c=float(row["highest_c"]) if row["highest_c"] else None,
        cautions=(COOL_FIRST, *([DYE_BURNS] if burns else []), *([dye.hazard] if dye else [])),
        source=row["source"],
        status=row["status"],
    )


@dataclass(frozen=True, slots=True)
class _Unit:
    """What DIN 55474 says of one highest humidity."""

    grams: float
    barrier: float


@cache
def _units() -> dict[float, _Unit]:
    return {
        float(row["final_rh"]): _Unit(float(row["a_g"]), float(row["e"]))
        for row in tables.rows("din_55474")
    }


def packaging_units(
    *,
    final_rh_pct: float,
    volume_m3: float,
    air_water_g_m3: float,
    packing_kg: float = 0.0,
    packing_water_g_kg: float = 80.0,
    barrier_m2: float,
    wvtr_g_m2_day: float,
    days: float,
) -> float:
    """Desiccant units by the packaging formula, to check other figures against.

    ``n = (V b + m c + A e WVTR t) / a``.

    Parameters
    ----------
    final_rh_pct : float
        Highest humidity allowed [%], 20 to 60: the standard has 20, 40, 50 and 60.
    volume_m3 : float
        Enclosed air V [m³], 0 to 10000.
    air_water_g_m3 : float
        Water in it b [g/m³], 0 to 100.
    packing_kg : float
        Hygroscopic packing m [kg], 0 to 100000.
    packing_water_g_kg : float
        Water it gives off c [g/kg], 0 to 1000; 80 for air-dry wood and board.
    barrier_m2 : float
        Area of the barrier A [m²], 0 to 10000.
    wvtr_g_m2_day : float
        Its water-vapour transmission [g/(m² d)], 0.1 to 1000: the standard counts no less than 0.1.
    days : float
        Time t [d], 0 to 10000.

    Returns
    -------
    float
        Units [1]; one takes up at least 6 g at 23 °C and 40 % humidity (DIN 55473).

    Raises
    ------
    OutOfRangeError
        A value lies outside its range, or the standard has no such humidity.

    Notes
    -----
    For packs, not for seed: it counts no water that comes out of seed.

    Examples
    --------
    >>> round(packaging_units(final_rh_pct=40, volume_m3=40, air_water_g_m3=13.83, packing_kg=20,
    ...     packing_water_g_kg=80, barrier_m2=65, wvtr_g_m2_day=0.4, days=360), 1)
    1450.9

    References
    ----------
    DIN 55474 (as printed by two secondary pages, read).
    """
    checked("volume", volume_m3, 0.0, 10_000.0, "m³")
    checked("water in the air", air_water_g_m3, 0.0, 100.0, "g/m³")
    checked("packing", packing_kg, 0.0, 100_000.0, "kg")
    checked("water of the packing", packing_water_g_kg, 0.0, 1000.0, "g/kg")
    checked("area of the barrier", barrier_m2, 0.0, 10_000.0, "m²")
    checked("water-vapour transmission", wvtr_g_m2_day, 0.1, 1000.0, "g/(m² d)")
    checked("time", days, 0.0, 10_000.0, "d")
    unit = _units().get(final_rh_pct)
    if unit is None:
        raise OutOfRangeError("final humidity (20, 40, 50 or 60)", final_rh_pct, 20.0, 60.0, "%")
    through = barrier_m2 * unit.barrier * wvtr_g_m2_day * days
    water = volume_m3 * air_water_g_m3 + packing_kg * packing_water_g_kg + through
    return water / unit.grams
