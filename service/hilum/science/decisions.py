"""Sow, sow thicker, test first or replace: one rule over the distribution of germination.

The limits of the rule are choices of this program ("common practice, no source"); each is a field
of ``Plan`` and can be set.
"""

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

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
    test_seeds = seeds_for_test(plan.seeds_in_hand, plan.test_seeds)
    new_seeds = _new_seeds(plan)
    choose = _verdict_rule(levels, plan, new_seeds)
    if plan.seeds_in_hand == 0:
        now, chance = Verdict.REPLACE, 0.0
    elif test_seeds:
        value = value_of_test(levels, test_seeds, choose)
        now, chance = value.now, value.chance_of_change
    else:
        now, chance = choose(levels), 0.0
    first = test_seeds > 0 and chance > 0.0 and chance >= plan.least_change
    seeds, thickness, packets = _numbers(levels, plan, now, new_seeds)
    verdict = Verdict.TEST_FIRST if first else now
    return Decision(verdict, now, seeds, thickness, packets, chance, test_seeds)


def _new_seeds(plan: Plan) -> int:
    """Seeds of new seed that reach the wanted plants."""
    fresh = Levels.exactly(plan.fresh_pct)
    loss, probability = plan.emergence_loss_pct, plan.probability
    seeds = int(seeds_to_sow(fresh, plan.plants_wanted, loss, probability))
    if seeds < 0:
        raise OutOfRangeError("new seed for these plants", math.inf, 1, MAX_SEEDS, "seeds")
    return seeds


def _verdict_rule(levels: Levels, plan: Plan, new_seeds: int) -> Callable[[Levels], Verdict]:
    """The verdict as a function of the weights of these levels.

    The chances at both limits are the same for every weighting, so they are worked out once.
    """
    # room for the rounding of 1.25 x N
    limits = [[math.floor(new_seeds * times + 1e-9)] for times in (plan.usual, plan.thickest)]
    chance = levels.fraction * (1.0 - plan.emergence_loss_pct / 100.0)
    usual, thick = binomial_at_least(plan.plants_wanted, limits, chance)

    def choose(after: Levels) -> Verdict:
        if float(after.weight @ usual) >= plan.probability - 1e-12:
            return Verdict.SOW
        if float(after.weight @ thick) >= plan.probability - 1e-12:
            return Verdict.SOW_THICKER
        return Verdict.REPLACE

    return choose


def _numbers(
    levels: Levels, plan: Plan, verdict: Verdict, new_seeds: int
) -> tuple[int, float | None, int]:
    """Seeds to sow, thickness, and packets to order."""
    loss, probability = plan.emergence_loss_pct, plan.probability
    need = int(seeds_to_sow(levels, plan.plants_wanted, loss, probability))
    thickness = need / new_seeds if need >= 0 else None
    sown = 0
    if verdict is not Verdict.REPLACE:
        sown = need if plan.seeds_in_hand is None else min(need, plan.seeds_in_hand)
        if sown == need:
            return sown, thickness, 0
    own = plants_pmf(levels, sown, plan.plants_wanted, loss)
    fresh = Levels.exactly(plan.fresh_pct)
    return sown, thickness, packets_to_order(own, fresh, plan.packet_seeds, loss, probability)
