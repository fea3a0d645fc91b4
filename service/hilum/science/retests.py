"""When a later test shows that an earlier count was too low: dead seed does not come back to life.

A count takes dormant and hard seed for dead, packets often print no more than a legal minimum, and
tests go wrong. Viability only falls; so where a later count is higher by more than chance explains,
the earlier one says little about the seed and is left out.
"""

import math
from collections.abc import Sequence

from hilum.science.germination import Count

CHANCE = 0.01
"""What is less likely than this is not put down to chance; a choice of this program."""

LEFT_OUT = (
    "{what} is left out: a later test did better than chance explains, and dead seed does not come "
    "back to life. The seed may have been dormant then, or the figure only a legal minimum."
)
"""Said of each count that is left out."""

FAR_LOWER = (
    "The test of {day} came out far lower than all that was known before made likely: the seed "
    "faded fast, or the test went wrong. Make another before you act on it."
)
"""Said of a test that is counted all the same."""


def outdone(counts: Sequence[Count]) -> tuple[bool, ...]:
    """Tell which counts a later one shows to have been too low.

    Parameters
    ----------
    counts : sequence of Count
        Counts of one lot in order of time.

    Returns
    -------
    tuple of bool
        For each count, whether some later one is higher by more than chance explains.

    Notes
    -----
    The one-sided exact test for two proportions; counts that are not whole are rounded to the
    careful side. Loss between the two only makes a later, higher count less likely, so it is left
    aside.

    Examples
    --------
    Five of fifty, then 45 of fifty: the first was no count of living seed.

    >>> outdone([Count(5, 50), Count(45, 50)])
    (True, False)

    References
    ----------
    Fisher 1934, Statistical Methods for Research Workers, 5th edition, section 21.02; status:
    memory.
    """
    return tuple(
        any(_chance(first, later) < CHANCE for later in counts[place + 1 :])
        for place, first in enumerate(counts)
    )


def _chance(first: Count, later: Count) -> float:
    """Chance of so few or fewer in the first count, given how many came up in both together."""
    sown, sown_later = (max(math.ceil(each.sown - 1e-9), 1) for each in (first, later))
    up, up_later = math.ceil(first.germinated - 1e-9), math.floor(later.germinated + 1e-9)
    if up * sown_later >= up_later * sown:
        return 1.0
    every = up + up_later
    least = max(0, every - sown_later)
    terms = [
        _log_choose(sown, x) + _log_choose(sown_later, every - x) for x in range(least, up + 1)
    ]
    whole = _log_choose(sown + sown_later, every)
    return math.fsum(math.exp(term - whole) for term in terms)


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
