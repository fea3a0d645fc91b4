"""Whether a box costs its seed more life than planned, against the plain equations."""

from datetime import date

import pytest

from hilum.domain.alerts import RuleSetting
from hilum.domain.model import Box, BoxType, Lot, Placement, Reading, Role, Sensor, Stay, Wrap
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.keeping.watching.lossahead import loss_ahead
from hilum.stores.memory import MemoryStore
from keeping.plain import PlainSeed
from keeping.watching import DAY, HOUR, T0, Small

NOW = T0 + 60 * DAY
ONION = PlainSeed()


def kept(box_type: BoxType, temp_c: float, rh_pct: float) -> MemoryStore:
    """Onion in paper for 60 days of steady air, and seed that has no life model."""
    store = MemoryStore()
    store.save_box(Box("tub", "Blue tub", box_type))
    store.save_sensor(Sensor("home/tub", 0))
    store.add_placement(Placement(0, "home/tub", "tub", Role.INSIDE, 0))
    store.add([Reading("home/tub", t, temp_c, rh_pct) for t in range(T0, NOW + 1, HOUR)], NOW)
    for code, kind, label in (("A1", "onion", 92.0), ("A2", "dahlia-tuber", 90.0)):
        store.save_lot(Lot(code, kind, label_pct=label, label_date=date(2025, 1, 1)))
        store.add_stay(Stay(0, code, "tub", Wrap.PAPER, T0))
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    return store


@pytest.mark.parametrize(
    ("box_type", "temp_c", "rh_pct", "planned_c", "planned_pct"),
    [
        (BoxType.TUB, 20.0, 60.0, 20.0, 35.0),
        (BoxType.TUB, 26.0, 50.0, 20.0, 35.0),
        (BoxType.FRIDGE, 20.0, 60.0, 10.0, 35.0),
        (BoxType.DRAWER, 25.0, 75.0, 20.0, 65.0),
    ],
)
def test_the_ratio_is_that_of_the_equation(
    box_type: BoxType, temp_c: float, rh_pct: float, planned_c: float, planned_pct: float
) -> None:
    """Loss of the last 30 days over the planned loss, by Ellis & Roberts 1980 in plain code."""
    store = kept(box_type, temp_c, rh_pct)
    found = loss_ahead(store, store.box("tub"), NOW, 1.5)
    wanted = ONION.rate(ONION.mc(rh_pct, temp_c), temp_c) / ONION.rate(
        ONION.mc(planned_pct, planned_c), planned_c
    )
    assert found is not None
    assert found.times == pytest.approx(wanted, rel=0.02)
    assert found.worst == "A1"
    assert found.lots == ["A1"]
    again = loss_ahead(store, store.box("tub"), NOW, wanted * 1.1)
    assert again is not None
    assert again.lots == []


def test_slow_loss_can_wait() -> None:
    """A hundred times nothing is nothing: below a hundredth of the budget a month it is 0."""
    store = kept(BoxType.FREEZER, 8.0, 30.0)
    found = loss_ahead(store, store.box("tub"), NOW, 3.0)
    assert found is not None
    assert found.times == 0.0


def test_nothing_to_compare() -> None:
    """Lots that came lately, without a label, or without a life model say nothing."""
    store = kept(BoxType.TUB, 20.0, 60.0)
    assert loss_ahead(store, store.box("tub"), T0 + 13 * DAY, 3.0) is None
    store.save_lot(Lot("A1", "onion"))
    assert loss_ahead(store, store.box("tub"), NOW, 3.0) is None
    store.save_box(Box("empty", "Empty", BoxType.TUB))
    assert loss_ahead(store, store.box("empty"), NOW, 3.0) is None


def test_it_is_told_after_a_day_and_over_later() -> None:
    """Looked at once a day, raised on the second look, with the worst lot named."""
    small = Small()
    small.store = kept(BoxType.TUB, 26.0, 65.0)
    small.clock.time_ms = NOW
    small.watch._store = small.engine._store = small.store
    small.watch._paces._store = small.store
    for rule in ("damp", "mould", "warm", "silent", "stuck"):
        small.store.save_rule_setting(RuleSetting(rule, on=False))
    small.engine.round()
    assert small.told() == []
    small.clock.time_ms += DAY
    small.engine.round()
    assert small.told() == [("loss", "raised")]
    alert = small.open("loss")
    assert alert is not None
    assert alert.lot == "A1"
    assert alert.sentence.endswith("times as fast as planned: A1.")
