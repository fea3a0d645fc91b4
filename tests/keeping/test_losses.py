"""What is said of a lot: losses over stays, moves, silences and unmeasured time."""

import csv
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from hilum.domain.model import Lot, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.lots.losses import (
    LotLoss,
    loss_at,
    lot_loss,
)
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.memory import MemoryStore
from keeping.plain import PlainSeed, plain_curve
from keeping.worlds import DAY_MS, HOUR_MS, STORES, Conditions, add_box, add_readings

D0 = 1_704_067_200_000
"""2024-01-01 00:00 UTC."""

NEW_YEAR = date(2024, 1, 1)
ONION_SEED = PlainSeed()


def steady(
    days: float, temp_c: float = 20.0, rh_pct: float = 40.0, start: int = D0
) -> list[Conditions]:
    """A reading every ten minutes, always the same."""
    return [(start + i * 600_000, temp_c, rh_pct) for i in range(int(days * 144) + 1)]


def world(*stays: Stay, lot: Lot | None = None, boxes: tuple[str, ...] = ("tub",)) -> Store:
    """One onion lot, in boxes each with a sensor of its own name."""
    store = MemoryStore()
    for slug in boxes:
        add_box(store, slug, f"lane/{slug}")
    store.save_lot(lot or Lot("L1", "onion", label_pct=92.0, label_date=NEW_YEAR))
    for stay in stays:
        store.add_stay(stay)
    return store


def kept_up(store: Store) -> Store:
    """Bring the ledger up to date."""
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    return store


def loss_of(store: Store, at_ms: int) -> LotLoss:
    """Loss of the one lot."""
    return lot_loss(store, store.lot("L1"), at_ms)


def figure(value: float | None) -> float:
    """A figure that must be there."""
    assert value is not None
    return value


def total(store: Store, at_ms: int) -> float:
    """Whole loss of the one lot."""
    return figure(loss_of(store, at_ms).total_probit)


def test_constant_conditions_lose_at_the_published_rate() -> None:
    """Seed in balance with a steady box loses days divided by sigma."""
    store = world(
        Stay(0, "L1", "tub", Wrap.OPEN, D0),
        lot=Lot("L1", "onion", label_date=NEW_YEAR, prior_temp_c=20.0, prior_rh_pct=40.0),
    )
    add_readings(store, steady(50.0), "lane/tub")
    loss = loss_of(kept_up(store), D0 + 50 * DAY_MS)
    # Onion, oil 23.5 %: 8.0 % wet basis at 20 °C and 40 % RH (reference table 1.4 by
    # interpolation: 8.32 at .20, 7.35 at .30); sigma from Ellis & Roberts 1980 with its constants.
    assert figure(loss.mc_wet_pct) == pytest.approx(7.98, abs=0.02)
    rate = ONION_SEED.rate(ONION_SEED.mc(40.0, 20.0), 20.0)
    assert figure(loss.observed_probit) == pytest.approx(50.0 * rate, rel=1e-6)
    assert figure(loss.rate_per_day) == pytest.approx(rate, rel=1e-6)
    assert figure(loss.recent_per_day) == pytest.approx(rate, rel=1e-6)
    assert loss.unobserved_probit == 0.0
    assert loss.covered_s == pytest.approx(50 * 86_400.0)
    assert figure(loss.erh_pct) == pytest.approx(40.0, abs=1e-3)
    assert loss.factor == 4.0  # own species, outcomes of storage trials
    assert loss.notes == ()


def room_climate(path: Path) -> list[Conditions]:
    """The published office readings, taken as UTC."""
    found = []
    with path.open(encoding="utf-8") as lines:
        next(lines)
        for _, when, temp_c, rh_pct, *_ in csv.reader(lines):
            moment = datetime.strptime(when, "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
            found.append((int(moment.timestamp() * 1000), float(temp_c), float(rh_pct)))
    return found


def plain_room_loss(readings: list[Conditions], mc: float) -> float:
    """Integrate onion's loss in paper by small Euler steps and the bare equations."""
    seed, loss = ONION_SEED, 0.0
    for before, here in pairwise(readings):
        days = (here[0] - before[0]) / DAY_MS / 10
        for part in range(10):
            share = (part + 0.5) / 10
            temp_c = before[1] + (here[1] - before[1]) * share
            rh_pct = before[2] + (here[2] - before[2]) * share
            mc += (seed.mc(rh_pct, temp_c) - mc) * days / seed.tau(temp_c)
            loss += seed.rate(mc, temp_c) * days
    return loss


def test_real_room_climate(shared_data: Callable[[str], Path]) -> None:
    """An onion lot in paper in a measured room: the loss of a plain integration, to 0.1 %."""
    readings = room_climate(shared_data("room_climate_2015-02.csv"))
    first, last = readings[0][0], readings[-1][0]
    store = world(
        Stay(0, "L1", "tub", Wrap.PAPER, first), lot=Lot("L1", "onion", prior_rh_pct=50.0)
    )
    add_readings(store, readings, "lane/tub")
    loss = loss_of(kept_up(store), last)
    expected = plain_room_loss(readings, ONION_SEED.mc(50.0, 20.0))
    assert figure(loss.observed_probit) == pytest.approx(expected, rel=1e-3)
    assert loss.covered_s == pytest.approx((last - first) / 1000.0)


@pytest.mark.parametrize("name", STORES)
def test_losses_add_up(name: str, tmp_path: Path) -> None:
    """Loss over two parts of a time is the loss over the whole, at any moment."""
    store = STORES[name](tmp_path)
    add_box(store)
    store.save_lot(Lot("L1", "onion", label_date=NEW_YEAR))
    store.add_stay(Stay(0, "L1", "tub", Wrap.PAPER, D0 + 3 * DAY_MS))
    wave = [(t, 15 + 8 * math.sin(t / DAY_MS), 50 + 20 * math.sin(t / 3e8)) for t, *_ in steady(60)]
    add_readings(store, wave)
    kept_up(store)
    times = np.array([D0 - DAY_MS, D0, *range(D0, D0 + 70 * DAY_MS, 7_654_321)], np.int64)
    line = loss_at(store, store.lot("L1"), times)
    assert line[0] < 0.0 == line[1]
    assert (np.diff(line) >= 0.0).all()
    for i in (10, 200, 500, len(times) - 1):
        assert line[i] == pytest.approx(total(store, int(times[i])), rel=1e-12)
    store.close()


def test_own_start_matters_then_fades() -> None:
    """Two lots that arrive dry and damp lose differently at first and alike in the end."""
    store = world(Stay(0, "L1", "tub", Wrap.OPEN, D0, start_mc_wet_pct=4.0))
    store.save_lot(Lot("L2", "onion", label_date=NEW_YEAR))
    store.add_stay(Stay(0, "L2", "tub", Wrap.OPEN, D0, start_mc_wet_pct=12.0))
    add_readings(store, steady(40), "lane/tub")
    kept_up(store)
    lots = [store.lot(code) for code in ("L1", "L2")]
    at = [
        [figure(lot_loss(store, lot, D0 + d * DAY_MS).total_probit) for d in (5, 20, 40)]
        for lot in lots
    ]
    assert at[1][0] > 1.5 * at[0][0]
    assert at[0][2] - at[0][1] == pytest.approx(at[1][2] - at[1][1], rel=1e-3)
    for start_mc_wet, found in zip((4.0, 12.0), at, strict=True):
        start = (D0, 100 * start_mc_wet / (100 - start_mc_wet))
        plain = plain_curve(PlainSeed(tau_days=1.0), steady(40), 21_600, start)
        assert found[2] == pytest.approx(plain[-1].loss, rel=2e-4)  # moisture rounded on arrival


def test_moving_carries_moisture_and_loss_along() -> None:
    """In the next box a lot starts with the moisture it left with, and its loss goes on."""
    moved = D0 + 10 * DAY_MS
    store = world(
        Stay(0, "L1", "tub", Wrap.OPEN, D0),
        Stay(0, "L1", "jar", Wrap.POLY, moved),
        boxes=("tub", "jar"),
    )
    add_readings(store, steady(30, rh_pct=65.0), "lane/tub")
    add_readings(store, steady(30, rh_pct=20.0, temp_c=5.0), "lane/jar")
    kept_up(store)
    before, after = loss_of(store, moved - 1), loss_of(store, moved + 1)
    assert figure(after.total_probit) == pytest.approx(figure(before.total_probit), rel=1e-6)
    (start_up,) = (key for key in store.curves("jar") if key.start_ms == moved)
    gone = math.exp(-10.0)  # ten time constants of an open wrap
    start = ONION_SEED.mc(65.0, 20.0) * (1 - gone) + ONION_SEED.mc(50.0, 20.0) * gone
    assert start_up.start_mc_dry_pct == pytest.approx(start, abs=6e-4)  # three decimals are kept
    later = loss_of(store, moved + 20 * DAY_MS)
    assert figure(later.temp_c) == 5.0
    target = ONION_SEED.mc(20.0, 5.0)
    end = target + (start - target) * math.exp(-20.0 / PlainSeed(tau_days=90.0).tau(5.0))
    assert store.rows(start_up).mc_dry_pct[-1] == pytest.approx(end, abs=1e-3)
    assert figure(later.total_probit) > figure(after.total_probit)


def test_foil_holds_the_hermetic_limit() -> None:
    """A sealed lot of unknown moisture is taken at the limit for hermetic packing, and says so."""
    store = world(Stay(0, "L1", "tub", Wrap.FOIL, D0))
    add_readings(store, steady(20, rh_pct=80.0), "lane/tub")
    loss = loss_of(kept_up(store), D0 + 20 * DAY_MS)
    # US Federal Seed Act regulations 7 CFR 201.36c: onion 6.5 % moisture in hermetic containers.
    assert figure(loss.mc_wet_pct) == pytest.approx(6.5, abs=0.05)
    mc = 100 * 6.5 / 93.5
    assert loss.observed_probit == pytest.approx(20 * ONION_SEED.rate(mc, 20.0), rel=2e-3)
    assert any("sealed wrap was not measured" in note for note in loss.notes)
    assert loss.wet_s == 0.0


def test_time_before_the_first_box_is_reckoned_apart() -> None:
    """From the label's date to arrival the loss is that of the prior conditions, and unobserved."""
    store = world(
        Stay(0, "L1", "tub", Wrap.PAPER, D0 + 100 * DAY_MS),
        lot=Lot("L1", "onion", label_date=NEW_YEAR, prior_temp_c=22.0, prior_rh_pct=45.0),
    )
    add_readings(store, steady(5, start=D0 + 100 * DAY_MS), "lane/tub")
    loss = loss_of(kept_up(store), D0 + 105 * DAY_MS)
    rate = ONION_SEED.rate(ONION_SEED.mc(45.0, 22.0), 22.0)
    assert loss.unobserved_probit == pytest.approx(100 * rate, rel=1e-9)
    assert loss.unobserved_days == pytest.approx(100.0)
    assert any("about 100 days nobody measured" in note for note in loss.notes)
    assert loss.covered_s == pytest.approx(5 * 86_400.0)


def test_a_label_younger_than_the_stay_counts_from_its_own_date() -> None:
    """Loss before the figure it is set against does not count against it."""
    lot = Lot("L1", "onion", label_date=date(2024, 1, 11))
    store = world(Stay(0, "L1", "tub", Wrap.PAPER, D0), lot=lot)
    add_readings(store, steady(20), "lane/tub")
    kept_up(store)
    whole = lot_loss(store, replace(lot, label_date=NEW_YEAR), D0 + 20 * DAY_MS)
    before = lot_loss(store, replace(lot, label_date=NEW_YEAR), D0 + 10 * DAY_MS)
    rest = figure(whole.total_probit) - figure(before.total_probit)
    assert total(store, D0 + 20 * DAY_MS) == pytest.approx(rest, rel=1e-9)
    assert total(store, D0 + 5 * DAY_MS) == 0.0


def test_a_year_alone_counts_from_an_assumed_day() -> None:
    """Where only the year is known the loss counts from its first of October, and says so."""
    lot = Lot("L1", "onion", year=2023)
    store = world(Stay(0, "L1", "tub", Wrap.PAPER, D0), lot=lot)
    loss = loss_of(store, D0 + DAY_MS)
    assert loss.unobserved_days == pytest.approx((date(2024, 1, 2) - date(2023, 10, 1)).days)
    assert any("counts from 2023-10-01" in note for note in loss.notes)


def test_after_the_last_reading_conditions_are_held() -> None:
    """A silent box goes on as it was: estimated time, and a note once it is longer than a gap."""
    store = world(Stay(0, "L1", "tub", Wrap.OPEN, D0), lot=Lot("L1", "onion", label_date=NEW_YEAR))
    add_readings(store, steady(30, rh_pct=50.0), "lane/tub")
    kept_up(store)
    last = D0 + 30 * DAY_MS
    loss = loss_of(store, last + 10 * DAY_MS)
    rate = ONION_SEED.rate(ONION_SEED.mc(50.0, 20.0), 20.0)
    assert loss.observed_probit == pytest.approx(40 * rate, rel=1e-5)
    assert loss.estimated_s == pytest.approx(10 * 86_400.0)
    assert any("silent for about 10 days" in note for note in loss.notes)
    assert any("25 % of its time" in note for note in loss.notes)
    fresh = loss_of(store, last + HOUR_MS)
    assert fresh.notes == ()


def test_held_conditions_equal_a_long_step() -> None:
    """Seed that has not settled goes on settling while its box is silent."""
    store = world(Stay(0, "L1", "tub", Wrap.OPEN, D0, start_mc_wet_pct=4.0))
    add_readings(store, steady(1), "lane/tub")
    kept_up(store)
    plain = plain_curve(PlainSeed(tau_days=1.0), steady(12), 21_600, (D0, 100 * 4.0 / 96.0))
    assert total(store, D0 + 12 * DAY_MS) == pytest.approx(plain[-1].loss, rel=2e-3)


def test_a_box_without_readings_is_reckoned_and_said() -> None:
    """Where no sensor stands the loss is that of the prior conditions, with a note."""
    store = world(Stay(0, "L1", "tub", Wrap.PAPER, D0))
    loss = loss_of(kept_up(store), D0 + 10 * DAY_MS)
    rate = ONION_SEED.rate(ONION_SEED.mc(50.0, 20.0), 20.0)
    assert loss.observed_probit == 0.0
    assert loss.unobserved_probit == pytest.approx(10 * rate, rel=1e-9)
    assert any("no readings from Tub yet" in note for note in loss.notes)


def test_a_stay_older_than_the_first_reading_is_estimated() -> None:
    """Time in a box before its first reading counts with that reading, as estimated."""
    store = world(Stay(0, "L1", "tub", Wrap.OPEN, D0))
    add_readings(store, steady(5, start=D0 + 10 * DAY_MS), "lane/tub")
    loss = loss_of(kept_up(store), D0 + 15 * DAY_MS)
    assert loss.estimated_s == pytest.approx(10 * 86_400.0)
    assert loss.covered_s == pytest.approx(5 * 86_400.0)
    assert loss.unobserved_days == 0.0
    sealed = world(Stay(0, "L1", "tub", Wrap.FOIL, D0, start_mc_wet_pct=6.0))
    add_readings(sealed, steady(5, start=D0 + 10 * DAY_MS), "lane/tub")
    loss = loss_of(kept_up(sealed), D0 + 15 * DAY_MS)
    assert loss.estimated_s == pytest.approx(10 * 86_400.0)
    rate = ONION_SEED.rate(100 * 6.0 / 94.0, 20.0)
    assert loss.observed_probit == pytest.approx(15 * rate, rel=2e-4)


def test_wet_and_very_dry_seed_is_said() -> None:
    """Figures outside the equation's range never stand without a word."""
    for mc_wet_pct, word in ((16.0, "too wet now"), (2.0, "very dry")):
        store = world(Stay(0, "L1", "tub", Wrap.FOIL, D0, start_mc_wet_pct=mc_wet_pct))
        add_readings(store, steady(2), "lane/tub")
        loss = loss_of(kept_up(store), D0 + 2 * DAY_MS)
        assert any(word in note for note in loss.notes)
        assert (figure(loss.wet_s) > 0) == (mc_wet_pct > 15)


def test_cold_and_dry_loss_is_doubted_more() -> None:
    """Loss below 5 °C doubles the factor and loss below 20 % RH adds half, as the rule says."""
    cases = ((20.0, 40.0, 4.0), (4.0, 40.0, 8.0), (20.0, 15.0, 6.0), (4.0, 15.0, 12.0))
    for temp_c, rh_pct, factor in cases:
        lot = Lot("L1", "onion", label_date=NEW_YEAR, prior_temp_c=temp_c, prior_rh_pct=rh_pct)
        store = world(Stay(0, "L1", "tub", Wrap.OPEN, D0), lot=lot)
        add_readings(store, steady(3, temp_c, rh_pct), "lane/tub")
        loss = loss_of(kept_up(store), D0 + 3 * DAY_MS)
        assert figure(loss.factor) == pytest.approx(factor, rel=1e-6)


@pytest.mark.parametrize("kind", ["onion-set", "no-such-kind"])
def test_kinds_without_a_model_have_no_figures(kind: str) -> None:
    """Where no life model holds there are words instead of numbers."""
    store = kept_up(world(Stay(0, "L1", "tub", Wrap.PAPER, D0)))
    loss = lot_loss(store, Lot("L1", kind), D0 + DAY_MS)
    assert not loss.modelled
    assert loss.total_probit is None
    assert loss.rate_per_day is None
    assert len(loss.notes) == 1
    assert np.isnan(loss_at(store, Lot("L1", kind), np.array([D0]))).all()


def test_a_lot_in_no_box_is_reckoned() -> None:
    """A lot that was never put anywhere, or taken out, loses at its prior conditions."""
    store = world()
    rate = ONION_SEED.rate(ONION_SEED.mc(50.0, 20.0), 20.0)
    loss = loss_of(store, D0 + 10 * DAY_MS)
    assert loss.unobserved_probit == pytest.approx(10 * rate, rel=1e-9)
    assert any("in no box now" in note for note in loss.notes)
    undated = lot_loss(store, Lot("L9", "onion"), D0)
    assert undated.total_probit == 0.0
