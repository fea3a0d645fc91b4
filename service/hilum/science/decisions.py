"""Sow, sow thicker, test first or replace: one rule over the distribution of germination.

The limits of the rule are choices of this program ("common practice, no source"); each is a field
of ``Plan`` and can be set.
"""

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from hilum.science._quantities import Floats
from hilum.science._reach import MOST_COLUMNS, binomial, last_plant
from hilum.science.errors import OutOfRangeError
from hilum.science.sowing import (
    CONFIDENCE,
    MAX_SEEDS,
    Levels,
    binomial_at_least,
    packets_to_order,
    plants_pmf,
    seeds_to_sow,
)

TEST_SIZES = (100, 50, 25, 10)
"""Sizes a home test comes in [seeds]; common practice, no source."""

TEST_SHARE = 4
"""A test takes at most one seed in so many of those in hand; a choice of this program."""

WEAK_SEED = (
    "Seed that has lost germination has lost vigour too: in cold or wet soil fewer come up than a "
    "warm test shows."
)
"""Shown with every advice to sow thicker. Status: memory."""

Choice = TypeVar("Choice", bound=Hashable)
Codes = npt.NDArray[np.int64]

_TABLE_SIZE = 4_000_000  # numbers in a table of many lots


class Verdict(StrEnum):
    """What to do with a lot at a sowing date."""

    SOW = "sow"
    SOW_THICKER = "sow thicker"
    TEST_FIRST = "test first"
    REPLACE = "replace"


@dataclass(frozen=True, slots=True)
class Plan:
    """What is wanted from a lot, and the limits of the rule.

    Parameters
    ----------
    plants_wanted : int
        Plants wanted [plants], 1 to 100,000.
    seeds_in_hand : int or None
        Seeds of the lot [seeds], 0 or more; None: not known, taken as enough.
    fresh_pct : float
        Germination new seed is counted on [%], above 0 to 100: the minimum for its kind, so that
        a packet holds what is promised.
    packet_seeds : int
        Seeds in a new packet [seeds], 1 or more.
    emergence_loss_pct : float
        Germinating seed that does not become a plant [%], 0 up to below 100.
    test_seeds : int
        Largest test the grower would make [seeds]; 0: no time or no wish to test.
    probability : float
        Chance with which the plants are to be reached [1].
    usual : float
        Up to so many times the seeds of new seed still counts as sowing as usual [1], 1 or more.
    thickest : float
        Beyond so many times the lot is replaced [1], ``usual`` or more.
    least_change : float
        A test is proposed when it would change the verdict with at least this chance [1].

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.
    """

    plants_wanted: int
    seeds_in_hand: int | None
    fresh_pct: float
    packet_seeds: int
    emergence_loss_pct: float = 0.0
    test_seeds: int = 50
    probability: float = CONFIDENCE
    usual: float = 1.25
    thickest: float = 2.0
    least_change: float = 0.2

    def __post_init__(self) -> None:
        hand = 0 if self.seeds_in_hand is None else self.seeds_in_hand
        for what, value, low, high, unit in (
            ("plants wanted", self.plants_wanted, 1, 100_000, "plants"),
            ("seeds in hand", hand, 0, 1e9, "seeds"),
            ("germination of new seed", self.fresh_pct, 1, 100, "%"),
            ("seeds in a packet", self.packet_seeds, 1, 1_000_000, "seeds"),
            ("emergence loss", self.emergence_loss_pct, 0, 99, "%"),
            ("seeds in a test", self.test_seeds, 0, 1_000, "seeds"),
            ("chance of reaching the plants", self.probability, 0.01, 0.999, "of one"),
            ("thickness that counts as usual", self.usual, 1, 100, "times"),
            ("greatest thickness", self.thickest, self.usual, 1_000, "times"),
            ("least chance of change", self.least_change, 0, 1, "of one"),
        ):
            if not low <= value <= high:
                raise OutOfRangeError(what, value, low, high, unit)


@dataclass(frozen=True, slots=True)
class Judgement:
    """What to do with a lot, without the question of what to order.

    Attributes
    ----------
    verdict : Verdict
        What to do.
    without_test : Verdict
        What to do if there is no test; equals ``verdict`` unless that is to test first.
    seeds : int
        Seeds of this lot to sow if there is no test [seeds]; 0 when it is replaced.
    thickness : float or None
        Seeds needed of this lot for one of new seed [1]; None where it is replaced.
    chance_of_change : float
        Chance that the test would change the verdict [1]; 0 where none is possible.
    test_seeds : int
        Seeds for the test [seeds]; 0 where none is possible.
    """

    verdict: Verdict
    without_test: Verdict
    seeds: int
    thickness: float | None
    chance_of_change: float
    test_seeds: int


def asking_first(found: Judgement) -> Judgement:
    """Ask for a test of a lot whose counts contradict each other, if one is possible.

    Either may be the wrong one, so that a test changes what to do in one case of two at least.

    Parameters
    ----------
    found : Judgement
        What to do as if they did not.

    Returns
    -------
    Judgement
        To test first; as it was where no test is possible.

    Examples
    --------
    >>> asking_first(Judgement(Verdict.SOW, Verdict.SOW, 60, 1.0, 0.1, 50)).verdict.value
    'test first'

    References
    ----------
    A choice of this program.
    """
    if not found.test_seeds:
        return found
    change = max(found.chance_of_change, 0.5)
    return replace(found, verdict=Verdict.TEST_FIRST, chance_of_change=change)


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do, with its numbers.

    Attributes
    ----------
    verdict : Verdict
        What to do.
    without_test : Verdict
        What to do if there is no test; equals ``verdict`` unless that is to test first.
    seeds : int
        Seeds of this lot to sow if there is no test [seeds]; 0 when it is replaced.
    thickness : float or None
        Seeds needed of this lot for one of new seed [1]; None where no number of seeds would do.
    packets : int
        New packets to order if there is no test [packets].
    chance_of_change : float
        Chance that the test would change the verdict [1]; 0 where none is possible.
    test_seeds : int
        Seeds for the test [seeds]; 0 where none is possible.
    """

    verdict: Verdict
    without_test: Verdict
    seeds: int
    thickness: float | None
    packets: int
    chance_of_change: float
    test_seeds: int


@dataclass(frozen=True, slots=True)
class ValueOfTest(Generic[Choice]):
    """What a test could bring about, worked out before it is made.

    Attributes
    ----------
    now : Choice
        The choice without a test.
    chances : tuple of float
        Chance of 0, 1, ... all seeds germinating [1].
    choices : tuple of Choice
        The choice after each of these.
    """

    now: Choice
    chances: tuple[float, ...]
    choices: tuple[Choice, ...]

    @property
    def chance_of_change(self) -> float:
        """Chance that the choice after the test is another [1]."""
        pairs = zip(self.chances, self.choices, strict=True)
        return min(1.0, sum(chance for chance, choice in pairs if choice != self.now))


def value_of_test(
    levels: Levels, sown: int, choose: Callable[[Levels], Choice]
) -> ValueOfTest[Choice]:
    """Go through every result a test can have, with its chance and the choice that would follow.

    Parameters
    ----------
    levels : Levels
        Germination of one lot when the test is made. The test counts as made shortly before
        sowing: loss between the two is left out.
    sown : int
        Seeds in the test [seeds], 0 to 1,000.
    choose : callable
        The decision as a function of the distribution.

    Returns
    -------
    ValueOfTest
        Choice now, and chance and choice for each result.

    References
    ----------
    Preposterior analysis: Raiffa & Schlaifer 1961, Applied Statistical Decision Theory, chapter 5;
    status: memory.
    """
    chances = levels.predictive(sown)
    now = choose(levels)
    choices = tuple(
        # what cannot happen needs no choice, and has no distribution after it
        choose(levels.after(x, sown)) if chances[x] > 1e-12 else now
        for x in range(sown + 1)
    )
    return ValueOfTest(now, tuple(float(chance) for chance in chances), choices)


def seeds_for_test(seeds_in_hand: int | None, largest: int) -> int:
    """Largest usual test that leaves three quarters of the seed.

    Parameters
    ----------
    seeds_in_hand : int or None
        Seeds of the lot [seeds], 0 or more; None: not known, taken as enough.
    largest : int
        Largest test that is wanted [seeds], 0 or more.

    Returns
    -------
    int
        Seeds for the test [seeds], one of ``TEST_SIZES``; 0 where none of them fits.
    """
    spare = largest if seeds_in_hand is None else min(largest, seeds_in_hand // TEST_SHARE)
    return next((size for size in TEST_SIZES if size <= spare), 0)


def decide(levels: Levels, plan: Plan) -> Decision:
    """Decide for one lot at one sowing date.

    Parameters
    ----------
    levels : Levels
        Germination of the lot at sowing.
    plan : Plan
        What is wanted, and the limits.

    Returns
    -------
    Decision
        The verdict and its numbers.

    Notes
    -----
    1. N is the number of new seeds that reach the wanted plants with the wanted chance.
    2. The lot reaches them with 1.25 N seeds or fewer: sow. With 2 N or fewer: sow thicker. Else,
       or with no seed in hand: replace.
    3. If a test would change that with a chance of a fifth or more: test first.
    4. Packets: as many as are needed beside the seed in hand (sow, sow thicker) or without it.
    """
    loss, probability = plan.emergence_loss_pct, plan.probability
    one = Levels(levels.fraction[None], levels.weight[None])
    found = judge(one, plan, (plan.seeds_in_hand,))[0]
    thickness, packets = found.thickness, 0
    if found.without_test is Verdict.REPLACE:
        need = int(seeds_to_sow(levels, plan.plants_wanted, loss, probability))
        thickness = need / new_seeds(plan) if need >= 0 else None
    if found.without_test is Verdict.REPLACE or found.seeds == plan.seeds_in_hand:
        own = plants_pmf(levels, found.seeds, plan.plants_wanted, loss)
        fresh = Levels.exactly(plan.fresh_pct)
        packets = packets_to_order(own, fresh, plan.packet_seeds, loss, probability)
    return Decision(
        found.verdict,
        found.without_test,
        found.seeds,
        thickness,
        packets,
        found.chance_of_change,
        found.test_seeds,
    )


def judge(levels: Levels, plan: Plan, hands: Sequence[int | None]) -> list[Judgement]:
    """Judge many lots for one plan at once, by the rule of ``decide``.

    Parameters
    ----------
    levels : Levels
        Germination of the lots at sowing, lots x levels.
    plan : Plan
        What is wanted of each lot by itself; its own seeds in hand are left aside.
    hands : sequence of int or None
        Seeds in hand of each lot [seeds], 0 or more; None: not known, taken as enough.

    Returns
    -------
    list of Judgement
        One a lot.
    """
    found: list[Judgement] = []
    new = new_seeds(plan)
    columns = _limit(plan.thickest, new) - plan.plants_wanted + 1
    at_once = max(1, _TABLE_SIZE // (levels.fraction.shape[1] * min(columns, MOST_COLUMNS)))
    for first in range(0, len(hands), at_once):
        some = slice(first, first + at_once)
        part = Levels(levels.fraction[some], levels.weight[some])
        found += _judge(part, plan, hands[some], new)
    return found


def _judge(levels: Levels, plan: Plan, hands: Sequence[int | None], new: int) -> list[Judgement]:
    rule = _rule(levels, plan, new)
    now = rule.verdicts(levels.weight, np.ones((*levels.weight.shape, 1)))[0][:, 0]
    tests = [seeds_for_test(hand, plan.test_seeds) for hand in hands]
    change = np.zeros(len(hands))
    for size in set(tests) - {0}:
        lots = np.flatnonzero(np.array(tests) == size)
        change[lots] = _chance_of_change(levels, rule, now, lots, size)
    found = []
    for lot, (hand, test) in enumerate(zip(hands, tests, strict=True)):
        without = _VERDICTS[now[lot]] if hand != 0 else Verdict.REPLACE
        chance = float(change[lot]) if hand != 0 else 0.0
        seeds, thickness = 0, None
        if without is not Verdict.REPLACE:
            need = int(rule.need[lot])
            thickness = need / new
            seeds = need if hand is None else min(need, hand)
        first = test > 0 and chance > 0.0 and chance >= plan.least_change
        verdict = Verdict.TEST_FIRST if first else without
        found.append(Judgement(verdict, without, seeds, thickness, chance, test))
    return found


def _chance_of_change(
    levels: Levels, rule: "_Rule", now: Codes, lots: npt.NDArray[np.int64], size: int
) -> Floats:
    """Chance that a test of so many seeds changes the verdict, for some of the lots."""
    given = binomial(size, levels.fraction[lots])  # of each result, at each level
    after, chances = rule.of(lots).verdicts(levels.weight[lots], given)
    changed = (chances > 1e-12) & (after != now[lots, None])
    chance: Floats = np.minimum((chances * changed).sum(axis=1), 1.0)
    return chance


_VERDICTS = (Verdict.SOW, Verdict.SOW_THICKER, Verdict.REPLACE)


@dataclass(frozen=True, slots=True)
class _Rule:
    """Chance of the wanted plants at each level with the usual and the most seeds, lots x levels.

    They are the same for every weighting of the levels. ``need`` is the fewest seeds of each lot
    that do, where the most do.
    """

    usual: Floats
    thick: Floats
    need: npt.NDArray[np.int64]
    probability: float

    def of(self, lots: npt.NDArray[np.int64]) -> "_Rule":
        """The rule for some of the lots."""
        return _Rule(self.usual[lots], self.thick[lots], self.need[lots], self.probability)

    def verdicts(self, weight: Floats, given: Floats) -> tuple[Codes, Floats]:
        """Numbers of the verdicts after each result of a test, and the chances of the results.

        ``weight``, lots x levels, is before it; ``given``, lots x levels x results, the chance of
        each result at each level.
        """
        here = np.stack([np.ones_like(weight), self.usual, self.thick], axis=2) * weight[:, :, None]
        chance, usual, thick = np.moveaxis(given.transpose(0, 2, 1) @ here, 2, 0)
        enough = (self.probability - 1e-12) * chance
        return np.where(usual >= enough, 0, np.where(thick >= enough, 1, 2)), chance


def _rule(levels: Levels, plan: Plan, new: int) -> _Rule:
    usual, most = (_limit(times, new) for times in (plan.usual, plan.thickest))
    wanted, loss, probability = plan.plants_wanted, plan.emergence_loss_pct, plan.probability
    chance = levels.fraction * (1.0 - loss / 100.0)
    if most - wanted < MOST_COLUMNS:
        last = last_plant(wanted, most, chance)
        reached = np.cumsum((levels.weight[:, None, :] @ last)[:, 0], axis=1)
        need = wanted + (reached >= probability - 1e-12).argmax(axis=1)
        enough = np.arange(wanted, most + 1)[:, None] <= np.array([usual, most])
        both = np.minimum(last @ enough.astype(np.float64), 1.0)
        return _Rule(both[..., 0], both[..., 1], need, probability)
    at_usual, at_most = (binomial_at_least(wanted, seeds, chance) for seeds in (usual, most))
    need = seeds_to_sow(levels, wanted, loss, probability)
    return _Rule(at_usual, at_most, need, probability)


def _limit(times: float, new: int) -> int:
    """So many times the new seed, with room for the rounding of 1.25 x N."""
    return math.floor(new * times + 1e-9)


def new_seeds(plan: Plan) -> int:
    """Seeds of new seed that reach the wanted plants.

    Parameters
    ----------
    plan : Plan
        What is wanted.

    Returns
    -------
    int
        Seeds [seeds].

    Raises
    ------
    OutOfRangeError
        1,000,000 seeds would not do.
    """
    return _new_seeds(plan.plants_wanted, plan.fresh_pct, plan.emergence_loss_pct, plan.probability)


@lru_cache(maxsize=1024)
def _new_seeds(wanted: int, fresh_pct: float, loss_pct: float, probability: float) -> int:
    seeds = int(seeds_to_sow(Levels.exactly(fresh_pct), wanted, loss_pct, probability))
    if seeds < 0:
        raise OutOfRangeError("new seed for these plants", math.inf, 1, MAX_SEEDS, "seeds")
    return seeds
