"""Decisions on lots known by a count alone, against scipy's exact beta-binomial.

A count of x of n makes germination beta (x + 1, n - x + 1): seeds that come up are beta-binomial,
and a further test leaves a beta again. Nothing here uses the levels the program cuts it into.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy import stats

from hilum.science.decisions import Plan, Verdict, decide, judge, seeds_for_test
from hilum.science.germination import Count, Evidence
from hilum.science.posterior import posterior
from hilum.science.sowing import Levels

SOW, THICKER = Verdict.SOW, Verdict.SOW_THICKER
TEST, REPLACE = Verdict.TEST_FIRST, Verdict.REPLACE
CARROT = Plan(plants_wanted=50, seeds_in_hand=400, fresh_pct=55.0, packet_seeds=100)
LETTUCE = Plan(plants_wanted=30, seeds_in_hand=300, fresh_pct=80.0, packet_seeds=50)
BEAN = Plan(plants_wanted=40, seeds_in_hand=200, fresh_pct=70.0, packet_seeds=40)


@dataclass(frozen=True)
class Lot:
    """A count, a plan, and what a careful agronomist would say, with and without a test."""

    why: str
    up: float
    sown: float
    plan: Plan
    verdict: Verdict
    without: Verdict


LOTS = [
    Lot("none of four came up: a test would hardly turn it", 0, 4, CARROT, REPLACE, REPLACE),
    Lot("none of four, no time: replaced", 0, 4, replace(CARROT, test_seeds=0), REPLACE, REPLACE),
    Lot("none of a hundred is dead, whatever the next test says", 0, 100, CARROT, REPLACE, REPLACE),
    Lot("every one of a hundred is sown as usual", 100, 100, LETTUCE, SOW, SOW),
    Lot("every one of four: a few seeds more than new seed", 4, 4, LETTUCE, SOW, SOW),
    Lot("seven of ten: might be weak, so tested", 7, 10, LETTUCE, TEST, THICKER),
    Lot("45 of 50 is known well enough", 45, 50, LETTUCE, SOW, SOW),
    Lot("two tests that contradict each other: 45 and 5 of 50", 50, 100, LETTUCE, THICKER, THICKER),
    Lot("packet of 92 % without a date, as four seeds", 3.68, 4, BEAN, SOW, SOW),
    Lot("no figure and no date, as 85 % of four seeds", 3.4, 4, BEAN, TEST, THICKER),
    Lot("packet of 92 %, as 400 seeds", 368, 400, BEAN, SOW, SOW),
    Lot("nothing known at all", 0, 0, BEAN, TEST, REPLACE),
    Lot("half alive of 400: sown thicker, no test needed", 200, 400, BEAN, THICKER, THICKER),
    Lot("thirty of a hundred: replaced", 30, 100, BEAN, REPLACE, REPLACE),
    Lot("good, but six seeds for forty plants", 92, 100, replace(BEAN, seeds_in_hand=6), SOW, SOW),
    Lot("39 seeds spare no test", 0, 4, replace(CARROT, seeds_in_hand=39), REPLACE, REPLACE),
]
each_lot = pytest.mark.parametrize("lot", LOTS, ids=lambda lot: lot.why)


def levels(lot: Lot) -> Levels:
    """The lot as the program sees it, on the day of the count."""
    counts = (Count(lot.up, lot.sown),) if lot.sown else ()
    return posterior(Evidence(counts, 1.0)).levels(0.0)


def fewest(reached: Callable[[int], float], first: int) -> int:
    """Fewest seeds with which the chance is nine in ten."""
    return next(n for n in range(first, 200_000) if reached(n) >= 0.9)


def new_seed(plan: Plan) -> int:
    """Seeds of new seed for the plants, by scipy.stats.binom."""
    wanted, fresh = plan.plants_wanted, plan.fresh_pct / 100.0
    return fewest(lambda n: float(stats.binom.sf(wanted - 1, n, fresh)), wanted)


def chance(plan: Plan, up: float, sown: float, seeds: int) -> float:
    """Chance of the plants from so many seeds, by scipy.stats.betabinom."""
    return float(stats.betabinom.sf(plan.plants_wanted - 1, seeds, up + 1, sown - up + 1))


def verdict(plan: Plan, up: float, sown: float) -> Verdict:
    """Sow within 1.25 times the new seed, thicker within twice, else replace."""
    new = new_seed(plan)
    if chance(plan, up, sown, int(1.25 * new)) >= 0.9:
        return SOW
    return THICKER if chance(plan, up, sown, 2 * new) >= 0.9 else REPLACE


def change(plan: Plan, up: float, sown: float, test: int) -> float:
    """Chance that a test changes the verdict: each result, its chance, and the beta it leaves."""
    now = verdict(plan, up, sown)
    found = stats.betabinom.pmf(np.arange(test + 1), test, up + 1, sown - up + 1)
    after = [verdict(plan, up + x, sown + test) for x in range(test + 1)]
    return float(sum(p for p, then in zip(found, after, strict=True) if then is not now))


@each_lot
def test_verdicts_are_those_of_a_careful_agronomist(lot: Lot) -> None:
    """The verdict, with and without a test, is the one written beside the lot."""
    found = decide(levels(lot), lot.plan)
    assert (found.verdict, found.without_test) == (lot.verdict, lot.without)


@each_lot
def test_verdicts_follow_from_the_beta_binomial(lot: Lot) -> None:
    """The same verdicts from scipy alone: the rule, and the chance that the test changes it."""
    assert verdict(lot.plan, lot.up, lot.sown) is lot.without
    size = seeds_for_test(lot.plan.seeds_in_hand, lot.plan.test_seeds)
    exact = change(lot.plan, lot.up, lot.sown, size) if size else 0.0
    assert decide(levels(lot), lot.plan).chance_of_change == pytest.approx(exact, abs=0.03)
    assert (lot.verdict is TEST) is (exact >= lot.plan.least_change)


@each_lot
def test_numbers_follow_from_the_beta_binomial(lot: Lot) -> None:
    """Seeds to sow, thickness and packets are scipy's; the levels may cost one seed in fifty."""
    plan, new = lot.plan, new_seed(lot.plan)
    hand = plan.seeds_in_hand or 0
    found = decide(levels(lot), plan)
    if lot.without is REPLACE:
        assert found.seeds == 0
        assert found.packets == -(-new // plan.packet_seeds)
        return
    need = fewest(lambda n: chance(plan, lot.up, lot.sown, n), plan.plants_wanted)
    assert found.seeds == pytest.approx(min(need, hand), rel=0.02, abs=1)
    assert found.thickness == pytest.approx(need / new, rel=0.02, abs=1 / new)
    own = stats.betabinom.pmf(
        np.arange(found.seeds + 1), found.seeds, lot.up + 1, lot.sown - lot.up + 1
    )
    missing = plan.plants_wanted - 1 - np.arange(found.seeds + 1)

    def reached(packets: int) -> float:
        fresh = stats.binom.sf(missing, packets * plan.packet_seeds, plan.fresh_pct / 100.0)
        return float(own @ fresh)

    assert found.packets == (fewest(reached, 0) if need > hand else 0)


def test_thickness_of_seed_that_is_replaced_is_told_where_it_exists() -> None:
    """35 % certain: so many times the new seed, by scipy's binomial; dead seed has no number."""
    weak = decide(Levels.exactly(35.0), BEAN)
    need = fewest(lambda n: float(stats.binom.sf(39, n, 0.35)), 40)
    assert weak.without_test is REPLACE
    assert weak.thickness == pytest.approx(need / new_seed(BEAN))
    assert decide(Levels.exactly(0.0), BEAN).thickness is None


def test_many_lots_at_once_are_judged_as_one_by_one() -> None:
    """Lots of one plan, each with its own seeds in hand, get what ``decide`` gives each."""
    lots = [lot for lot in LOTS if replace(lot.plan, seeds_in_hand=200) == BEAN]
    cut = [levels(lot) for lot in lots]
    together = Levels(np.array([c.fraction for c in cut]), np.array([c.weight for c in cut]))
    hands = [lot.plan.seeds_in_hand for lot in lots]
    assert len(lots) >= 5
    for lot, one, found in zip(lots, cut, judge(together, BEAN, hands), strict=True):
        alone = decide(one, lot.plan)
        assert (found.verdict, found.without_test, found.seeds) == (
            alone.verdict,
            alone.without_test,
            alone.seeds,
        )
        assert found.chance_of_change == pytest.approx(alone.chance_of_change)


@pytest.mark.parametrize(
    ("hand", "largest", "size"),
    [
        *[(39, 50, 0), (40, 50, 10), (99, 50, 10), (100, 50, 25), (199, 50, 25), (200, 50, 50)],
        *[(400, 100, 100), (399, 100, 50), (None, 50, 50), (None, 30, 25), (0, 50, 0), (500, 9, 0)],
    ],
)
def test_a_test_takes_at_most_a_quarter_of_the_seed(
    hand: int | None, largest: int, size: int
) -> None:
    """Ten, 25, 50 or 100 seeds, never more than one in four of those in hand."""
    assert seeds_for_test(hand, largest) == size


def test_plants_at_several_levels_and_with_losses() -> None:
    """Either 90 or 40 %, a fifth of the seedlings lost: scipy's binomials, averaged."""
    mixed = Levels(np.array([0.9, 0.4]), np.array([0.5, 0.5]))
    expected = float(np.mean(stats.binom.sf(19, 40, np.array([0.72, 0.32]))))
    assert mixed.chance_of(20, 40, survival=0.8) == pytest.approx(expected, abs=1e-9)


def test_bayes_on_many_lots_at_once() -> None:
    """Each lot's levels are weighed by its own chance of the result, and sum to one."""
    two = Levels(np.array([[0.9, 0.4], [0.5, 0.1]]), np.array([[0.5, 0.5], [0.2, 0.8]]))
    after = two.after(7, 10)
    for row in range(2):
        joint = two.weight[row] * stats.binom.pmf(7, 10, two.fraction[row])
        assert after.weight[row] == pytest.approx(joint / joint.sum())
