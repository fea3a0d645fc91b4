"""Moisture content on wet basis, as it is told to people, and on dry basis, as it is computed."""

from typing import overload

from hilum.science._quantities import Floats, Quantity, as_given, checked

MC_DRY_HIGH_PCT = 2000.0  # imbibed seed holds about 100; steep models reach 1200 at 99.9 % RH


@overload
def wet_from_dry_pct(mc_dry_pct: float) -> float: ...
@overload
def wet_from_dry_pct(mc_dry_pct: Floats) -> Floats: ...
def wet_from_dry_pct(mc_dry_pct: Quantity) -> Quantity:
    """Moisture content on wet basis (water in the seed as it is) from dry basis.

    ``m_wet = 100 m_dry / (100 + m_dry)``.

    Parameters
    ----------
    mc_dry_pct : float or ndarray
        Moisture content, dry basis [%], 0 to 2000.

    Returns
    -------
    float or ndarray
        Moisture content, wet basis [%].

    Raises
    ------
    OutOfRangeError
        A moisture lies outside the range.

    Notes
    -----
    Exact.

    Examples
    --------
    >>> wet_from_dry_pct(25.0)
    20.0

    References
    ----------
    Definition of the two bases.
    """
    dry = checked("moisture content (dry basis)", mc_dry_pct, 0.0, MC_DRY_HIGH_PCT, "%")
    return as_given(100.0 * dry / (100.0 + dry))


@overload
def dry_from_wet_pct(mc_wet_pct: float) -> float: ...
@overload
def dry_from_wet_pct(mc_wet_pct: Floats) -> Floats: ...
def dry_from_wet_pct(mc_wet_pct: Quantity) -> Quantity:
    """Moisture content on dry basis (water for the dry matter) from wet basis.

    ``m_dry = 100 m_wet / (100 - m_wet)``.

    Parameters
    ----------
    mc_wet_pct : float or ndarray
        Moisture content, wet basis [%], 0 to 95.

    Returns
    -------
    float or ndarray
        Moisture content, dry basis [%].

    Raises
    ------
    OutOfRangeError
        A moisture lies outside the range.

    Notes
    -----
    Exact.

    Examples
    --------
    >>> dry_from_wet_pct(20.0)
    25.0

    References
    ----------
    Definition of the two bases.
    """
    wet = checked("moisture content (wet basis)", mc_wet_pct, 0.0, 95.0, "%")
    return as_given(100.0 * wet / (100.0 - wet))
