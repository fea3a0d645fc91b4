"""Which time a lot's burn rate is the mean of, and how doubt grows with cold and very dry loss."""

import math
from datetime import date

import numpy as np
import pytest

from hilum.domain.model import Lot, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.lots.losses import LotLoss, loss_at, lot_loss
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.memory import MemoryStore
from keeping.worlds import DAY_MS, Conditions, add_box, add_readings

D0 = 1_704_067_200_000
"""2024-01-01 00:00 UTC."""

ONION = Lot("L1", "onion", label_pct=92.0, label_date=date(2024, 1, 1))


def weather(*parts: tuple[float, float, float]) -> list[Conditions]:
    """An hourly reading for so many days at a temperature and humidity, one part after another."""
    found: list[Conditions] = []
    for days, temp_c, rh_pct in parts:
        start = found[-1][0] + 3_600_000 if found else D0
        found += [(start + i * 3_600_000, temp_c, rh_pct) for i in range(round(days * 24))]
    return found


def box_of(readings: list[Conditions], *stays: Stay, lot: Lot = ONION) -> Store:
    """A tub with readings, and a lot that stays in it."""
    store = MemoryStore()
    add_box(store, "tub", "lane/tub")
    store.save_lot(lot)
    for stay in stays:
        store.add_stay(stay)
    add_readings(store, readings, "lane/tub")
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    return store


def mean(store: Store, first_day: float, last_day: float) -> float:
    """Loss between two days, by the day: the line of the lot's life at both ends."""
    days = np.array([first_day, last_day])
    ends = loss_at(store, store.lot("L1"), (D0 + days * DAY_MS).astype(np.int64))
    return float(ends[1] - ends[0]) / (last_day - first_day)


def loss(store: Store, day: float) -> LotLoss:
    """Loss of the lot on a day."""
    return lot_loss(store, store.lot("L1"), D0 + round(day * DAY_MS))


def always(start: float = 0.0, wrap: Wrap = Wrap.OPEN) -> Stay:
    """A stay in the tub from a day on."""
    return Stay(0, "L1", "tub", wrap, D0 + round(start * DAY_MS))


def test_present_rate_is_the_mean_of_thirty_days_and_the_year_that_of_the_stay() -> None:
    """A warm half year, then ten cool days: each mean is the line's rise over its own time."""
    store = box_of(weather((190, 22.0, 50.0), (10.5, 8.0, 30.0)), always())
    found = loss(store, 200.0)
    assert found.recent_per_day == pytest.approx(mean(store, 170.0, 200.0), rel=1e-9)
    assert found.ahead_per_day == pytest.approx(mean(store, 0.0, 200.0), rel=1e-9)
    assert found.ahead_days == pytest.approx(200.0)
    assert found.rate_per_day is not None
    assert found.recent_per_day is not None
    assert found.rate_per_day < 0.2 * found.recent_per_day < 0.2 * (found.ahead_per_day or 0.0)


def test_no_more_than_a_year_stands_for_what_is_to_come() -> None:
    """After 420 days the mean is that of the last 365.25."""
    store = box_of(weather((60, 24.0, 55.0), (361, 10.0, 30.0)), always())
    found = loss(store, 420.0)
    assert found.ahead_days == pytest.approx(365.25)
    assert found.ahead_per_day == pytest.approx(mean(store, 420.0 - 365.25, 420.0), rel=1e-9)


def test_what_was_before_the_present_box_does_not_stand_for_it() -> None:
    """A lot that came fifty days ago: the mean is of these fifty, and of thirty for the present."""
    lot = Lot("L1", "onion", label_pct=92.0, label_date=date(2024, 1, 1), prior_rh_pct=60.0)
    store = box_of(weather((100.5, 15.0, 35.0)), always(50.0), lot=lot)
    found = loss(store, 100.0)
    assert found.ahead_days == pytest.approx(50.0)
    assert found.ahead_per_day == pytest.approx(mean(store, 50.0, 100.0), rel=1e-9)
    assert found.recent_per_day == pytest.approx(mean(store, 70.0, 100.0), rel=1e-9)


@pytest.mark.parametrize(("days", "of_the_moment"), [(0.9, True), (1.0, False), (3.0, False)])
def test_less_than_a_day_gives_no_mean(days: float, *, of_the_moment: bool) -> None:
    """Until a day has passed the rate of the moment stands for the mean."""
    lot = Lot("L1", "onion", label_pct=92.0, label_date=date(2024, 1, 11))
    store = box_of(weather((11, 22.0, 60.0), (4, 6.0, 30.0)), always(10.0), lot=lot)
    found = loss(store, 10.0 + days)
    expected = found.rate_per_day if of_the_moment else mean(store, 10.0, 10.0 + days)
    assert found.recent_per_day == pytest.approx(expected, rel=1e-9)
    assert found.ahead_per_day == pytest.approx(expected, rel=1e-9)


def test_doubt_grows_with_the_share_of_the_loss_that_ran_cold() -> None:
    """Onion's factor is 4, doubled for loss below 5 °C: in between by the share, as logarithms.

    Factors: outcomes of published storage trials. Loss before the box counts in the whole.
    """
    lot = Lot("L1", "onion", label_pct=92.0, label_date=date(2023, 12, 1))
    store = box_of(weather((60, 2.0, 60.0), (20.5, 15.0, 60.0)), always(), lot=lot)
    found = loss(store, 80.0)
    assert found.observed_probit is not None
    assert found.unobserved_probit is not None
    assert found.cold_probit is not None
    whole = found.observed_probit + found.unobserved_probit
    assert 0.02 < found.cold_probit / whole < 0.9
    assert found.unobserved_probit > 0.1 * whole
    expected = 4.0 * math.exp(math.log(2.0) * found.cold_probit / whole)
    assert found.factor == pytest.approx(expected, rel=1e-3)


def test_a_lot_without_date_and_box_has_lost_nothing_that_is_known() -> None:
    """No date and no box: there is no origin, and no loss to count from it."""
    store = MemoryStore()
    store.save_lot(Lot("L1", "onion", label_pct=92.0))
    lost = loss_at(store, store.lot("L1"), np.array([D0, D0 + 400 * DAY_MS]))
    assert lost.tolist() == [0.0, 0.0]
    assert lot_loss(store, store.lot("L1"), D0).total_probit == 0.0
