"""One kind of seed as the ledger sees it: constants, isotherm and limits, named by a short key.

The limits of the viability equation are applied here. Below 15 % equilibrium humidity no further
gain is claimed; above 85 % (or 15 % moisture, wet basis) the equation is not valid, the loss is
held at that limit and the time must be shown as *wet*. An isotherm is never read below 0 °C or
above 50 °C: none is published there.
"""

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal, cast, overload

import numpy as np
import numpy.typing as npt

from hilum.science._quantities import LN_10, Floats, Quantity, as_floats, as_given
from hilum.science.errors import UnknownNameError
from hilum.science.isotherms import RH_HIGH_PCT, GeneralIsotherm, Isotherm, d245, dry_from_wet_pct
from hilum.science.viability import ViabilityConstants, constants

Size = Literal["small", "large"]
Flags = npt.NDArray[np.bool_]

DRY_ERH_PCT = 15.0  # conservative reading of 10.6 % (Ellis, Hong & Roberts 1989), which drifts up
WET_ERH_PCT = 85.0
WET_MC_WET_PCT = 15.0  # lower end of 15 to 28 %, Roberts & Ellis 1989
TEMP_LOW_C = -20.0
TEMP_HIGH_C = 50.0
ISOTHERM_TEMP_LOW_C = 0.0

_BLOCK = 16_384  # values at a time: the temporary arrays stay in the cache, four times as fast
_WET_MC_DRY_PCT = dry_from_wet_pct(WET_MC_WET_PCT)
_KEY = re.compile(
    r"(?P<constants>[a-z0-9-]+)(\*(?P<scale>\d+(\.\d+)?))?"
    r"/(oil(?P<oil>\d+(\.\d+)?)|d245-(?P<material>[a-z0-9-]+))"
    r"/(?P<size>small|large)",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class SeedModel:
    """Everything the loss of viability depends on besides the air.

    Parameters
    ----------
    key : str
        Name from which `model_for` makes this model again.
    constants : ViabilityConstants
        Constants of the species or of its surrogate.
    isotherm : GeneralIsotherm or ModifiedHenderson or ModifiedChungPfost or ModifiedHalsey or \
ModifiedOswin
        Isotherm that belongs to the constants.
    oil_fraction_dry : float or None
        Oil of the general isotherm [1], 0 to 0.7; none with an isotherm of its own.
    sigma_scale : float
        Factor on sigma [1], above 0.
    size : {"small", "large"}
        How fast the seed takes up water.
    """

    key: str
    constants: ViabilityConstants
    isotherm: Isotherm
    oil_fraction_dry: float | None
    sigma_scale: float
    size: Size


@cache
def model_for(key: str) -> SeedModel:
    """Make the seed model a key names.

    Parameters
    ----------
    key : str
        ``<constants>[*<sigma scale>]/<isotherm>/<size>``: "allium-cepa/oil23.5/small",
        "lactuca-sativa*0.4/oil37/small", "zea-mays/d245-maize-yellow-dent/large". The oil is in
        per cent of dry matter.

    Returns
    -------
    SeedModel
        The model; the same key gives the same model to the last bit.

    Raises
    ------
    UnknownNameError
        The key cannot be read, or names unknown constants or an unknown isotherm.
    OutOfRangeError
        The oil lies outside 0 to 70 %.

    Notes
    -----
    A surrogate's constants travel with the surrogate's oil, never with that of the seed it stands
    for: the limits of moisture agree between species as humidity, not as moisture.

    Examples
    --------
    >>> model_for("lactuca-sativa*0.4/oil37/small").sigma_scale
    0.4

    References
    ----------
    Roberts & Ellis 1989, Annals of Botany 63:39 (water potential, not moisture, compares
    between species).
    """
    found = _KEY.fullmatch(key)
    scale = float(found["scale"] or 1.0) if found else 0.0
    if found is None or scale <= 0.0:
        raise UnknownNameError("seed model", key)
    isotherm: Isotherm
    oil_fraction = None
    if found["material"]:
        isotherm = d245(found["material"]).isotherm
    else:
        oil_fraction = float(found["oil"]) / 100.0
        isotherm = GeneralIsotherm(oil_fraction)
    size = cast("Size", found["size"])
    return SeedModel(key, constants(found["constants"]), isotherm, oil_fraction, scale, size)


@overload
def equilibrium_mc_dry_pct(model: SeedModel, rh_pct: float, temp_c: float) -> float: ...
@overload
def equilibrium_mc_dry_pct(model: SeedModel, rh_pct: Floats, temp_c: Quantity) -> Floats: ...
@overload
def equilibrium_mc_dry_pct(model: SeedModel, rh_pct: float, temp_c: Floats) -> Floats: ...
def equilibrium_mc_dry_pct(model: SeedModel, rh_pct: Quantity, temp_c: Quantity) -> Quantity:
    """Moisture towards which seed drifts in this air, for whole series of readings.

    Parameters
    ----------
    model : SeedModel
        The seed.
    rh_pct : float or ndarray
        Relative humidity [%], any finite value, held within 0 to 99.9.
    temp_c : float or ndarray
        Temperature [°C], any finite value, held within 0 to 50.

    Returns
    -------
    float or ndarray
        Moisture content, dry basis [%].

    Notes
    -----
    Never raises. Below 0 °C the isotherm of 0 °C is used, as for the limits of moisture: no
    published isotherm reaches further, and seed hardly exchanges water there.

    Examples
    --------
    >>> round(equilibrium_mc_dry_pct(model_for("zea-mays/oil2/large"), 50.0, 25.0), 4)
    12.4218

    References
    ----------
    Cromarty, Ellis & Roberts 1982, IBPGR; ASAE D245.
    """
    fraction = np.clip(as_floats(rh_pct), 0.0, RH_HIGH_PCT) / 100.0
    with np.errstate(divide="ignore"):
        return as_given(model.isotherm.moisture(fraction, _isotherm_temp(temp_c)))


@overload
def loss_rate_per_day(model: SeedModel, mc_dry_pct: float, temp_c: float) -> float: ...
@overload
def loss_rate_per_day(model: SeedModel, mc_dry_pct: Floats, temp_c: Quantity) -> Floats: ...
@overload
def loss_rate_per_day(model: SeedModel, mc_dry_pct: float, temp_c: Floats) -> Floats: ...
def loss_rate_per_day(model: SeedModel, mc_dry_pct: Quantity, temp_c: Quantity) -> Quantity:
    """Rate at which seed loses viability, within the limits of the equation.

    ``1 / (scale · sigma(m, t))``, moisture held between that at 15 % equilibrium humidity and the
    smaller of that at 85 % and 15 % wet basis, temperature held within -20 to 50 °C.

    Parameters
    ----------
    model : SeedModel
        The seed.
    mc_dry_pct : float or ndarray
        Moisture content, dry basis [%], any finite value, held within the limits.
    temp_c : float or ndarray
        Temperature [°C], any finite value, held within -20 to 50.

    Returns
    -------
    float or ndarray
        Loss [probit/d], above 0.

    Notes
    -----
    Never raises on finite numbers; `is_wet` says where the figure must not be shown alone. The
    moisture limits are those at the temperature of storage, but never below 0 °C. The result of
    an element does not depend on its place in the array.

    Examples
    --------
    >>> onion = model_for("allium-cepa/oil23.5/small")
    >>> round(1.0 / loss_rate_per_day(onion, 100.0 * 8.0 / 92.0, 15.0), 1)
    1396.3

    References
    ----------
    Ellis & Roberts 1980, Annals of Botany 45:13-30; limits from Roberts & Ellis 1989, Annals of
    Botany 63:39, and Ellis, Hong & Roberts 1989, Annals of Botany 63:601-611.
    """
    moisture, temp = as_floats(mc_dry_pct), as_floats(temp_c)
    if moisture.shape != temp.shape or moisture.size <= _BLOCK:
        return as_given(_rate(model, moisture, temp))
    rate = np.empty_like(moisture)
    pieces = rate.reshape(-1), moisture.reshape(-1), temp.reshape(-1)
    for begin in range(0, rate.size, _BLOCK):
        to, mc, t = (piece[begin : begin + _BLOCK] for piece in pieces)
        to[:] = _rate(model, mc, t)
    return rate


def _rate(model: SeedModel, mc_dry_pct: Floats, temp_c: Floats) -> Floats:
    """Loss [probit/d] of a piece of a series that is short enough for the processor's cache."""
    moisture = np.clip(mc_dry_pct, _lowest_dry_pct(model, temp_c), _highest_dry_pct(model, temp_c))
    moisture = 100.0 * moisture / (100.0 + moisture)
    temp = np.clip(temp_c, TEMP_LOW_C, TEMP_HIGH_C)
    each = model.constants
    exponent = (LN_10 * each.cq * temp + LN_10 * each.ch) * temp - LN_10 * each.ke
    exponent += each.cw * np.log(moisture)
    return np.asarray(np.exp(exponent) / model.sigma_scale)


def is_wet(model: SeedModel, mc_dry_pct: Quantity, temp_c: Quantity) -> Flags:
    """Whether seed is too wet for the equation: above 85 % equilibrium humidity or 15 % moisture.

    Parameters
    ----------
    model : SeedModel
        The seed.
    mc_dry_pct : float or ndarray
        Moisture content, dry basis [%], any finite value.
    temp_c : float or ndarray
        Temperature [°C], any finite value.

    Returns
    -------
    ndarray of bool
        True where the loss is no longer known.

    Notes
    -----
    Wetter seed breathes; with air it may live longer than the equation says, with mould shorter.

    Examples
    --------
    >>> bool(is_wet(model_for("zea-mays/oil4.7/large"), 18.0, 20.0))
    True

    References
    ----------
    Roberts & Ellis 1989, Annals of Botany 63:39; Ibrahim, Roberts & Murdoch 1983, J. Exp. Bot.
    (lettuce, about 15 % moisture).
    """
    return np.asarray(as_floats(mc_dry_pct) > _highest_dry_pct(model, temp_c))


def is_very_dry(model: SeedModel, mc_dry_pct: Quantity, temp_c: Quantity) -> Flags:
    """Whether seed is so dry that no further gain is claimed: below 15 % equilibrium humidity.

    Parameters
    ----------
    model : SeedModel
        The seed.
    mc_dry_pct : float or ndarray
        Moisture content, dry basis [%], any finite value.
    temp_c : float or ndarray
        Temperature [°C], any finite value.

    Returns
    -------
    ndarray of bool
        True where the loss is counted as at 15 % humidity.

    Notes
    -----
    The published limit is 10.6 % humidity (s.e. 0.3) in 12 species at high temperature, and drifts
    up when cooler; 15 % is our conservative reading.

    Examples
    --------
    >>> bool(is_very_dry(model_for("zea-mays/oil4.7/large"), 4.0, 20.0))
    True

    References
    ----------
    Ellis, Hong & Roberts 1989, Annals of Botany 63:601-611; Ellis & Hong 2006, Annals of Botany
    97:785 (drift with temperature).
    """
    return np.asarray(as_floats(mc_dry_pct) < _lowest_dry_pct(model, temp_c))


def _lowest_dry_pct(model: SeedModel, temp_c: Quantity) -> Floats:
    """Lowest moisture [% dry basis] at which the equation is used."""
    return model.isotherm.moisture(np.asarray(DRY_ERH_PCT / 100.0), _isotherm_temp(temp_c))


def _highest_dry_pct(model: SeedModel, temp_c: Quantity) -> Floats:
    """Highest moisture [% dry basis] at which the equation is used."""
    limit = model.isotherm.moisture(np.asarray(WET_ERH_PCT / 100.0), _isotherm_temp(temp_c))
    return np.asarray(np.minimum(limit, _WET_MC_DRY_PCT))


def _isotherm_temp(temp_c: Quantity) -> Floats:
    """Hold a temperature within the span of published isotherms."""
    return np.clip(as_floats(temp_c), ISOTHERM_TEMP_LOW_C, TEMP_HIGH_C)
