"""When counts of one lot contradict each other.

A count takes dormant and hard seed for dead, packets often print no more than a legal minimum, and
tests go wrong. Viability only falls; so where a later count is higher by more than chance explains,
the earlier one says little about the seed and is left out. Where a later count is far lower than
storage explains, nobody can tell whether the seed faded or the test went wrong: neither is believed
outright, and the range becomes wide.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from hilum.science.germination import Count, Evidence
from hilum.science.posterior import posterior

CHANCE = 0.01
"""What is less likely than this is not put down to chance; a choice of this program."""

LEFT_OUT = (
    "{what} is left out: a later test did better than chance explains, and dead seed does not come "
    "back to life. The seed may have been dormant then, or the figure only a legal minimum."
)
"""Said of each count that is left out."""

FAR_LOWER = (
    "The test of {day} came out far lower than all that was known before made likely: the seed "
    "faded fast, or the test went wrong. Neither is believed outright, and the range is wide. Make "
    "another test before you act on it."
)
"""Said of such a test."""

WORTH_A_LOOK = 0.1
"""Chance by Fisher's test from which on a count is not taken for far lower without a closer look:
that look costs a thousand times as much. A choice of this program."""


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


@dataclass(frozen=True, slots=True)
class Reconciled:
    """Counts as they count.

    Attributes
    ----------
    counts : tuple of Count
        Their losses count from ``since_probit`` on.
    since_probit : float
        Loss at the last count that was far lower than all before [probit]; 0: there was none.
    contradicted : bool
        Whether the last of all counts was.
    """

    counts: tuple[Count, ...]
    since_probit: float = 0.0
    contradicted: bool = False


def reconciled(counts: Sequence[Count], factor: float) -> Reconciled:
    """Let counts that contradict each other give way to one that says little.

    Parameters
    ----------
    counts : sequence of Count
        Counts of one lot in order of time, without those that are outdone.
    factor : float
        95 % factor each way of the loss multiplier [1], 1 to 100.

    Returns
    -------
    Reconciled
        Where a count is less likely than one in a hundred given all before it, all begins anew with
        it: one count stands for all up to then, midway between what was expected and what came up,
        of as many seeds as are left of the test when they are divided by the heterogeneity factor.

    Notes
    -----
    The heterogeneity factor is chi-squared over its degrees of freedom, here one, with what was
    expected taken for a second test of as many seeds. That both are to lie within the range, and
    so count for one test and not for two, is a choice of this program. What earlier counts said of
    the speed of the loss is given up with them.

    Examples
    --------
    90 % of 400 on the packet, then 30 of fifty: together some four seeds.

    >>> found = reconciled([Count(360, 400), Count(30, 50)], 4.0)
    >>> [round(count.sown, 1) for count in found.counts]
    [4.2]

    References
    ----------
    Finney 1971, Probit Analysis, 3rd edition, section 4.6 (heterogeneity factor); status: memory.
    """
    used: list[Count] = []
    since, far = 0.0, False
    for count in counts:
        here = replace(count, loss_probit=count.loss_probit - since)
        far = bool(used) and is_far_lower(used, here, factor)
        used = [_midway(used, here, factor)] if far else [*used, here]
        since = count.loss_probit if far else since
    return Reconciled(tuple(used), since, far)


def is_far_lower(before: Sequence[Count], count: Count, factor: float) -> bool:
    """Tell whether a count is lower than chance and storage explain, given those before it.

    What counts for less than half as many seeds contradicts nothing: it gives way by itself.

    Parameters
    ----------
    before : sequence of Count
        At least one count of the same lot.
    count : Count
        The later one.
    factor : float
        95 % factor each way of the loss multiplier [1], 1 to 100.

    Returns
    -------
    bool
        Whether so few, or fewer, had a chance of less than one in a hundred.

    Examples
    --------
    >>> is_far_lower([Count(360, 400)], Count(30, 50), 4.0)
    True

    References
    ----------
    The chance follows from ``posterior``; the limit is a choice of this program.
    """
    sown = sum(each.sown for each in before)
    up = sum(each.germinated for each in before)
    if 2.0 * sown < count.sown or _chance(count, Count(up, sown)) >= WORTH_A_LOOK:
        return False
    belief = posterior(Evidence(tuple(before), factor))
    chances = belief.predictive(math.ceil(count.sown - 1e-9), count.loss_probit)
    return float(chances[: math.floor(count.germinated + 1e-9) + 1].sum()) < CHANCE


def _midway(before: Sequence[Count], count: Count, factor: float) -> Count:
    """One count for what was expected and what came up."""
    belief = posterior(Evidence(tuple(before), factor)).viability(count.loss_probit)
    expected = float(belief.median_pct) / 100.0 * count.sown
    common = (expected + count.germinated) / (2.0 * count.sown)
    apart = (expected - count.germinated) ** 2 / (2.0 * count.sown * common * (1.0 - common))
    seeds = count.sown / max(apart, 1.0)
    return Count(common * seeds, seeds)


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
