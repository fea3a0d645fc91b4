"""Lots at the extremes: what a season says of them is what a careful grower would say."""

from datetime import timedelta

import pytest

from hilum.domain.model import GerminationTest, Lot, PlanLine
from hilum.keeping.lots.outlook import lot_case
from hilum.keeping.lots.usefirst import Group, use_first
from hilum.keeping.seasons.season import SeasonLine
from hilum.keeping.seasons.seasonline import LineLot
from hilum.science.decisions import Verdict
from keeping.shelves import NOW_MS, TODAY, answered, lot, shelf_of

SOW_ON = TODAY + timedelta(days=60)


def trial(code: str, days_ago: int, up: int, sown: int) -> GerminationTest:
    """A test so many days ago."""
    return GerminationTest(0, code, TODAY - timedelta(days=days_ago), sown, up)


def line_of(one: Lot, plants: int, *tests: GerminationTest) -> SeasonLine:
    """One lot, one line of the plan, sown in two months."""
    store = shelf_of(one, tests=tests)
    return answered(store, PlanLine(one.kind, plants), sow_on=SOW_ON).lines[0]


def only(line: SeasonLine) -> LineLot:
    """The line's one lot, which has a figure."""
    (one,) = line.lots
    assert one.judgement is not None
    assert one.at_sowing is not None
    return one


def median_pct(one: LineLot) -> float:
    """Germination at sowing."""
    assert one.at_sowing is not None
    return float(one.at_sowing.median_pct)


@pytest.mark.parametrize("label_pct", [None, 92.0])
def test_seed_of_unknown_age_is_tested_before_it_is_trusted(label_pct: float | None) -> None:
    """A packet without a date could be of any age: test first, and without a test sow thicker."""
    one = only(line_of(Lot("A", "onion", label_pct=label_pct, seeds=400), 50))
    assert one.judgement is not None
    assert one.judgement.verdict is Verdict.TEST_FIRST
    assert one.judgement.without_test is Verdict.SOW_THICKER
    dated = only(line_of(lot("B", pct=92.0, seeds=400), 50))
    assert dated.judgement is not None
    assert dated.judgement.without_test is Verdict.SOW


def test_one_small_test_outweighs_what_was_only_assumed() -> None:
    """None of four carrots up, and nothing else known: far below what was assumed before."""
    before = only(line_of(Lot("A", "carrot", seeds=200), 20))
    after = only(line_of(Lot("A", "carrot", seeds=200), 20, trial("A", 1, 0, 4)))
    assert median_pct(after) < 45.0 < median_pct(before)


def test_thirty_years_at_room_conditions_are_the_end() -> None:
    """Beet of thirty years: replaced, and no test would change that."""
    line = line_of(lot("A", "beet", age_days=365 * 30, seeds=300), 30)
    one = only(line)
    assert one.judgement is not None
    assert one.judgement.verdict is Verdict.REPLACE
    assert one.judgement.chance_of_change < 0.01
    assert line.words.startswith("None of the seed in hand is to be counted on: order")


def test_old_seed_is_not_thrown_away_untested() -> None:
    """What is far under its minimum by calculation alone is to be tested before it goes."""
    store = shelf_of(lot("A", "beet", age_days=365 * 30, seeds=300))
    (told,) = use_first(store, NOW_MS)
    assert told.group is Group.TEST
    assert "before you throw it away" in told.words


def test_acorns_are_not_reckoned_with() -> None:
    """Seed that dies when dried has no figure: said, and not called "no seed"."""
    line = line_of(lot("A", "oak", age_days=100, seeds=300), 10)
    assert line.lots[0].judgement is None
    assert "cannot be worked out" in line.lots[0].words
    assert "its seed dies when it dries" in " ".join(line.lots[0].notes)
    assert line.words.startswith("None of the seed in hand")
    assert line.packets > 0


def test_an_empty_packet_is_no_seed() -> None:
    """No seeds left: there is no seed to sow."""
    assert line_of(lot("A", seeds=0), 10).words.startswith("There is no seed to sow")


def test_a_kind_in_no_table_goes_by_its_own_test() -> None:
    """Forty-five of fifty of a kind nobody knows, tested yesterday: sown as usual."""
    one = only(line_of(lot("A", "other", age_days=100, seeds=300), 30, trial("A", 1, 45, 50)))
    assert one.judgement is not None
    assert one.judgement.verdict is Verdict.SOW


def test_a_test_of_yesterday_counts_for_more_than_one_of_five_years_ago() -> None:
    """Forty of fifty onions: yesterday, sown as usual; five years ago in a room, replaced."""
    fresh = only(line_of(lot("A", age_days=2200, seeds=400), 50, trial("A", 1, 40, 50)))
    stale = only(line_of(lot("A", age_days=2200, seeds=400), 50, trial("A", 1825, 40, 50)))
    assert fresh.judgement is not None
    assert stale.judgement is not None
    assert fresh.judgement.without_test is Verdict.SOW
    assert stale.judgement.without_test is Verdict.REPLACE


def test_dead_seed_does_not_come_back_to_life() -> None:
    """Five of fifty, then 45 of fifty: it was dormant; as if only the second had been made."""
    lettuce = lot("A", "lettuce", age_days=700, seeds=400)
    both = only(line_of(lettuce, 50, trial("A", 30, 5, 50), trial("A", 1, 45, 50)))
    second = only(line_of(lettuce, 50, trial("A", 1, 45, 50)))
    assert both.judgement == second.judgement
    assert both.at_sowing == second.at_sowing
    assert any("The test of 2026-10-03 is left out" in note for note in both.notes)
    assert not any("left out" in note for note in second.notes)


def test_bad_news_is_counted_with_the_good() -> None:
    """45 of fifty, then five: lost, or a bad test; both count, and another test is asked for."""
    lettuce = lot("A", "lettuce", age_days=700, seeds=400)
    one = only(line_of(lettuce, 50, trial("A", 30, 45, 50), trial("A", 1, 5, 50)))
    assert one.judgement is not None
    assert one.judgement.verdict is Verdict.TEST_FIRST
    assert 15.0 < median_pct(one) < 75.0
    assert not any("left out" in note for note in one.notes)


def test_a_label_that_promised_less_than_there_is_gives_way() -> None:
    """A packet's 75 %, a legal minimum, and 99 of a hundred yesterday: the test is believed."""
    one = only(line_of(lot("A", "tomato", age_days=400, pct=75.0, seeds=300), 30,
                       trial("A", 1, 99, 100)))  # fmt: skip
    assert median_pct(one) > 93.0
    assert any("The figure on the packet is left out" in note for note in one.notes)


def test_a_label_later_than_a_test_is_not_outdone_by_it() -> None:
    """48 of fifty two years ago, 60 % on a label of last month: seed has aged, and both count."""
    onion = lot("A", age_days=30, pct=60.0, seeds=300)
    store = shelf_of(onion, tests=(trial("A", 730, 48, 50),))
    case = lot_case(store, onion, NOW_MS)
    assert case.evidence is not None
    assert len(case.evidence.counts) == 2
    assert not any("left out" in note for note in case.loss.notes)
