"""How fast dry seed dies: the viability equation of Ellis & Roberts and its constants.

``v = Ki - p/sigma``, ``log10 sigma = KE - CW log10 m - CH t - CQ t²``: viability v and its start Ki
in probits, storage p and sigma in days, moisture m in % wet basis, temperature t in °C. sigma is
the time in which a lot loses one probit; lots differ in Ki only.
"""

from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import overload

import numpy as np

from hilum.science import tables
from hilum.science._quantities import LN_10, Floats, Quantity, as_given, checked
from hilum.science.errors import UnknownNameError

MC_WET_LOW_PCT = 1.8  # driest seed among the data of Dickie et al. 1990
MC_WET_HIGH_PCT = 28.0  # wettest seed for which the equation is said to hold, Roberts & Ellis 1989
TEMP_LOW_C = -20.0  # the quadratic turns over between -26 and -47 °C
TEMP_HIGH_C = 90.0  # warmest among the data of Dickie et al. 1990


@dataclass(frozen=True, slots=True)
class ViabilityConstants:
    """One published set of constants, to be used whole.

    ``use`` is "first" (the set of its species), "second" (a second opinion), "list" (low trust: to
    be shown, not used) or "refused" (impossible as printed). ``status`` says whether the figures
    were ``read`` or recalled (``memory``), ``confidence`` and ``note`` how far to trust them.
    """

    key: str
    species: str
    common_name: str
    family: str
    ke: float
    cw: float
    ch: float
    cq: float
    source: str
    status: str
    confidence: str
    use: str = "first"
    note: str = ""


@overload
def sigma_days(constants: ViabilityConstants, mc_wet_pct: float, temp_c: float) -> float: ...
@overload
def sigma_days(constants: ViabilityConstants, mc_wet_pct: Floats, temp_c: Quantity) -> Floats: ...
@overload
def sigma_days(constants: ViabilityConstants, mc_wet_pct: float, temp_c: Floats) -> Floats: ...
def sigma_days(constants: ViabilityConstants, mc_wet_pct: Quantity, temp_c: Quantity) -> Quantity:
    """Time in which seed loses one probit of viability at constant moisture and temperature.

    ``log10 sigma = KE - CW log10 m - CH t - CQ t²``.

    Parameters
    ----------
    constants : ViabilityConstants
        The constants of the species, or of its surrogate.
    mc_wet_pct : float or ndarray
        Moisture content, wet basis [%], 1.8 to 28.
    temp_c : float or ndarray
        Temperature [°C], -20 to 90.

    Returns
    -------
    float or ndarray
        Standard deviation of the deaths in time [d].

    Raises
    ------
    OutOfRangeError
        A moisture or temperature lies outside its range.

    Notes
    -----
    The bare equation. Below about 15 % equilibrium humidity drying further gains little or
    nothing, above 85 % (or 15 % moisture) seed breathes and moulds and the equation is not valid:
    `hilum.science.seedmodel` applies those limits. Real lots miss by a factor of 2 to 5.

    Examples
    --------
    >>> round(sigma_days(constants("allium-cepa"), 8.0, 15.0), 1)
    1396.3

    References
    ----------
    Ellis & Roberts 1980, Annals of Botany 45:13-30; Dickie et al. 1990, Annals of Botany
    65:197-204 (range of temperature and moisture); Roberts & Ellis 1989, Annals of Botany 63:39
    (limits of moisture).
    """
    moisture = checked(
        "moisture content (wet basis)", mc_wet_pct, MC_WET_LOW_PCT, MC_WET_HIGH_PCT, "%"
    )
    temp = checked("temperature", temp_c, TEMP_LOW_C, TEMP_HIGH_C, "°C")
    warmth = (constants.ch + constants.cq * temp) * temp
    return as_given(np.exp(LN_10 * (constants.ke - warmth) - constants.cw * np.log(moisture)))


@cache
def _table() -> dict[str, ViabilityConstants]:
    """Every row of the table by key."""
    return {
        row["key"]: ViabilityConstants(
            key=row["key"],
            species=row["species"],
            common_name=row["common_name"],
            family=row["family"],
            ke=float(row["ke"]),
            cw=float(row["cw"]),
            ch=float(row["ch"]),
            cq=float(row["cq"]),
            source=row["source"],
            status=row["status"],
            confidence=row["confidence"],
            use=row["use"],
            note=row["note"],
        )
        for row in tables.rows("viability_constants")
    }


def constants(key: str) -> ViabilityConstants:
    """Look up one usable set of constants.

    Parameters
    ----------
    key : str
        Key of the set, e.g. "allium-cepa" or "oryza-sativa-older".

    Returns
    -------
    ViabilityConstants
        The set with source, status and confidence.

    Raises
    ------
    UnknownNameError
        No set has this key, or it is one that must not be used.

    Notes
    -----
    Sets with use "list" are given too: whether to trust them is for the caller.

    Examples
    --------
    >>> constants("gossypium-hirsutum").common_name
    'cotton'

    References
    ----------
    Each set names its own source.
    """
    usable = {each.key: each for each in all_constants()}
    if key not in usable:
        near = tuple(get_close_matches(key, usable))
        raise UnknownNameError("usable set of viability constants", key, near)
    return usable[key]


def all_constants() -> tuple[ViabilityConstants, ...]:
    """Every usable set of constants, in the order of the table.

    Returns
    -------
    tuple of ViabilityConstants
        First choices, second opinions and sets of low trust; see their ``use``.

    Notes
    -----
    Standard errors of KE and CW are correlated and not carried.

    Examples
    --------
    >>> all_constants()[0].key
    'zea-mays'

    References
    ----------
    Each set names its own source.
    """
    return tuple(each for each in _table().values() if each.use != "refused")


def refused_constants() -> tuple[ViabilityConstants, ...]:
    """Published sets that are impossible as printed, kept so that nobody adds them again.

    Returns
    -------
    tuple of ViabilityConstants
        The sets; ``note`` says what is wrong.

    Notes
    -----
    `constants` does not give these.

    Examples
    --------
    >>> [each.key for each in refused_constants()]
    ['cucurbita-pepo-styriaca', 'hordeum-vulgare-valfajr']

    References
    ----------
    Each set names its own source.
    """
    return tuple(each for each in _table().values() if each.use == "refused")
