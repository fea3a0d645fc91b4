"""Where a lot's loss came about: the three parts add up to the whole and are what they say."""

from datetime import date

import numpy as np
import pytest

from hilum.domain.model import Lot, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.lots.losses import lot_loss, lot_loss_parts
from hilum.keeping.lots.lossparts import LossParts
from keeping.test_losses import D0, NEW_YEAR, ONION_SEED, kept_up, steady, world
from keeping.worlds import DAY_MS, add_readings, history

RATE = ONION_SEED.rate(ONION_SEED.mc(40.0, 20.0), 20.0)
"""Loss a day at 20 °C and 40 %, by the bare equations with the published constants."""


def parts_of(store: Store, at_ms: int) -> LossParts:
    """Parts of the loss of the one lot."""
    found = lot_loss_parts(store, store.lot("L1"), at_ms)
    assert found is not None
    return found


def onion(label: date = NEW_YEAR) -> Lot:
    """An onion lot that lived as its box is before it came."""
    return Lot("L1", "onion", label_date=label, prior_temp_c=20.0, prior_rh_pct=40.0)


def test_days_fall_to_the_part_they_belong_to() -> None:
    """Steady seed: days before the box, with readings, in a gap and in no box, each at one rate."""
    stay = Stay(0, "L1", "tub", Wrap.OPEN, D0 + 30 * DAY_MS, to_ms=D0 + 80 * DAY_MS)
    store = world(stay, lot=onion())
    add_readings(store, steady(20, start=D0 + 30 * DAY_MS), "lane/tub")
    add_readings(store, steady(18, start=D0 + 62 * DAY_MS), "lane/tub")
    parts = parts_of(kept_up(store), D0 + 85 * DAY_MS)
    assert parts.before_probit == pytest.approx(30 * RATE, rel=1e-6)
    assert parts.measured_probit == pytest.approx(38 * RATE, rel=1e-5)
    assert parts.estimated_probit == pytest.approx((12 + 5) * RATE, rel=1e-5)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_parts_add_up_to_the_whole(seed: int) -> None:
    """However the readings come, with silences and moves, no loss is missed or counted twice."""
    readings = history(seed, 4000, every_s=600.0)
    first, last = readings[0][0], readings[-1][0]
    moved = first + (last - first) // 3
    store = world(
        Stay(0, "L1", "tub", Wrap.PAPER, first - 9 * DAY_MS, to_ms=moved),
        Stay(0, "L1", "jar", Wrap.PAPER, moved + DAY_MS),
        lot=Lot("L1", "onion", label_date=date(2023, 6, 1)),
        boxes=("tub", "jar"),
    )
    add_readings(store, readings, "lane/tub")
    add_readings(store, readings, "lane/jar")
    kept_up(store)
    for at_ms in np.linspace(first - 20 * DAY_MS, last + 30 * DAY_MS, 7).astype(int).tolist():
        parts, whole = parts_of(store, at_ms), lot_loss(store, store.lot("L1"), at_ms)
        assert parts.total_probit == pytest.approx(whole.total_probit, rel=1e-9)
        assert min(parts.before_probit, parts.measured_probit, parts.estimated_probit) >= -1e-12
    assert parts.measured_probit > 0.0
    assert parts.estimated_probit > 0.0


def test_a_lot_never_in_a_box_lost_all_before() -> None:
    """Without a stay nothing was measured nor bridged; without a life model there are no parts."""
    store = kept_up(world(lot=onion()))
    parts = parts_of(store, D0 + 50 * DAY_MS)
    assert parts.before_probit == pytest.approx(50 * RATE, rel=1e-6)
    assert (parts.measured_probit, parts.estimated_probit) == (0.0, 0.0)
    assert lot_loss_parts(store, Lot("L1", "onion-set"), D0) is None
