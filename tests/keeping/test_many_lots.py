"""Many lots asked for at once: the same answers as one by one, over lots of random lives."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from hilum.keeping.lots.life import Lives
from hilum.keeping.lots.losses import Losses, loss_at, lot_loss
from hilum.keeping.lots.outlook import lot_case, lot_cases
from hilum.keeping.lots.snapshot import Snapshot
from hilum.keeping.reckoning.course import model_of
from hilum.stores.memory import MemoryStore
from keeping.lot_worlds import DAYS, lot_world
from keeping.worlds import DAY_MS, T0

WORLDS = range(3)
TIMES = tuple(
    T0 + int(day * DAY_MS) + 7 for day in (-200, -3.3, 2.0, 11.6, DAYS / 2, DAYS, 2 * DAYS, 900)
)


@cache
def world(seed: int) -> MemoryStore:
    """One of the worlds, made once."""
    return lot_world(seed)


@pytest.mark.parametrize("seed", WORLDS)
def test_many_lots_lose_what_each_loses_alone(seed: int) -> None:
    """Every figure and note of a batch is that of a batch of one, to the last bit."""
    store = world(seed)
    losses = Losses(Snapshot(store).store, store.lots())
    for at_ms in TIMES:
        assert losses.up_to(at_ms) == [lot_loss(store, lot, at_ms) for lot in store.lots()]


@pytest.mark.parametrize("seed", WORLDS)
def test_many_lots_at_many_times(seed: int) -> None:
    """Losses of lots at times, in any order and more than once, are those of each lot alone."""
    store, rng = world(seed), np.random.default_rng(seed)
    lots = store.lots()
    which = rng.integers(0, len(lots), 300)
    times_ms = rng.choice(TIMES, 300)
    found = Losses(Snapshot(store).store, lots).since_origin(which, times_ms)
    alone = [loss_at(store, lots[lot], times_ms[i : i + 1])[0] for i, lot in enumerate(which)]
    np.testing.assert_array_equal(found, alone)


@pytest.mark.parametrize("seed", WORLDS)
def test_all_lots_on_a_day_are_looked_up_alike(seed: int) -> None:
    """The losses of all lots on a day are those asked for lot by lot, to rounding."""
    store = world(seed)
    pairs = [(lot, model) for lot in store.lots() if (model := model_of(lot.kind)) is not None]
    lives = Lives(store, [lot for lot, _ in pairs], [model for _, model in pairs])
    every = np.arange(len(pairs))
    for at_ms in TIMES:
        singly = lives.losses(every, np.full(len(every), at_ms))
        np.testing.assert_allclose(lives.losses_on(at_ms), singly, rtol=1e-12)


@pytest.mark.parametrize("seed", WORLDS)
def test_many_cases_are_those_of_each_alone(seed: int) -> None:
    """Evidence, tests and shift of a batch are those of a batch of one, to the last bit."""
    store = world(seed)
    for at_ms in TIMES[2:6]:
        many = lot_cases(Snapshot(store).store, store.lots(), at_ms)
        assert many == [lot_case(store, lot, at_ms) for lot in store.lots()]


def test_the_worlds_hold_every_turn_a_life_can_take() -> None:
    """Lots settled and in their start-up, sealed, moved, between boxes, unread and not modelled."""
    seen: set[str | int] = set()
    for store in map(world, WORLDS):
        for loss in Losses(store, store.lots()).up_to(TIMES[5]):
            seen |= {note.split(" ", 1)[0] for note in loss.notes}
            seen.add("cold" if loss.cold_probit else "warm")
        stays = store.stays()
        seen |= {len([stay for stay in stays if stay.lot == lot.code]) for lot in store.lots()}
        seen |= {stay.wrap.value for stay in stays}
    words = {"For", "It", "There", "Only", "No", "Its", "The", "cold", "warm"}
    assert seen >= words | {0, 1, 2, 3} | {"open", "paper", "poly", "foil", "jar"}


def test_no_lots_at_all() -> None:
    """Nothing asked for gives nothing, and so do lots none of which is modelled."""
    store = world(0)
    assert Losses(store, []).up_to(T0) == []
    unknown = [replace(lot, kind="no-such") for lot in store.lots()[:2]]
    assert not any(loss.modelled for loss in Losses(store, unknown).up_to(T0))
    assert len(Lives(store, [], []).losses_on(T0)) == 0
