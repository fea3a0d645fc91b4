"""What becomes of a lot in constant conditions: a range of germination, not a number."""

import math
from dataclasses import dataclass

from hilum.science.basis import dry_from_wet_pct, wet_from_dry_pct
from hilum.science.errors import OutOfRangeError
from hilum.science.isotherms import RH_HIGH_PCT
from hilum.science.kinds import Kind, own_isotherm
from hilum.science.normal import ned, viability_fraction
from hilum.science.seedmodel import (
    ISOTHERM_TEMP_LOW_C,
    equilibrium_mc_dry_pct,
    is_very_dry,
    is_wet,
    loss_rate_per_day,
)
from hilum.science.surrogates import (
    LEAST_COUNTING_ERROR_POINTS,
    Basis,
    basis_for,
    factor_at,
    model_on,
)

WORKING_SAMPLE = 400  # seeds of a full test, ISTA and AOSA
Z_95 = 1.959964  # 95 % of a normal distribution lie within, either side
TEMP_LOW_C = -40.0
TEMP_HIGH_C = 50.0
MOST_DAYS = 100_000.0


@dataclass(frozen=True, slots=True)
class PredictedRange:
    """Germination after storage in constant conditions, in per cent, with a 95 % range.

    ``low_pct`` and ``high_pct`` are what to show: the range of the model, from the factor of the
    basis, and the counting error of the start test (5 points each side at least), joined as
    independent errors about the median. ``erh_pct`` and ``mc_wet_pct`` are of
    the kind itself. ``very_dry``: no gain is claimed from being this dry. ``wet``: the equation
    does not hold for seed this damp, and the figures must not be shown without saying so.
    """

    basis: Basis
    median_pct: float
    low_pct: float
    high_pct: float
    model_low_pct: float
    model_high_pct: float
    counting_error_points: float
    factor: float
    sigma_days: float
    erh_pct: float
    mc_wet_pct: float
    very_dry: bool
    wet: bool


def predict_range(
    kind: Kind,
    *,
    start_pct: float,
    days: float,
    temp_c: float,
    rh_pct: float | None = None,
    mc_wet_pct: float | None = None,
    tested_seeds: float = WORKING_SAMPLE,
) -> PredictedRange:
    """Range of germination after a time in constant conditions.

    ``v = Ki - p / sigma``, sigma multiplied and divided by the factor of the basis.

    Parameters
    ----------
    kind : Kind
        The kind of seed.
    start_pct : float
        Germination at the start [%], 0 to 100.
    days : float
        Time in store [d], 0 to 100,000.
    temp_c : float
        Temperature [°C], -40 to 50; counted as -20 where colder.
    rh_pct : float, optional
        Humidity of the air the seed is in equilibrium with [%], 0 to 99.9. This or `mc_wet_pct`.
    mc_wet_pct : float, optional
        Moisture of the seed [%, wet basis], 0 to 50, when sealed; counts before `rh_pct`.
    tested_seeds : float, optional
        Seeds in the start test [seeds], at least 1; without it the working sample of 400.

    Returns
    -------
    PredictedRange
        Median and range [%], with the basis and the conditions they hold for.

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.
    TypeError
        Neither humidity nor moisture is given.
    NoLifeModelError
        The kind is no seed that can be dried.

    Notes
    -----
    A surrogate's moisture is taken at the same humidity, by the surrogate's own isotherm. Sigma is
    held at its value at 15 % humidity in drier seed. Against published trials more than nine in ten
    of such ranges held the outcome; ``service/docs/how-sure.md`` lists each miss.

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> after = predict_range(kind("onion"), start_pct=90, days=1461, temp_c=20, rh_pct=50)
    >>> round(after.low_pct), round(after.median_pct), round(after.high_pct)
    (0, 3, 69)

    References
    ----------
    Ellis & Roberts 1980, Annals of Botany 45:13-30 (equation); factors: see
    `hilum.science.surrogates`.
    """
    _check("germination at the start", start_pct, 0.0, 100.0, "%")
    _check("time in store", days, 0.0, MOST_DAYS, "days")
    _check("temperature", temp_c, TEMP_LOW_C, TEMP_HIGH_C, "°C")
    _check("seeds in the start test", tested_seeds, 1.0, 1e6, "seeds")
    basis = basis_for(kind)
    model = model_on(basis, kind)
    erh_pct, own_wet_pct = _condition(kind, temp_c, rh_pct, mc_wet_pct)
    moisture = equilibrium_mc_dry_pct(model, erh_pct, temp_c)
    loss = days * loss_rate_per_day(model, moisture, temp_c)
    factor = factor_at(basis, temp_c, erh_pct)
    least = 0.25 / tested_seeds
    share = min(max(start_pct / 100.0, least), 1.0 - least)
    low, middle, high = (
        100.0 * viability_fraction(ned(share) - loss * times)
        for times in (factor, 1.0, 1.0 / factor)
    )
    error = max(LEAST_COUNTING_ERROR_POINTS, counting_error_points(start_pct, tested_seeds))
    return PredictedRange(
        basis=basis,
        median_pct=middle,
        low_pct=max(middle - math.hypot(middle - low, error), 0.0),
        high_pct=min(middle + math.hypot(high - middle, error), 100.0),
        model_low_pct=low,
        model_high_pct=high,
        counting_error_points=error,
        factor=factor,
        sigma_days=1.0 / loss_rate_per_day(model, moisture, temp_c),
        erh_pct=erh_pct,
        mc_wet_pct=own_wet_pct,
        very_dry=bool(is_very_dry(model, moisture, temp_c)),
        wet=bool(is_wet(model, moisture, temp_c)),
    )


def counting_error_points(germination_pct: float, seeds: float) -> float:
    """Half the 95 % range that counting so many seeds leaves.

    ``1.96 sqrt(p (1 - p) / n)``, p held a quarter of a seed away from 0 and 1.

    Parameters
    ----------
    germination_pct : float
        Germination counted [%], 0 to 100.
    seeds : float
        Seeds tested [seeds], at least 1.

    Returns
    -------
    float
        Points of germination [%].

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.

    Examples
    --------
    >>> round(counting_error_points(90.0, 400), 2)
    2.94

    References
    ----------
    Normal approximation of the binomial distribution, any textbook.
    """
    _check("germination", germination_pct, 0.0, 100.0, "%")
    _check("seeds in the test", seeds, 1.0, 1e6, "seeds")
    least = 0.25 / seeds
    share = min(max(germination_pct / 100.0, least), 1.0 - least)
    return 100.0 * Z_95 * math.sqrt(share * (1.0 - share) / seeds)


def _condition(
    kind: Kind, temp_c: float, rh_pct: float | None, mc_wet_pct: float | None
) -> tuple[float, float]:
    """Humidity [%] and moisture [%, wet basis] of the kind's own seed."""
    isotherm, temp = own_isotherm(kind), max(temp_c, ISOTHERM_TEMP_LOW_C)
    if mc_wet_pct is not None:
        _check("moisture (wet basis)", mc_wet_pct, 0.0, 50.0, "%")
        humidity = isotherm.erh_pct(dry_from_wet_pct(mc_wet_pct), temp)
        return min(humidity, RH_HIGH_PCT), mc_wet_pct
    if rh_pct is None:
        raise TypeError("Give the humidity or the moisture.")
    _check("relative humidity", rh_pct, 0.0, RH_HIGH_PCT, "%")
    return rh_pct, wet_from_dry_pct(isotherm.mc_dry_pct(rh_pct, temp))


def _check(quantity: str, value: float, low: float, high: float, unit: str) -> None:
    """Raise OutOfRangeError unless low <= value <= high; NaN lies in no range."""
    if not low <= value <= high:
        raise OutOfRangeError(quantity, value, low, high, unit)
