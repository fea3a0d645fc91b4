"""Tests that come out far lower than expected are said to, and counted."""

from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from hilum.domain.model import GerminationTest
from hilum.keeping.lots.outlook import lot_case, lot_outlook
from keeping.shelves import NOW_MS, TODAY, lot, shelf_of


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


def test_a_good_surprise_is_not_called_bad() -> None:
    """Fifty of fifty where 60 % was expected is no test that came out too low."""
    test = GerminationTest(0, "A", TODAY - timedelta(days=1), 50, 50)
    store = shelf_of(lot("A", "lettuce", age_days=30, pct=60.0), tests=(test,))
    assert not lot_outlook(store, "A", NOW_MS).tests[0].far_lower
