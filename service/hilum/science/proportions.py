"""What a count of germinated seed says of the share alive, without anything else being known."""

from math import sqrt

from hilum.science.errors import OutOfRangeError
from hilum.science.normal import ned


def count_interval(germinated: int, sown: int, level: float = 0.9) -> tuple[float, float]:
    """Give the interval a count allows, by Wilson's score.

    Parameters
    ----------
    germinated : int
        Seeds that germinated, 0 to ``sown``.
    sown : int
        Seeds tested, at least 1.
    level : float
        Confidence [1], 0.5 to 0.999.

    Returns
    -------
    tuple of float
        Lower and upper end of the share [1], within 0 to 1.

    Raises
    ------
    OutOfRangeError
        A count or the level is out of range.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22:209-212 (status: memory); checked against statsmodels.

    Examples
    --------
    >>> low, high = count_interval(24, 50)
    >>> round(low, 2), round(high, 2)
    (0.37, 0.59)
    """
    if sown < 1:
        raise OutOfRangeError("seeds tested", sown, 1, 1_000_000, "seeds")
    if not 0 <= germinated <= sown:
        raise OutOfRangeError("seeds germinated", germinated, 0, sown, "seeds")
    if not 0.5 <= level <= 0.999:
        raise OutOfRangeError("level", level, 0.5, 0.999, "1")
    z = ned((1.0 + level) / 2.0)
    share = germinated / sown
    shrink = 1.0 + z**2 / sown
    middle = (share + z**2 / (2.0 * sown)) / shrink
    half = z / shrink * sqrt(share * (1.0 - share) / sown + z**2 / (4.0 * sown**2))
    return max(middle - half, 0.0), min(middle + half, 1.0)
