"""Stores with many lots of random lives: boxes with and without readings, moves, gaps, wraps."""

from datetime import UTC, date, datetime, timedelta

import numpy as np

from hilum.domain.model import Box, BoxType, GerminationTest, Lot, Stay, Wrap
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.memory import MemoryStore
from keeping.worlds import DAY_MS, HOUR_MS, T0, add_box, add_readings, history

KINDS = ("onion", "lettuce", "sweet-corn", "pea", "tomato", "carrot", "potato", "oak", "no-such")
BOXES = ("tub", "jar", "drawer", "new")
DAYS = 40
"""Readings go on for about so many days; the last box has none."""


def lot_world(seed: int, count: int = 40) -> MemoryStore:
    """A kept store: the same number, the same lots."""
    rng, store = np.random.default_rng((5, seed)), MemoryStore()
    for number, slug in enumerate(BOXES[:-1]):
        add_box(store, slug, f"lane/{slug}")
        readings = history(seed * 7 + number, 1500, every_s=DAYS * 40.0)
        add_readings(store, readings, f"lane/{slug}")
    store.save_box(Box(BOXES[-1], "New", BoxType.TUB))
    lots = [_lot(rng, number) for number in range(count)]
    store.save_lots(lots)
    for lot in lots:
        for stay in _stays(rng, lot):
            store.add_stay(stay)
        for _ in range(rng.choice(4, p=(0.5, 0.25, 0.15, 0.1))):
            on = _day(int(rng.integers(-400, DAYS + 10)))
            store.add_test(GerminationTest(0, lot.code, on, 50, int(rng.integers(0, 51))))
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    return store


def _day(number: int) -> date:
    return datetime.fromtimestamp(T0 / 1000, UTC).date() + timedelta(days=number)


def _lot(rng: np.random.Generator, number: int) -> Lot:
    dated, year = rng.random() < 0.6, rng.random() < 0.5
    return Lot(
        f"L{number:03d}",
        str(rng.choice(KINDS, p=(0.2, 0.15, 0.15, 0.1, 0.15, 0.1, 0.05, 0.05, 0.05))),
        year=2022 if year else None,
        label_pct=float(rng.integers(40, 100)) if rng.random() < 0.8 else None,
        label_date=_day(int(rng.integers(-900, DAYS + 10))) if dated else None,
        prior_temp_c=float(rng.choice([20.0, 4.0, 26.0])),
        prior_rh_pct=float(rng.choice([50.0, 12.0, 90.0])),
    )


def _stays(rng: np.random.Generator, lot: Lot) -> list[Stay]:
    """None to three stays, some right after each other, the last one open more often than not."""
    found: list[Stay] = []
    from_ms = T0 + int(rng.integers(-30 * 24, DAYS * 24)) * HOUR_MS
    for _ in range(int(rng.choice(4, p=(0.1, 0.5, 0.25, 0.15)))):
        to_ms = from_ms + int(rng.exponential(12.0) * DAY_MS) + 1
        wrap = Wrap(str(rng.choice(["open", "paper", "poly", "foil", "jar"])))
        mc = float(rng.uniform(4.0, 14.0)) if rng.random() < 0.15 else None
        box = str(rng.choice(BOXES, p=(0.4, 0.3, 0.2, 0.1)))
        found.append(Stay(0, lot.code, box, wrap, from_ms, to_ms, mc))
        from_ms = to_ms + int(rng.choice([0, 3 * DAY_MS]))
    if found and rng.random() < 0.7:
        last = found.pop()
        found.append(Stay(0, lot.code, last.box, last.wrap, last.from_ms, None))
    return found
