"""Small invented boxes with random histories, for tests of the ledger."""

from collections.abc import Callable, Sequence
from dataclasses import fields
from pathlib import Path

import numpy as np

from hilum.domain.model import Box, BoxType, CurveKey, LedgerRows, Placement, Reading, Role, Sensor
from hilum.domain.ports import Store
from hilum.stores.memory import MemoryStore
from hilum.stores.sqlite import SqliteStore

ONION = "allium-cepa/oil23.5/small"
MAIZE = "zea-mays/d245-maize-yellow-dent/large"
T0 = 1_700_000_000_000
HOUR_MS = 3_600_000
DAY_MS = 86_400_000
SENSOR = "lane/a1"

Conditions = tuple[int, float, float]

STORES: dict[str, Callable[[Path], Store]] = {
    "memory": lambda _: MemoryStore(),
    "sqlite": lambda folder: SqliteStore(folder / "hilum.sqlite3"),
}


def history(seed: int, count: int, every_s: float = 60.0) -> list[Conditions]:
    """Readings at random steps, with silences from minutes to two days, from frost to damp heat."""
    rng = np.random.default_rng(seed)
    step_s = 5.0 + rng.exponential(every_s, count)
    step_s[rng.random(count) < 0.01] *= 60.0
    step_s[rng.random(count) < 0.003] += rng.uniform(0.0, 48 * 3600.0)
    time_ms = T0 + np.cumsum((step_s * 1000).astype(np.int64))
    day = (time_ms - T0) / DAY_MS
    temp_c = 10.0 + 16.0 * np.sin(day * 2.1) + rng.normal(0.0, 1.0, count)
    rh_pct = np.clip(
        55.0 + 50.0 * np.sin(day * 0.9 + seed) + rng.normal(0.0, 2.0, count), 0.0, 100.0
    )
    return list(zip(time_ms.tolist(), temp_c.tolist(), rh_pct.tolist(), strict=True))


def add_box(store: Store, slug: str = "tub", sensor: str = SENSOR, gap_limit_s: int = 21600) -> Box:
    """Add a box whose inside sensor has always stood there."""
    box = Box(slug, slug.title(), BoxType.TUB, gap_limit_s=gap_limit_s)
    store.save_box(box)
    store.save_sensor(Sensor(sensor, 0))
    store.add_placement(Placement(0, sensor, slug, Role.INSIDE, 0))
    return box


def add_readings(store: Store, readings: Sequence[Conditions], sensor: str = SENSOR) -> None:
    """Hand readings over in the order given."""
    store.add([Reading(sensor, *reading) for reading in readings], T0)


def bits(store: Store) -> dict[CurveKey, list[bytes]]:
    """Every row of every curve, to the last bit."""
    return {key: row_bits(store.rows(key)) for key in store.curves()}


def row_bits(rows: LedgerRows) -> list[bytes]:
    """Columns of rows as bytes."""
    return [getattr(rows, field.name).tobytes() for field in fields(rows)]
