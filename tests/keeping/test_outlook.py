"""A lot's outlook: figures that agree with each other and with plain arithmetic."""

from datetime import date

import numpy as np
import pytest

from hilum.domain.model import (
    MS_PER_DAY,
    Box,
    BoxType,
    GerminationTest,
    Lot,
    Placement,
    Reading,
    Role,
    Stay,
    Wrap,
)
from hilum.keeping.lots.origin import is_assumed, label_day, ms_of
from hilum.keeping.lots.outlook import life_line, lot_outlook, viabilities
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.memory import MemoryStore

START = ms_of(date(2025, 1, 1))
HOUR = 3_600_000
DAYS = 400
NOW = START + DAYS * MS_PER_DAY


def store_with(lot: Lot, *tests: GerminationTest) -> MemoryStore:
    """A box at 20 °C in winter and 28 °C in summer, 50 % RH, with one lot in it from the start."""
    store = MemoryStore()
    store.save_box(Box("tub", "Tub", BoxType.TUB))
    store.add(
        [
            Reading("home/tub", START + h * HOUR, 24 - 4 * np.cos(2 * np.pi * h / 8766), 50.0)
            for h in range(0, DAYS * 24 + 1, 3)
        ],
        NOW,
    )
    store.add_placement(Placement(0, "home/tub", "tub", Role.INSIDE, START))
    store.save_lot(lot)
    store.add_stay(Stay(0, lot.code, "tub", Wrap.PAPER, START))
    for test in tests:
        store.add_test(test)
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    return store


PEA = Lot("A", "pea", label_pct=96.0, label_n=400, label_date=date(2025, 1, 1))


def test_spent_budget_and_the_median_agree() -> None:
    """The budget is spent exactly when the median has reached the minimum."""
    outlook = lot_outlook(store_with(PEA), "A", NOW)

    assert outlook.now is not None
    assert outlook.minimum is not None
    assert outlook.spent_share is not None
    assert (outlook.spent_share >= 1.0) == (outlook.now.median_pct <= outlook.minimum.pct)
    assert outlook.spent_share == pytest.approx(
        (outlook.loss.total_probit or 0.0) / (outlook.budget_probit or 1.0), rel=0.1
    )


def test_a_year_stands_for_what_is_to_come() -> None:
    """The mean of a whole year is used ahead, not the cool month that happens to be the last."""
    outlook = lot_outlook(store_with(PEA), "A", NOW)
    loss = outlook.loss

    assert loss.ahead_days == pytest.approx(365.25)
    assert loss.recent_per_day is not None
    assert loss.ahead_per_day is not None
    assert loss.ahead_per_day > 1.3 * loss.recent_per_day


def test_the_line_of_life_passes_through_now_and_the_date() -> None:
    """Drawn and told figures are the same: now, and the minimum at the date it is reached."""
    store = store_with(PEA)
    outlook = lot_outlook(store, "A", NOW)
    assert outlook.now is not None
    assert outlook.minimum is not None
    assert outlook.reached_ms is not None

    times = np.array([START, NOW, outlook.reached_ms], dtype=np.int64)
    line = np.asarray(life_line(store, "A", times, NOW).median_pct)

    assert line[0] == pytest.approx(96.0, abs=0.5)
    assert line[1] == pytest.approx(float(outlook.now.median_pct), abs=1e-9)
    assert line[2] == pytest.approx(outlook.minimum.pct, abs=0.5)


def test_one_lot_and_many_lots_give_the_same() -> None:
    """The list of lots says what the page of the lot says."""
    store = store_with(PEA)

    many = viabilities(store, store.lots(), NOW)["A"]
    one = lot_outlook(store, "A", NOW).now

    assert one is not None
    assert many.median_pct == pytest.approx(float(one.median_pct), abs=1e-6)
    assert many.low_pct == pytest.approx(float(one.low_pct), abs=1e-6)


def test_a_test_moves_the_figure_towards_what_came_up() -> None:
    """75 of a hundred pull the median down, and the band is narrower for it."""
    test = GerminationTest(0, "A", date(2026, 1, 20), 100, 75)
    without = lot_outlook(store_with(PEA), "A", NOW).now
    seen = lot_outlook(store_with(PEA, test), "A", NOW)

    assert without is not None
    assert seen.now is not None
    assert 70.0 < float(seen.now.median_pct) < 82.0
    assert (seen.now.high_pct - seen.now.low_pct) < (without.high_pct - without.low_pct)
    assert seen.multiplier is not None
    assert seen.multiplier[0] > 1.0
    assert seen.tests[0].expected.median_pct == pytest.approx(without.median_pct, abs=3.0)


def test_a_test_before_the_label_counts_from_the_earlier_day() -> None:
    """A test older than the label's date is no error: all losses count from the earlier one."""
    early = GerminationTest(0, "A", date(2024, 6, 1), 50, 49)

    outlook = lot_outlook(store_with(PEA, early), "A", NOW)

    assert outlook.now is not None
    assert outlook.tests[0].loss_probit == pytest.approx(0.0, abs=1e-12)


def test_a_year_alone_is_taken_as_the_first_of_october() -> None:
    """Only a year on the label: the loss counts from 1 October of it, which is our assumption."""
    lot = Lot("A", "pea", year=2024, label_pct=96.0)

    assert label_day(lot) == date(2024, 10, 1)
    assert is_assumed(lot)
    assert not is_assumed(PEA)
    assert label_day(Lot("B", "pea")) is None


@pytest.mark.parametrize("kind", ["oak", "no-such-kind"])
def test_what_cannot_be_modelled_has_words_and_no_figures(kind: str) -> None:
    """Seed that dies when dried, or a kind in no table, is given a sentence instead of a number."""
    outlook = lot_outlook(store_with(Lot("A", kind, label_pct=90.0)), "A", NOW)

    assert outlook.now is None
    assert outlook.spent_share is None
    assert outlook.notes
