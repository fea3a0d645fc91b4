"""Chance of the wanted plants for every number of seeds at once.

With one more seed the chance grows by that of the last wanted plant coming from just this seed, so
all numbers of seeds follow from one running sum (the negative binomial distribution).
"""

import math
from functools import lru_cache

import numpy as np

from hilum.science._quantities import Floats

MOST_COLUMNS = 4_000
"""A longer table is slower than working out single entries."""

_log_gamma = np.frompyfunc(math.lgamma, 1, 1)
_LEAST_LOG = -1e6  # nothing times minus infinity is nothing here


def last_plant(plants_wanted: int, most_seeds: int, chance: Floats) -> Floats:
    """Chance that the last of the wanted plants (1 or more) comes from just the last seed.

    The number of seeds, ``plants_wanted`` to ``most_seeds``, is the last index; ``chance`` is that
    of one seed becoming a plant. Summed up to a number of seeds it is the chance of the plants.
    """
    yes, no = _logs(chance)
    failures = np.arange(most_seeds - plants_wanted + 1.0)
    orders = _log_orders(plants_wanted, most_seeds)
    return _exp_sums((no, plants_wanted * yes), (failures, np.ones_like(failures)), orders)


def _logs(chance: Floats) -> tuple[Floats, Floats]:
    """Log of the chance, and of that of the contrary."""
    with np.errstate(divide="ignore"):
        yes, no = np.log(chance), np.log1p(-chance)
    return np.maximum(yes, _LEAST_LOG), np.maximum(no, _LEAST_LOG)


def _exp_sums(each: tuple[Floats, ...], times: tuple[Floats, ...], more: Floats) -> Floats:
    """Exponentials of sums of each so many times and something more, which is added last.

    As a product of matrices, so that the large table is written once before they are taken.
    """
    sums: Floats = np.stack([*each, np.ones_like(each[0])], axis=-1) @ np.stack([*times, more])
    return np.exp(sums, out=sums)


@lru_cache(maxsize=256)
def _log_orders(plants_wanted: int, most_seeds: int) -> Floats:
    """Log of the number of orders in which the last wanted plant comes from the last seed."""
    failures = np.arange(most_seeds - plants_wanted + 1.0)
    orders = _log_gamma(failures + plants_wanted) - _log_gamma(failures + 1.0)
    found = np.asarray(orders, dtype=np.float64) - math.lgamma(plants_wanted)
    found.flags.writeable = False
    return found


@lru_cache(maxsize=256)
def log_ways(trials: int) -> Floats:
    """Log of the number of ways in which 0 to ``trials`` of so many can succeed."""
    x = np.arange(trials + 1.0)
    found = np.asarray(
        math.lgamma(trials + 1.0) - _log_gamma(x + 1.0) - _log_gamma(trials - x + 1.0),
        dtype=np.float64,
    )
    found.flags.writeable = False
    return found


def binomial(trials: int, chance: Floats, most: int | None = None) -> Floats:
    """Chances of 0 to ``trials`` successes, or to ``most`` of them; their number is added last."""
    top = trials if most is None else min(most, trials)
    x = np.arange(top + 1.0)
    yes, no = _logs(chance)
    ways = log_ways(trials)[: top + 1] if trials <= MOST_COLUMNS else _few_ways(trials, x)
    return _exp_sums((yes - no, no), (x, np.full_like(x, trials)), ways)


def _few_ways(trials: int, x: Floats) -> Floats:
    ways = math.lgamma(trials + 1.0) - _log_gamma(x + 1.0) - _log_gamma(trials - x + 1.0)
    return np.asarray(ways, dtype=np.float64)
