"""Tests that come out far lower than expected are said to, and make the range wide."""

from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from hilum.domain.model import GerminationTest, PlanLine
from hilum.keeping.lots.outlook import lot_case, lot_outlook, viabilities
from hilum.keeping.lots.usefirst import Group, use_first
from hilum.science.decisions import Verdict
from hilum.web.views.outlook import cautions
from keeping.shelves import NOW_MS, TODAY, answered, lot, shelf_of


@pytest.mark.parametrize("up", [45, 40, 38, 36, 34, 30, 5])
def test_a_test_far_below_is_said_to_be(up: int) -> None:
    """Lettuce of 90 % (of 400) a month old, then so many of fifty: simulated chance below 1 %.

    The chance is simulated apart from the program: label as beta, multiplier log-normal, loss in
    probits, and a binomial test; 400,000 draws, seed 8.
    """
    one = lot("A", "lettuce", age_days=30, seeds=400)
    test = GerminationTest(0, "A", TODAY - timedelta(days=1), 50, up)
    store = shelf_of(one, tests=(test,))
    found = lot_outlook(store, "A", NOW_MS)
    case = lot_case(shelf_of(one), one, NOW_MS)
    assert case.evidence is not None
    rng = np.random.default_rng(8)
    start = stats.norm.ppf(rng.beta(361, 41, 400_000))
    k = np.exp(case.evidence.log_spread * rng.standard_normal(400_000))
    alive = stats.norm.cdf(start - k * found.tests[0].loss_probit)
    chance = float((rng.binomial(50, alive) <= up).mean())
    assert abs(chance - 0.01) > 0.001, "too near to tell"
    assert found.tests[0].far_lower is (chance < 0.01)
    told = any("far lower" in note and "2026-11-01" in note for note in found.notes)
    assert told is (chance < 0.01)


def test_a_far_lower_test_makes_every_range_wide() -> None:
    """Lot page, list and season speak of the same range, which holds packet and test."""
    one = lot("A", "lettuce", age_days=30, seeds=400)
    store = shelf_of(one, tests=(GerminationTest(0, "A", TODAY - timedelta(days=1), 50, 25),))
    outlook = lot_outlook(store, "A", NOW_MS)
    now = outlook.now
    assert now is not None
    assert outlook.contradicted in cautions(outlook)
    assert outlook.multiplier is None
    assert now.low_pct < 50.0
    assert now.high_pct > 85.0
    assert viabilities(store, [one], NOW_MS)["A"].median_pct == pytest.approx(now.median_pct)
    (line,) = answered(store, PlanLine("lettuce", 100), sow_on=TODAY + timedelta(days=60)).lines
    assert line.lots[0].judgement is not None
    assert line.lots[0].judgement.verdict is Verdict.TEST_FIRST
    assert use_first(store, NOW_MS)[0].group is Group.TEST
    store.add_test(GerminationTest(0, "A", TODAY, 50, 26))
    assert not lot_outlook(store, "A", NOW_MS).contradicted
    assert "contradict" not in use_first(store, NOW_MS)[0].words


def test_what_is_expected_after_a_contradiction_counts_from_it() -> None:
    """The third test is expected where the figure stood the day before it, not 900 days lower."""
    old = lot("A", "lettuce", age_days=900, seeds=400, prior_rh_pct=30.0)
    known = tuple(
        GerminationTest(0, "A", TODAY - timedelta(days=days), 50, up)
        for days, up in ((40, 45), (10, 5))
    )
    before = lot_outlook(shelf_of(old, tests=known), "A", NOW_MS).now
    third = (*known, GerminationTest(0, "A", TODAY - timedelta(days=1), 50, 20))
    seen = lot_outlook(shelf_of(old, tests=third), "A", NOW_MS).tests
    assert before is not None
    assert seen[1].far_lower
    assert seen[2].expected.median_pct == pytest.approx(before.median_pct, abs=2.0)
    assert not seen[2].far_lower


def test_a_good_surprise_is_not_called_bad() -> None:
    """Fifty of fifty where 60 % was expected is no test that came out too low."""
    test = GerminationTest(0, "A", TODAY - timedelta(days=1), 50, 50)
    store = shelf_of(lot("A", "lettuce", age_days=30, pct=60.0), tests=(test,))
    assert not lot_outlook(store, "A", NOW_MS).tests[0].far_lower
