"""How many seeds for so many plants, from what is known of their germination.

Germination is not one number but a distribution, cut into levels. Given a level, seeds germinate
and become plants independently (binomial); over the levels this is the mixture a beta-binomial is
one case of.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hilum.science._quantities import Floats
from hilum.science._reach import binomial
from hilum.science.errors import OutOfRangeError

MAX_SEEDS = 1_000_000
"""More seeds than this are not proposed: the lot cannot do it."""

CONFIDENCE = 0.9
"""Chance with which the wanted plants are to be reached."""

_TINY = 1e-300
_FRACTION_STEPS = 20_000
_TABLE_SIZE = 1_000_000

_log_gamma = np.frompyfunc(math.lgamma, 1, 1)


@dataclass(frozen=True, slots=True)
class Levels:
    """A distribution of germination.

    Parameters
    ----------
    fraction : ndarray
        Share that germinates at each level [1], 0 to 1; one lot (levels) or many (lots x levels).
    weight : ndarray
        Chance of each level [1], same shape, sums to 1 over the levels.

    Examples
    --------
    >>> half = Levels.exactly(50.0)
    >>> half.predictive(2).round(12).tolist()
    [0.25, 0.5, 0.25]
    >>> round(half.chance_of(1, 2), 12)
    0.75

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.17.5 (binomial tail); status: memory.
    """

    fraction: Floats
    weight: Floats

    @classmethod
    def exactly(cls, germination_pct: float) -> "Levels":
        """Germination known for certain [%], 0 to 100; OutOfRangeError outside."""
        if not 0.0 <= germination_pct <= 100.0:
            raise OutOfRangeError("germination", germination_pct, 0, 100, "%")
        return cls(np.array([germination_pct / 100.0]), np.ones(1))

    def predictive(self, sown: int) -> Floats:
        """Chance of each number of seeds germinating out of so many.

        Parameters
        ----------
        sown : int
            Seeds in the test [seeds], 0 or more.

        Returns
        -------
        ndarray
            Chances of 0, 1, ... ``sown`` [1]; the number is the last index.
        """
        return np.asarray(
            (self.weight[..., None] * binomial(sown, self.fraction)).sum(axis=-2), dtype=np.float64
        )

    def after(self, germinated: int, sown: int) -> "Levels":
        """What the distribution becomes once so many of so many seeds have germinated.

        Parameters
        ----------
        germinated : int
            Seeds that germinated [seeds], 0 to ``sown``.
        sown : int
            Seeds tested [seeds], 0 or more.

        Returns
        -------
        Levels
            The same levels with new weights (Bayes).
        """
        weight = self.weight * binomial(sown, self.fraction)[..., germinated]
        return Levels(self.fraction, weight / weight.sum(axis=-1, keepdims=True))

    def chance_of(self, plants: int, seeds: int, survival: float = 1.0) -> float:
        """Chance of at least so many plants from so many seeds of one lot.

        Parameters
        ----------
        plants : int
            Plants wanted [plants], 0 or more.
        seeds : int
            Seeds sown [seeds], 0 or more.
        survival : float
            Share of germinating seed that becomes a plant [1], 0 to 1.

        Returns
        -------
        float
            Chance [1].
        """
        return float(
            (self.weight * binomial_at_least(plants, seeds, self.fraction * survival)).sum()
        )


def binomial_at_least(wanted: npt.ArrayLike, seeds: npt.ArrayLike, chance: npt.ArrayLike) -> Floats:
    """Chance of at least so many successes in so many trials.

    Parameters
    ----------
    wanted, seeds : int or ndarray of int
        Successes wanted and trials [1], 0 or more.
    chance : float or ndarray
        Chance of success in each trial [1], 0 to 1. The three broadcast.

    Returns
    -------
    ndarray
        Chance [1], absolute error below 1e-9.

    Notes
    -----
    The regularised incomplete beta function by its continued fraction (Lentz's method).

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.17.5 and 8.17.22; status: memory.
    """
    a = np.asarray(wanted, dtype=np.float64)
    b = np.asarray(seeds, dtype=np.float64) - a + 1.0
    inside = (a > 0.0) & (b > 0.0)
    a_in, b_in = np.where(inside, a, 1.0), np.where(inside, b, 1.0)
    scale = np.asarray(
        _log_gamma(a_in + b_in) - _log_gamma(a_in) - _log_gamma(b_in), dtype=np.float64
    )
    x = np.clip(np.asarray(chance, dtype=np.float64), 0.0, 1.0)
    mirrored = x > (a_in + 1.0) / (a_in + b_in + 2.0)
    p, q = np.where(mirrored, b_in, a_in), np.where(mirrored, a_in, b_in)
    z = np.where(mirrored, 1.0 - x, x)
    log_front = scale + p * np.log(np.maximum(z, _TINY)) + q * np.log1p(-np.minimum(z, 1 - 1e-16))
    part = np.exp(np.minimum(log_front, 0.0) - np.log(p)) * np.exp(np.maximum(log_front, 0.0))
    part = part * _beta_fraction(p, q, z)
    result = np.clip(np.where(mirrored, 1.0 - part, part), 0.0, 1.0)
    return np.where(a <= 0.0, 1.0, np.where(b <= 0.0, 0.0, result))


def _beta_fraction(p: Floats, q: Floats, z: Floats) -> Floats:
    """Continued fraction of the incomplete beta function."""
    c = np.ones_like(z)
    d = 1.0 / _off_zero(1.0 - (p + q) * z / (p + 1.0))
    total = d.copy()
    for m in range(1, _FRACTION_STEPS):
        for numerator in (
            m * (q - m) * z / ((p + 2 * m - 1.0) * (p + 2 * m)),
            -(p + m) * (p + q + m) * z / ((p + 2 * m) * (p + 2 * m + 1.0)),
        ):
            d = 1.0 / _off_zero(1.0 + numerator * d)
            c = _off_zero(1.0 + numerator / c)
            total = total * c * d
        if np.max(np.abs(c * d - 1.0), initial=0.0) < 1e-12:
            break
    return total


def _off_zero(value: Floats) -> Floats:
    return np.where(np.abs(value) < _TINY, _TINY, value)


def seeds_to_sow(
    levels: Levels,
    plants_wanted: int,
    emergence_loss_pct: float = 0.0,
    probability: float = CONFIDENCE,
) -> npt.NDArray[np.int64]:
    """Smallest number of seeds that gives the wanted plants with the wanted chance.

    Parameters
    ----------
    levels : Levels
        Germination at sowing, one lot or many.
    plants_wanted : int
        Plants wanted [plants], 0 or more.
    emergence_loss_pct : float
        Germinating seed that does not become a plant [%], 0 up to below 100.
    probability : float
        Chance with which the plants are to be reached [1], above 0 and below 1.

    Returns
    -------
    ndarray of int
        Number [seeds], one a lot (no dimension for one lot); -1 where 1,000,000 would not do.

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.

    Examples
    --------
    Three seeds that germinate half the time fail together one time in eight; four, in sixteen.

    >>> int(seeds_to_sow(Levels.exactly(50.0), 1))
    4

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.17.5 (binomial tail); status: memory.
    """
    _check(plants_wanted, emergence_loss_pct, probability)
    chance = levels.fraction * (1.0 - emergence_loss_pct / 100.0)
    lots = levels.weight.shape[:-1]

    def enough(seeds: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        reached = binomial_at_least(plants_wanted, seeds[..., None], chance)
        # a millionth of a millionth for rounding, so that 0.9 is 0.9
        return np.asarray((levels.weight * reached).sum(axis=-1) >= probability - 1e-12)

    low = np.full(lots, plants_wanted - 1, dtype=np.int64)  # never enough
    high = np.full(lots, max(plants_wanted, 1), dtype=np.int64)
    short = ~enough(high)
    while np.any(short & (high < MAX_SEEDS)):
        low = np.where(short, high, low)
        high = np.where(short, np.minimum(2 * high, MAX_SEEDS), high)
        short = ~enough(high)
    while np.any(high - low > 1):
        middle = (low + high) // 2
        good = enough(middle)
        low, high = np.where(good, low, middle), np.where(good, middle, high)
    high = high if plants_wanted > 0 else np.zeros(lots, dtype=np.int64)
    return np.where(short, -1, high)


def plants_pmf(
    levels: Levels, seeds: int, plants_wanted: int, emergence_loss_pct: float = 0.0
) -> Floats:
    """Chance of 0, 1, ... plants from so many seeds; the last entry is "all wanted, or more".

    Parameters
    ----------
    levels : Levels
        Germination of one lot at sowing.
    seeds : int
        Seeds sown [seeds], 0 or more.
    plants_wanted : int
        Plants wanted [plants], 0 or more.
    emergence_loss_pct : float
        Germinating seed that does not become a plant [%], 0 up to below 100.

    Returns
    -------
    ndarray
        Chances [1], ``plants_wanted`` + 1 of them, sum 1.

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.

    Examples
    --------
    >>> plants_pmf(Levels.exactly(50.0), 2, 1).round(12).tolist()
    [0.25, 0.75]

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.17.5 (binomial tail); status: memory.
    """
    _check(plants_wanted, emergence_loss_pct, CONFIDENCE)
    if not 0 <= seeds <= MAX_SEEDS:
        raise OutOfRangeError("seeds sown", seeds, 0, MAX_SEEDS, "seeds")
    chance = levels.fraction * (1.0 - emergence_loss_pct / 100.0)
    pmf = np.zeros(plants_wanted + 1)
    most = min(plants_wanted - 1, seeds)
    step = max(1, _TABLE_SIZE // (plants_wanted + 1))  # levels at a time
    for first in range(0, len(chance) if plants_wanted else 0, step):
        some = slice(first, first + step)
        pmf[: most + 1] += levels.weight[some] @ binomial(seeds, chance[some], most)
    pmf[-1] = max(0.0, 1.0 - pmf[:-1].sum())
    return pmf


def packets_to_order(
    own_plants: Floats,
    fresh: Levels,
    packet_seeds: int,
    emergence_loss_pct: float = 0.0,
    probability: float = CONFIDENCE,
) -> int:
    """Fewest packets that, with what one's own seed gives, reach the wanted plants.

    Parameters
    ----------
    own_plants : ndarray
        ``plants_pmf`` of the seed in hand, or the convolution of several lots' [1], each 0 to 1.
    fresh : Levels
        Germination of the seed in the packets.
    packet_seeds : int
        Seeds in a packet [seeds], 1 or more.
    emergence_loss_pct : float
        Germinating seed that does not become a plant [%], 0 up to below 100.
    probability : float
        Chance with which the plants are to be reached [1], above 0 and below 1.

    Returns
    -------
    int
        Packets; -1 where 1,000,000 seeds would not do.

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.

    Examples
    --------
    No seed in hand, one plant wanted: packets of two seeds at 50 %, four seeds needed.

    >>> packets_to_order(np.array([1.0, 0.0]), Levels.exactly(50.0), 2)
    2

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.17.5 (binomial tail); status: memory.
    """
    wanted = len(own_plants) - 1
    _check(wanted, emergence_loss_pct, probability)
    if not 1 <= packet_seeds <= MAX_SEEDS:
        raise OutOfRangeError("seeds in a packet", packet_seeds, 1, MAX_SEEDS, "seeds")
    chance = fresh.fraction * (1.0 - emergence_loss_pct / 100.0)

    def enough(packets: int) -> bool:
        new = np.zeros(wanted)  # chance of 0, 1, ... plants, one fewer than wanted at most
        bought = packets * packet_seeds
        if wanted:
            found = fresh.weight @ binomial(bought, chance, wanted - 1)
            new[: len(found)] = found
        short = float(own_plants[:-1] @ np.cumsum(new)[::-1])
        return float(own_plants.sum()) - short >= probability - 1e-12

    if enough(0):
        return 0
    low, high = 0, 1
    while not enough(high):
        if high * packet_seeds >= MAX_SEEDS:
            return -1
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _check(plants_wanted: int, emergence_loss_pct: float, probability: float) -> None:
    if not 0 <= plants_wanted <= MAX_SEEDS:
        raise OutOfRangeError("plants wanted", plants_wanted, 0, MAX_SEEDS, "plants")
    if not 0.0 <= emergence_loss_pct < 100.0:
        raise OutOfRangeError("emergence loss", emergence_loss_pct, 0, 100, "%")
    if not 0.0 < probability < 1.0:
        raise OutOfRangeError("chance of reaching the plants", probability, 0, 1, "of one")
