"""Checking a humidity sensor over saturated salts: the fixed points and the arithmetic."""

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType
from typing import overload

import numpy as np

from hilum.science import tables
from hilum.science._quantities import Floats, Quantity, as_floats, as_given, checked
from hilum.science.errors import OutOfRangeError, UnknownNameError

LEAST_APART_PCT = 15.0  # our choice: nearer points make the gain a matter of noise
GAIN_RANGE = (0.7, 1.4)  # our choice: beyond, a sensor is broken or the salts were swapped

PRACTICE = (
    "Use a damp slurry with solid salt left in it, not a clear pool, in an airtight box.",
    "Wait 20 minutes for a small sensor, an hour for a bulky one, at a steady temperature.",
    "No seed and no desiccant in the box: a few milligrams of water an hour shift the reading.",
)


@dataclass(frozen=True, slots=True)
class Salt:
    """A salt; ``caution`` is empty where ordinary care will do."""

    key: str
    name: str
    caution: str


@dataclass(frozen=True, slots=True)
class SaltPoint:
    """Humidity over a saturated salt, % RH, with its uncertainty as published."""

    salt: Salt
    temp_c: float
    rh_pct: float
    uncertainty_pct: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Calibration:
    """A correction: true humidity = gain · reading + offset; ``notes`` are sentences."""

    gain: float
    offset_pct: float
    notes: tuple[str, ...] = ()

    @overload
    def correct(self, rh_pct: float) -> float: ...
    @overload
    def correct(self, rh_pct: Floats) -> Floats: ...
    def correct(self, rh_pct: Quantity) -> Quantity:
        """Correct readings.

        Parameters
        ----------
        rh_pct : float or ndarray
            Readings [%], any finite value.

        Returns
        -------
        float or ndarray
            Corrected humidity [%], held within 0 to 100.

        Examples
        --------
        >>> Calibration(1.0, -2.5).correct(40.0)
        37.5

        References
        ----------
        A straight line.
        """
        return as_given(np.clip(self.gain * as_floats(rh_pct) + self.offset_pct, 0.0, 100.0))


@cache
def salts() -> Mapping[str, Salt]:
    """Every salt by formula, from dry to damp.

    Returns
    -------
    mapping of str to Salt
        Read-only.

    Examples
    --------
    >>> salts()["NaCl"].name
    'sodium chloride'

    References
    ----------
    Names and cautions are general knowledge, recalled.
    """
    made = {row["salt"]: Salt(row["salt"], row["name"], row["caution"]) for row in _rows()}
    return MappingProxyType(made)


def _rows() -> tuple[dict[str, str], ...]:
    return tables.rows("salts")


def find_salt(name: str) -> Salt:
    """Give a salt by formula or name.

    Parameters
    ----------
    name : str
        "NaCl", "sodium chloride" or "table salt"; case does not matter.

    Returns
    -------
    Salt
        The salt.

    Raises
    ------
    UnknownNameError
        The table has no such salt.

    Examples
    --------
    >>> find_salt("Table salt").key
    'NaCl'

    References
    ----------
    Table ``salts``.
    """
    names = {}
    for row in _rows():
        known = (row["salt"], row["name"], *filter(None, row["also"].split(";")))
        names.update({each.casefold(): row["salt"] for each in known})
    wanted = name.strip().casefold()
    if wanted not in names:
        raise UnknownNameError("salt", name, tuple(get_close_matches(wanted, names, 3, 0.5)))
    return salts()[names[wanted]]


@cache
def _points(salt: str) -> tuple[Floats, Floats, Floats, str, str]:
    """Temperatures, humidities, uncertainties, source and status of a salt."""
    rows = [row for row in tables.rows("salt_points") if row["salt"] == salt]
    columns = (np.array([float(r[c]) for r in rows]) for c in ("temp_c", "rh", "uncertainty"))
    temp_c, rh_pct, uncertainty = columns
    return temp_c, rh_pct, uncertainty, rows[0]["source"], rows[0]["status"]


def salt_point(salt: str, temp_c: float) -> SaltPoint:
    """Humidity of the air over a saturated salt.

    Parameters
    ----------
    salt : str
        Formula or name.
    temp_c : float
        Temperature [°C], 5 to 30.

    Returns
    -------
    SaltPoint
        Humidity and its uncertainty, straight lines between the published points.

    Raises
    ------
    OutOfRangeError
        The temperature lies outside the table.
    UnknownNameError
        The table has no such salt.

    Notes
    -----
    The common form A exp(B/T) is 3 % RH low for magnesium nitrate at 5 °C; the table is used.

    Examples
    --------
    >>> round(salt_point("NaCl", 22.5).rh_pct, 2)
    75.38

    References
    ----------
    Greenspan 1977, Journal of Research of the NBS 81A:89 (same values in ASTM E104, OIML R121).
    """
    found = find_salt(salt)
    temps, rh_pct, uncertainty, source, status = _points(found.key)
    checked("temperature", temp_c, float(temps[0]), float(temps[-1]), "°C")
    return SaltPoint(
        found,
        temp_c,
        float(np.interp(temp_c, temps, rh_pct)),
        float(np.interp(temp_c, temps, uncertainty)),
        source,
        status,
    )


def one_point(point: SaltPoint, read_pct: float) -> Calibration:
    """Correction from one salt: an offset.

    Parameters
    ----------
    point : SaltPoint
        Where the sensor stood.
    read_pct : float
        What it read [%], 0 to 100.

    Returns
    -------
    Calibration
        Gain 1 and an offset.

    Raises
    ------
    OutOfRangeError
        The reading lies outside its range.

    Notes
    -----
    Right at that humidity only; a second salt on the other side of what is stored says the rest.

    Examples
    --------
    >>> round(one_point(salt_point("NaCl", 25.0), 77.0).offset_pct, 2)
    -1.71

    References
    ----------
    Greenspan 1977 for the point.
    """
    checked("reading", read_pct, 0.0, 100.0, "%")
    words = f"Right near {point.rh_pct:.0f} % only. A second, drier salt says what it does there."
    return Calibration(1.0, point.rh_pct - read_pct, (words, *_cautions(point)))


def two_point(
    low: SaltPoint, read_low_pct: float, high: SaltPoint, read_high_pct: float
) -> Calibration:
    """Correction from two salts: a straight line through both.

    Parameters
    ----------
    low, high : SaltPoint
        The drier and the damper salt.
    read_low_pct, read_high_pct : float
        What the sensor read over each [%], 0 to 100.

    Returns
    -------
    Calibration
        Gain and offset.

    Raises
    ------
    OutOfRangeError
        A reading lies outside its range, the salts are less than 15 % apart, or the gain comes out
        below 0.7 or above 1.4.

    Notes
    -----
    Lithium and magnesium chloride stand on either side of dry seed.

    Examples
    --------
    >>> line = two_point(salt_point("LiCl", 20.0), 13.0, salt_point("NaCl", 20.0), 76.0)
    >>> round(line.correct(35.0), 1)
    33.7

    References
    ----------
    Greenspan 1977 for the points.
    """
    checked("reading over the drier salt", read_low_pct, 0.0, 100.0, "%")
    checked("reading over the damper salt", read_high_pct, 0.0, 100.0, "%")
    apart = high.rh_pct - low.rh_pct
    checked("distance between the two salts", apart, LEAST_APART_PCT, 100.0, "%")
    risen = read_high_pct - read_low_pct
    gain = apart / risen if risen > 0.0 else float("inf")
    if not GAIN_RANGE[0] <= gain <= GAIN_RANGE[1]:
        raise OutOfRangeError("gain of the correction", gain, *GAIN_RANGE, "")
    notes = dict.fromkeys((*_cautions(low), *_cautions(high)))
    return Calibration(gain, low.rh_pct - gain * read_low_pct, tuple(notes))


def _cautions(point: SaltPoint) -> tuple[str, ...]:
    return (*([point.salt.caution] if point.salt.caution else []), *PRACTICE)
