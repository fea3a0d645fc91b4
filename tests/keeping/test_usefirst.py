"""The order in which to use lots, against each lot's own outlook."""

from datetime import timedelta

import numpy as np
import pytest

from hilum.domain.model import GerminationTest
from hilum.keeping.lots.outlook import lot_outlook
from hilum.keeping.lots.usefirst import Group, use_first
from keeping.shelves import NOW_MS, TODAY, lot, shelf_of

DAY_MS = 86_400_000
RNG = np.random.default_rng(4)
KINDS = ("onion", "lettuce", "pea", "tomato", "carrot", "parsnip", "wheat")
LOTS = [
    lot(
        f"L{i:02d}",
        KINDS[int(RNG.integers(len(KINDS)))],
        age_days=int(RNG.integers(0, 1500)),
        pct=float(RNG.integers(70, 99)),
        prior_temp_c=float(RNG.integers(5, 25)),
        prior_rh_pct=float(RNG.integers(20, 60)),
    )
    for i in range(40)
]
TESTS = tuple(
    GerminationTest(0, f"L{i:02d}", TODAY - timedelta(days=20), 50, 25 + i) for i in range(0, 20, 3)
)


def test_order_is_that_of_the_day_the_minimum_is_reached() -> None:
    """Lots under their minimum come first, weakest first; then by the day of each lot's outlook."""
    store = shelf_of(*LOTS, tests=TESTS)
    found = use_first(store, NOW_MS)
    under, dated, far = [], [], []
    for each in found:
        outlook = lot_outlook(store, each.lot.code, NOW_MS)
        assert outlook.now is not None
        assert each.now is not None
        assert each.now.median_pct == pytest.approx(outlook.now.median_pct)
        if outlook.prob_below is not None and outlook.prob_below >= 0.5:
            under.append(float(outlook.now.median_pct))
            assert each.reached_ms is None
        elif each.reached_ms is not None and outlook.reached_ms is not None:
            # the outlook reads the day off a line through 120 points
            ahead = each.reached_ms - NOW_MS
            assert ahead == pytest.approx(outlook.reached_ms - NOW_MS, rel=0.02, abs=3 * DAY_MS)
            dated.append(each.reached_ms)
        else:
            far.append(each)
    assert len(under) > 3
    assert len(dated) > 3
    assert under == sorted(under)
    assert dated == sorted(dated)
    count = len(under) + len(dated)
    assert all(each in far for each in found[count:])


def test_groups_follow_from_the_order() -> None:
    """What reaches its minimum within a year is for this season, what is sure later is kept."""
    groups = [each.group for each in use_first(shelf_of(*LOTS, tests=TESTS), NOW_MS)]
    assert {Group.USE, Group.TEST, Group.KEEP} <= set(groups)
    for each in use_first(shelf_of(*LOTS, tests=TESTS), NOW_MS):
        assert each.prob_below is not None
        if each.reached_ms is not None and each.reached_ms - NOW_MS < 365 * DAY_MS:
            assert each.group is Group.USE
            assert "at the present rate" in each.words
        if each.group is Group.KEEP:
            assert each.prob_below < 0.25


def test_dead_seed_is_not_sown_thickly() -> None:
    """Seed far under its minimum is to be tested before it is thrown away, not sown."""
    found = use_first(shelf_of(lot("A", age_days=3000)), NOW_MS)[0]
    assert found.group is Group.TEST
    assert "throw it away" in found.words


def test_what_nobody_knows_comes_last() -> None:
    """No figure and no test, or no life model: listed last, with the reason; used-up lots not."""
    store = shelf_of(
        lot("OAK", "oak"),
        lot("BARE", pct=None),  # type: ignore[arg-type]
        lot("GONE", seeds=0),
        lot("FINE"),
    )
    found = use_first(store, NOW_MS)
    assert [each.lot.code for each in found] == ["FINE", "BARE", "OAK"]
    assert [each.group for each in found[1:]] == [Group.UNKNOWN, Group.UNKNOWN]
    assert "no germination figure" in found[1].words
    assert "dies when it dries" in found[2].words
    assert use_first(shelf_of(), NOW_MS) == []
