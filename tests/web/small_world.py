"""A small invented place for page tests: four boxes, a few lots, forty days of readings."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    BoxType,
    Event,
    EventType,
    GerminationTest,
    Lot,
    Placement,
    Reading,
    Reject,
    RejectReason,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.memory import MemoryStore

NOW_MS = 1_764_061_920_000
"""2025-11-25 09:12 UTC."""

DAYS = 40
STEP_MS = 1_200_000
AGE_MS = 600_000
START_MS = NOW_MS - DAYS * MS_PER_DAY


@dataclass
class FixedClock:
    """A clock that stands until it is set."""

    now: int = NOW_MS

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return self.now


def add_readings(
    store: Store,
    sensor: str,
    *,
    erh_pct: float,
    temp_c: float,
    silent_ms: int = 0,
    first_ms: int = START_MS,
    rise: float = 0,
) -> None:
    """Add daily waves around two values up to now, or until some time ago, with one gap."""
    last_ms = NOW_MS - AGE_MS - silent_ms
    time_ms = np.arange(last_ms, first_ms, -STEP_MS)[::-1]
    day = (time_ms - START_MS) / MS_PER_DAY
    keep = (day < 36.2) | (day > 36.9)
    wave = np.sin(2 * np.pi * day)
    temps = temp_c + 1.5 * wave + 0.4 * np.sin(day)
    erhs = erh_pct + 1.2 * wave + 2.5 * np.sin(day / 6) + rise * np.clip((day - 32) / 8, 0, 1)
    readings = [
        Reading(sensor, int(t), float(round(c, 2)), float(round(h, 2)), battery_pct=81.0)
        for t, c, h in zip(time_ms[keep], temps[keep], erhs[keep], strict=True)
    ]
    store.add(readings, NOW_MS)
    store.refresh_tiers({sensor: START_MS})
    store.save_sensor(Sensor(sensor, START_MS, int(time_ms[-1]), online=True))


def add_boxes(store: Store) -> None:
    """Add a damp drawer, a dry tub, a cold jar and a box without a sensor."""
    for box in (
        Box("drawer", "Card-index drawer", BoxType.DRAWER, note="Oak, by the north window."),
        Box("tub", "Gasketed tub", BoxType.TUB, 15.0, 30.0, volume_l=24.0),
        Box("jar", "Jar in the fridge", BoxType.FRIDGE, 12.0, 30.0, volume_l=1.5),
        Box("shoebox", "Shoebox of flowers", BoxType.CARDBOARD),
    ):
        store.save_box(box)
    for slug, sensor in (("drawer", "lane/a1"), ("tub", "lane/b2"), ("jar", "lane/c3")):
        store.add_placement(Placement(0, sensor, slug, Role.INSIDE, START_MS))


def add_lots(store: Store) -> None:
    """Add a few lots with stays and a test."""
    for code, kind, variety, box, wrap in (
        ("L-0001", "onion", "Marsh Amber", "drawer", Wrap.PAPER),
        ("L-0002", "lettuce", "Grey Wing", "tub", Wrap.PAPER),
        ("L-0003", "pea", "Tall Harbour", "tub", Wrap.POLY),
        ("L-0004", "tomato", "Ember", "jar", Wrap.FOIL),
        ("L-0005", "garlic", "White Strand", "drawer", Wrap.OPEN),
    ):
        label = date(2024, 10, 1)
        store.save_lot(
            Lot(code, kind, variety, "own", 2024, 92.0, 200, label, None, seeds=400.0, grams=1.6)
        )
        store.add_stay(Stay(0, code, box, wrap, START_MS + MS_PER_DAY))
    store.add_test(GerminationTest(0, "L-0001", date(2025, 9, 20), 50, 43, "paper towel"))


def add_events(store: Store) -> None:
    """Add journal lines and refusals."""
    for hours, kind, box, lot, text in (
        (200, EventType.SWAP, "tub", None, "200 g of gel, dried at 120 °C"),
        (120, EventType.OPENED, "drawer", None, "for ten minutes"),
        (20, EventType.NOTE, None, "L-0001", "Seed looks <small> & pale"),
    ):
        store.add_event(Event(0, NOW_MS - hours * MS_PER_HOUR, kind, box, lot, text=text))
    store.add_rejects(
        [
            Reject(
                NOW_MS - MS_PER_HOUR,
                "hilum/lane/a1/readings",
                RejectReason.FAULT,
                "temperature 85.0 °C is what a probe reports before its first measurement",
                b"{}",
                "lane/a1",
            )
        ]
    )


def small_world() -> Store:
    """Build the whole place in memory."""
    store = MemoryStore()
    add_readings(store, "lane/a1", erh_pct=36.0, temp_c=18.0, rise=22.0)
    add_readings(store, "lane/b2", erh_pct=24.0, temp_c=17.0)
    add_readings(store, "lane/c3", erh_pct=19.0, temp_c=4.0, silent_ms=9 * MS_PER_HOUR)
    add_readings(store, "lane/spare", erh_pct=48.0, temp_c=20.0, first_ms=NOW_MS - MS_PER_DAY)
    add_boxes(store)
    add_lots(store)
    add_events(store)
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    return store
