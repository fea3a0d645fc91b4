"""The decision rule: a table of cases, each worked again with plain binomial sums."""

import math
from dataclasses import dataclass, replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from hilum.science.decisions import (
    Judgement,
    Plan,
    Verdict,
    asking_first,
    decide,
    seeds_for_test,
    value_of_test,
)
from hilum.science.errors import OutOfRangeError
from hilum.science.germination import Count, Evidence
from hilum.science.posterior import posterior
from hilum.science.sowing import Levels

SOW, THICKER = Verdict.SOW, Verdict.SOW_THICKER
TEST, REPLACE = Verdict.TEST_FIRST, Verdict.REPLACE


USUAL = Plan(plants_wanted=20, seeds_in_hand=200, fresh_pct=75.0, packet_seeds=50)


@dataclass(frozen=True)
class Case:
    """A lot (chances of germination percentages), a plan, and what the rule must say."""

    why: str
    lot: dict[float, float]
    verdict: Verdict
    without_test: Verdict
    seeds: int
    packets: int
    plan: Plan = USUAL

    @property
    def levels(self) -> Levels:
        """The lot as levels."""
        return Levels(np.array(list(self.lot)) / 100.0, np.array(list(self.lot.values())))


# why; germination % and its chance; verdict; without a test; seeds to sow; packets; plan
CASES = [
    Case("fresh seed is sown as usual", {90.0: 1.0}, SOW, SOW, 24, 0),
    Case("seed at the standard", {75.0: 1.0}, SOW, SOW, 31, 0),
    Case("dead seed is replaced", {0.0: 1.0}, REPLACE, REPLACE, 0, 1),
    Case("seed a little under the standard still counts as usual", {62.0: 1.0}, SOW, SOW, 38, 0),
    Case("seed at 55 % is sown thicker", {55.0: 1.0}, THICKER, THICKER, 44, 0),
    Case("seed at 41 % is sown twice as thick", {41.0: 1.0}, THICKER, THICKER, 60, 0),
    Case("seed at 35 % is replaced", {35.0: 1.0}, REPLACE, REPLACE, 0, 1),
    Case("no seed in hand", {90.0: 1.0}, REPLACE, REPLACE, 0, 1, replace(USUAL, seeds_in_hand=0)),
    Case(
        "good seed, too little of it: topped up",
        {90.0: 1.0},
        SOW,
        SOW,
        15,
        1,
        replace(USUAL, seeds_in_hand=15),
    ),
    Case(
        "good seed, nearly enough: one small packet",
        {90.0: 1.0},
        SOW,
        SOW,
        22,
        1,
        replace(USUAL, seeds_in_hand=22, packet_seeds=5),
    ),
    Case(
        "weak seed, too little of it: topped up",
        {50.0: 1.0},
        THICKER,
        THICKER,
        30,
        2,
        replace(USUAL, seeds_in_hand=30, packet_seeds=10),
    ),
    Case(
        "number of seeds not known counts as enough",
        {75.0: 1.0},
        SOW,
        SOW,
        31,
        0,
        replace(USUAL, seeds_in_hand=None),
    ),
    Case("either good or dead: test first", {90.0: 0.6, 5.0: 0.4}, TEST, REPLACE, 0, 1),
    Case(
        "either good or dead, little chance of dead: still sown",
        {90.0: 0.92, 5.0: 0.08},
        SOW,
        SOW,
        26,
        0,
    ),
    Case(
        "probably dead: replaced, and a test would hardly change it",
        {90.0: 0.05, 5.0: 0.95},
        REPLACE,
        REPLACE,
        0,
        1,
    ),
    Case(
        "probably dead, but one in four good: test first",
        {90.0: 0.25, 5.0: 0.75},
        TEST,
        REPLACE,
        0,
        1,
    ),
    Case("good or half good: test first", {85.0: 0.6, 50.0: 0.4}, TEST, THICKER, 44, 0),
    Case(
        "good or half good, no time to test: sown thicker",
        {85.0: 0.6, 50.0: 0.4},
        THICKER,
        THICKER,
        44,
        0,
        replace(USUAL, test_seeds=0),
    ),
    Case(
        "either good or dead, no time to test: replaced",
        {90.0: 0.6, 5.0: 0.4},
        REPLACE,
        REPLACE,
        0,
        1,
        replace(USUAL, test_seeds=0),
    ),
    Case(
        "too few seeds to spare a test",
        {90.0: 0.6, 5.0: 0.4},
        REPLACE,
        REPLACE,
        0,
        1,
        replace(USUAL, seeds_in_hand=39),
    ),
    Case(
        "ten seeds can tell good from dead",
        {90.0: 0.6, 5.0: 0.4},
        TEST,
        REPLACE,
        0,
        1,
        replace(USUAL, seeds_in_hand=60),
    ),
    Case(
        "ten seeds cannot tell 60 from 50 %",
        {60.0: 0.5, 50.0: 0.5},
        THICKER,
        THICKER,
        45,
        0,
        replace(USUAL, seeds_in_hand=60),
    ),
    Case(
        "wide doubt about the middle: test first",
        {85.0: 0.2, 70.0: 0.2, 55.0: 0.2, 40.0: 0.2, 25.0: 0.2},
        TEST,
        REPLACE,
        0,
        1,
    ),
    Case(
        "wide doubt, and a grower who asks for more before testing",
        {85.0: 0.2, 70.0: 0.2, 55.0: 0.2, 40.0: 0.2, 25.0: 0.2},
        REPLACE,
        REPLACE,
        0,
        1,
        replace(USUAL, least_change=0.9),
    ),
    Case("narrow doubt about good seed", {92.0: 0.25, 89.0: 0.5, 86.0: 0.25}, SOW, SOW, 25, 0),
    Case(
        "half the seedlings lost in the field: more seeds, same verdict",
        {75.0: 1.0},
        SOW,
        SOW,
        66,
        0,
        replace(USUAL, emergence_loss_pct=50.0),
    ),
    Case(
        "lost seedlings fall on new seed too",
        {35.0: 1.0},
        REPLACE,
        REPLACE,
        0,
        2,
        replace(USUAL, emergence_loss_pct=50.0),
    ),
    Case(
        "one plant wanted of fair seed",
        {60.0: 1.0},
        THICKER,
        THICKER,
        3,
        0,
        replace(USUAL, plants_wanted=1),
    ),
    Case(
        "one plant wanted of poor seed",
        {30.0: 1.0},
        REPLACE,
        REPLACE,
        0,
        1,
        replace(USUAL, plants_wanted=1),
    ),
    Case(
        "many plants, small packets",
        {20.0: 1.0},
        REPLACE,
        REPLACE,
        0,
        4,
        replace(USUAL, plants_wanted=60, packet_seeds=25),
    ),
    Case(
        "a careful grower needs more seeds",
        {75.0: 1.0},
        SOW,
        SOW,
        35,
        0,
        replace(USUAL, probability=0.99),
    ),
    Case(
        "a patient grower sows three times as thick",
        {30.0: 1.0},
        THICKER,
        THICKER,
        83,
        0,
        replace(USUAL, thickest=3.0),
    ),
    Case(
        "a strict grower replaces sooner",
        {55.0: 1.0},
        REPLACE,
        REPLACE,
        0,
        1,
        replace(USUAL, thickest=1.3),
    ),
    Case(
        "new seed of a kind with a low standard",
        {50.0: 1.0},
        SOW,
        SOW,
        48,
        0,
        replace(USUAL, fresh_pct=55.0),
    ),
    Case(
        "new seed counted on at 90 % makes 60 % thin",
        {60.0: 1.0},
        THICKER,
        THICKER,
        40,
        0,
        replace(USUAL, fresh_pct=90.0),
    ),
    Case(
        "a third dead in doubt, too little seed: packets without a test",
        {80.0: 0.7, 10.0: 0.3},
        REPLACE,
        REPLACE,
        0,
        4,
        replace(USUAL, seeds_in_hand=38, packet_seeds=10),
    ),
]
each_case = pytest.mark.parametrize("case", CASES, ids=lambda case: case.why)


def chance_of(plants: int, seeds: int, chance: float) -> float:
    """At least so many plants from so many seeds, by the binomial sum."""
    return math.fsum(
        math.comb(seeds, x) * chance**x * (1.0 - chance) ** (seeds - x)
        for x in range(plants, seeds + 1)
    )


def reach(lot: dict[float, float], plan: Plan, own: int, new: int = 0) -> float:
    """Chance of the wanted plants from so many own and so many new seeds."""
    survival = 1.0 - plan.emergence_loss_pct / 100.0
    fresh, total = plan.fresh_pct / 100.0 * survival, 0.0
    for pct, weight in lot.items():
        chance = pct / 100.0 * survival
        for x in range(own + 1):
            some = math.comb(own, x) * chance**x * (1.0 - chance) ** (own - x)
            total += weight * some * chance_of(max(plan.plants_wanted - x, 0), new, fresh)
    return total


def worked(lot: dict[float, float], plan: Plan) -> Verdict:
    """The verdict without a test: so many times the new seed this lot needs."""
    new = next(n for n in count(1) if reach(lot, plan, 0, n) >= plan.probability)
    if plan.seeds_in_hand == 0:
        return REPLACE
    for times, verdict in ((plan.usual, SOW), (plan.thickest, THICKER)):
        if reach(lot, plan, math.floor(times * new)) >= plan.probability:
            return verdict
    return REPLACE


def worked_change(lot: dict[float, float], plan: Plan, sown: int) -> float:
    """Chance that a test changes the verdict: every result, with Bayes' rule on each level."""
    changed = 0.0
    for x in range(sown + 1):
        joint = {
            pct: weight * math.comb(sown, x) * (pct / 100) ** x * (1 - pct / 100) ** (sown - x)
            for pct, weight in lot.items()
        }
        chance = math.fsum(joint.values())
        if chance > 1e-12:
            after = {pct: share / chance for pct, share in joint.items()}
            changed += chance * (worked(after, plan) is not worked(lot, plan))
    return changed


@each_case
def test_the_table_of_cases(case: Case) -> None:
    """Each case of the table comes out as it stands there."""
    found = decide(case.levels, case.plan)
    assert (found.verdict, found.without_test) == (case.verdict, case.without_test)
    assert (found.seeds, found.packets) == (case.seeds, case.packets)


@each_case
def test_the_table_is_worked_by_hand(case: Case) -> None:
    """Binomial sums written out apart from the code give the verdict and numbers of each case."""
    lot, plan = case.lot, case.plan
    assert worked(lot, plan) is case.without_test
    if case.seeds:  # the seeds reach the plants, or all there are are sown
        enough = reach(lot, plan, case.seeds) >= plan.probability
        assert enough or case.seeds == plan.seeds_in_hand
        assert reach(lot, plan, case.seeds - 1) < plan.probability
    bought = plan.packet_seeds * case.packets
    assert reach(lot, plan, case.seeds, bought) >= plan.probability
    if case.packets:
        assert reach(lot, plan, case.seeds, bought - plan.packet_seeds) < plan.probability


@each_case
def test_the_chance_of_a_change_is_worked_by_hand(case: Case) -> None:
    """Every result of the test, with Bayes' rule on each level, gives the chance of a change."""
    found = decide(case.levels, case.plan)
    if found.test_seeds and case.plan.seeds_in_hand != 0:
        change = worked_change(case.lot, case.plan, found.test_seeds)
        assert found.chance_of_change == pytest.approx(change, abs=1e-9)
        assert (case.verdict is TEST) == (change >= case.plan.least_change)
    else:
        assert found.chance_of_change == 0.0
        assert case.verdict is not TEST


def test_value_of_a_test_agrees_with_simulation() -> None:
    """100,000 simulated lots and tests (seed 3) change the choice as often as was worked out."""
    levels = posterior(Evidence((Count(360, 400),), 4.0)).levels(0.8)

    def worth_keeping(after: Levels) -> bool:
        return float((after.fraction * after.weight).sum()) > 0.6

    value = value_of_test(levels, 20, worth_keeping)
    rng = np.random.default_rng(3)
    truth = rng.choice(levels.fraction, size=100_000, p=levels.weight)
    results = rng.binomial(20, truth)
    # the mean germination of the lots that gave a result is what one expects after it
    kept = np.array([truth[results == x].mean() > 0.6 for x in range(21)])
    simulated = float((kept[results] != value.now).mean())
    assert 0.1 < simulated < 0.9
    assert value.chance_of_change == pytest.approx(simulated, abs=0.01)
    assert sum(value.chances) == pytest.approx(1.0)


def test_a_test_of_no_seeds_changes_nothing() -> None:
    """Without seeds there is one result, and the choice stays."""
    value = value_of_test(Levels.exactly(60.0), 0, lambda levels: float(levels.fraction[0]))
    assert value.chances == (1.0,)
    assert value.chance_of_change == 0.0


@pytest.mark.parametrize(
    ("hand", "largest", "expected"),
    [(None, 50, 50), (1000, 100, 100), (399, 100, 50), (40, 50, 10), (39, 50, 0), (1000, 0, 0)],
)
def test_a_test_leaves_three_quarters(hand: int | None, largest: int, expected: int) -> None:
    """A test takes no more than a quarter of the seed, in sizes people use."""
    assert seeds_for_test(hand, largest) == expected


ORDER = [SOW, THICKER, REPLACE]


@settings(max_examples=60)
@given(st.floats(5, 100), st.floats(5, 100), st.integers(1, 300), st.floats(0, 70))
def test_better_seed_never_gets_a_worse_verdict(
    one: float, other: float, wanted: int, loss_pct: float
) -> None:
    """The lot that germinates better is not sown thicker, nor replaced, where the other is not."""
    plan = Plan(wanted, None, 75.0, 100, loss_pct)
    worse, better = (decide(Levels.exactly(pct), plan) for pct in sorted((one, other)))
    assert ORDER.index(better.verdict) <= ORDER.index(worse.verdict)
    assert better.packets <= worse.packets
    if better.seeds:
        chance = max(one, other) / 100 * (1 - loss_pct / 100)
        assert stats.binom.sf(wanted - 1, better.seeds, chance) >= 0.9 - 1e-9


def test_thickness_is_seeds_for_one_new_seed() -> None:
    """Half the germination of new seed needs about twice the seeds; dead seed has no number."""
    found = decide(Levels.exactly(40.0), Plan(200, None, 80.0, 100, thickest=3.0))
    assert found.thickness == pytest.approx(2.0, abs=0.1)
    assert decide(Levels.exactly(0.0), Plan(5, 100, 80.0, 100)).thickness is None


def test_plans_that_cannot_be_are_refused() -> None:
    """A plan for no plants, or with limits the wrong way round, is an error."""
    with pytest.raises(OutOfRangeError, match="plants"):
        Plan(0, 10, 75.0, 50)
    with pytest.raises(OutOfRangeError, match="thickness"):
        Plan(5, 10, 75.0, 50, usual=2.0, thickest=1.5)
    with pytest.raises(OutOfRangeError, match="new seed"):
        decide(Levels.exactly(90.0), Plan(100_000, 10, 1.0, 50, 99.0))


@pytest.mark.parametrize(("seeds", "change"), [(50, 0.1), (50, 0.7), (0, 0.0)])
def test_contradictory_counts_ask_for_a_test_where_one_is_possible(
    seeds: int, change: float
) -> None:
    """It changes what to do in one case of two at least; without seed or time all is as before."""
    found = Judgement(Verdict.SOW, Verdict.SOW, 60, 1.0, change, seeds)
    asked = asking_first(found)
    assert asked.without_test is Verdict.SOW
    if seeds:
        assert (asked.verdict, asked.chance_of_change) == (Verdict.TEST_FIRST, max(change, 0.5))
    else:
        assert asked == found
