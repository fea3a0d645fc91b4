"""What the order of use says of each lot: groups, dates and words, worked from the loss itself."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from hilum.domain.model import Floats, GerminationTest, Lot
from hilum.keeping.lots.outlook import Case, lot_case
from hilum.keeping.lots.usefirst import DOUBT, SEASON_DAYS, Group, UseFirst, use_first
from hilum.science.posterior import posterior
from keeping.shelves import NOW_MS, TODAY, lot, shelf_of

DAY_MS = 86_400_000


def told(one: Lot) -> UseFirst:
    """What is said of one lot."""
    return use_first(shelf_of(one), NOW_MS)[0]


def case_of(one: Lot) -> Case:
    """The lot's loss and evidence."""
    return lot_case(shelf_of(one), one, NOW_MS)


def draws(case: Case, loss_probit: float) -> Floats:
    """Germination of 60,000 lots like this one at a loss, drawn apart from the program."""
    assert case.evidence is not None
    count = case.evidence.counts[0]
    rng = np.random.default_rng(6)
    start = stats.norm.ppf(
        rng.beta(count.germinated + 1, count.sown - count.germinated + 1, 60_000)
    )
    k = np.exp(case.evidence.log_spread * rng.standard_normal(60_000))
    return np.asarray(stats.norm.cdf(start - k * loss_probit))


SHELF = [
    lot(f"{kind}-{age}-{rh}", kind, age_days=age, pct=pct, prior_temp_c=temp, prior_rh_pct=rh)
    for kind, pct in (("onion", 92.0), ("lettuce", 95.0), ("pea", 90.0), ("tomato", 94.0))
    for age in (0, 200, 800, 2500)
    for temp, rh in ((5.0, 25.0), (15.0, 35.0), (22.0, 55.0))
]


@pytest.mark.parametrize("one", SHELF, ids=lambda one: one.code)
def test_groups_follow_from_chances_drawn_apart(one: Lot) -> None:
    """Under the minimum now, within a year by the median, in doubt a year on, or kept.

    Chances near a limit (2 points, or 3 days) are left to either side.
    """
    case, found = case_of(one), told(one)
    minimum = found.minimum_pct or 0.0
    rate = case.loss.ahead_per_day or 0.0
    now = 100.0 * draws(case, case.total_probit)
    later = 100.0 * draws(case, case.total_probit + rate * SEASON_DAYS)
    below_now, below_later = float((now < minimum).mean()), float((later < minimum).mean())
    assert found.prob_below == pytest.approx(below_now, abs=0.012)
    if min(abs(below_now - 0.5), abs(below_later - 0.5), abs(below_later - DOUBT)) < 0.02:
        return
    if below_now > 0.5:
        far = float(np.median(now)) < 0.5 * minimum
        assert found.group is (Group.TEST if far else Group.USE)
        assert found.reached_ms is None
        assert ("before you throw it away" in found.words) is far
        assert ("sow thicker, or test it" in found.words) is not far
        return
    if below_later > 0.5:
        assert found.group is Group.USE
    else:
        assert found.group is (Group.TEST if below_later > DOUBT else Group.KEEP)
        if found.group is Group.TEST:
            chance = float(found.words.split("chance of ")[1].split(" %")[0])
            assert chance == pytest.approx(100.0 * below_later, abs=1.6)


@pytest.mark.parametrize("one", SHELF, ids=lambda one: one.code)
def test_the_day_is_the_day_and_its_words_are_its_words(one: Lot) -> None:
    """At the day that is named half the drawn lots are below the minimum; years, months or days."""
    case, found = case_of(one), told(one)
    if found.reached_ms is None:
        return
    days = (found.reached_ms - NOW_MS) / DAY_MS
    rate = case.loss.ahead_per_day or 0.0
    then = 100.0 * draws(case, case.total_probit + rate * days)
    assert float((then < (found.minimum_pct or 0.0)).mean()) == pytest.approx(0.5, abs=0.012)
    if "at the present rate" not in found.words or "fifty years" in found.words:
        return
    said = found.words.split(" in about ")[1].split(" at the")[0]
    number, unit = said.split()
    for least, expected, length in (
        (2 * 365.25, {"years"}, 365.25),
        (60.0, {"months"}, 30.44),
        (0.0, {"day", "days"}, 1.0),
    ):
        if days >= least:
            assert unit in expected
            assert float(number) == pytest.approx(days / length, abs=0.55)
            return


def test_every_group_and_every_unit_of_time_is_met() -> None:
    """The lots of this page are no easy lot: all groups, years, months and days occur."""
    found = [told(one) for one in [*SHELF, *_near()]]
    assert {each.group for each in found} == {Group.USE, Group.TEST, Group.KEEP}
    words = " ".join(each.words for each in found)
    for part in ("years at", "months at", "days at", "fifty years", "a test would tell"):
        assert part in words


def _near() -> list[Lot]:
    """Lots a few weeks before their minimum, and one that hardly loses anything."""
    near = [
        lot(f"N{pct}", pct=float(pct), prior_temp_c=25.0, prior_rh_pct=60.0) for pct in (71, 73, 75)
    ]
    return [*near, lot("COLD", "pea", prior_temp_c=-10.0, prior_rh_pct=20.0)]


@pytest.mark.parametrize(("ahead", "words"), [(0.6, "about 1 day at"), (2.2, "about 2 days at")])
def test_a_day_is_one_day(ahead: float, words: str) -> None:
    """A minimum that the median reaches in so many days: "about 1 day", and days for more."""
    one = lot("A", pct=90.0, prior_temp_c=25.0, prior_rh_pct=60.0)
    case = case_of(one)
    assert case.evidence is not None
    loss = case.total_probit + ahead * (case.loss.ahead_per_day or 0.0)
    median = float(np.asarray(posterior(case.evidence).viability(loss).median_pct))
    assert words in told(replace(one, minimum_pct=median)).words


@pytest.mark.parametrize(("own", "held"), [(0.0, 0.1), (100.0, 99.9), (82.0, 82.0)])
def test_a_minimum_of_ones_own_is_held_where_it_can_be_reached(own: float, held: float) -> None:
    """A lot's own minimum counts before the table's; 0 and 100 % could never be crossed."""
    one = Lot("A", "onion", label_pct=90.0, label_date=TODAY - timedelta(days=9), minimum_pct=own)
    assert told(one).minimum_pct == held
    assert told(lot("B")).minimum_pct == 70.0  # 7 CFR 201.31 (read)


@pytest.mark.parametrize(
    ("days_ago", "group"), [(1, Group.KEEP), (119, Group.KEEP), (120, Group.TEST)]
)
def test_what_was_tested_lately_is_not_to_be_tested_yet(days_ago: int, group: Group) -> None:
    """Doubt about next year is no reason to repeat a test of last week."""
    one = lot("A", age_days=700, prior_temp_c=16.0, prior_rh_pct=48.0)
    test = GerminationTest(0, "A", TODAY - timedelta(days=days_ago), 50, 42)
    (found,) = use_first(shelf_of(one, tests=(test,)), NOW_MS)
    assert "a year from now" in found.words
    assert found.group is group
    assert ("test it again before then" in found.words) is (group is Group.KEEP)
