"""Ten years of minutes of one sensor in one box, made once and shared by several benches."""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np

from hilum.domain.model import (
    Box,
    BoxType,
    CurveKey,
    Floats,
    Ints,
    Placement,
    Reading,
    Role,
    Sensor,
    Wrap,
)
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore

READINGS = 5_259_600
T0 = 1_400_000_000_000
SENSOR = "lane/a1"
MODELS = (
    "allium-cepa/oil23.5/small",
    "lactuca-sativa*0.4/oil37/small",
    "gossypium-hirsutum/oil21/small",
    "pisum-sativum/oil1.5/large",
    "zea-mays/d245-maize-yellow-dent/large",
    "brassica-napus/oil45/small",
)
WRAPS = (Wrap.PAPER, Wrap.POLY)


def asked() -> int:
    """How many readings the command line asks for."""
    return int(sys.argv[1]) if len(sys.argv) > 1 else READINGS


def history(count: int) -> tuple[Ints, Floats, Floats]:
    """Minutes with weather."""
    rng = np.random.default_rng(1)
    time_ms = T0 + np.arange(count) * 60_000 + rng.integers(0, 900, count)
    day = (time_ms - T0) / 86_400_000
    temp_c = 15 + 8 * np.sin(day * 2 * np.pi / 365) + 2 * np.sin(day * 2 * np.pi)
    rh_pct = 45 + 10 * np.sin(day * 2 * np.pi / 365) + rng.normal(0, 0.5, count)
    return time_ms, np.round(temp_c, 2), np.round(rh_pct, 2)


def fill(store: SqliteStore, count: int, boxes: int = 1, step: int = 1) -> None:
    """Put readings of so many boxes in, every ``step`` minutes, in the order they would arrive."""
    time_ms, temp_c, rh_pct = (column[::step].tolist() for column in history(count))
    sensors = [SENSOR, *(f"lane/a{number}" for number in range(2, boxes + 1))]
    for place, sensor in enumerate(sensors):
        slug = f"tub-{place}" if place else "tub"
        store.save_box(Box(slug, slug.title(), BoxType.TUB))
        store.save_sensor(Sensor(sensor, T0))
        store.add_placement(Placement(0, sensor, slug, Role.INSIDE, 0))
        store.add_curves([CurveKey(slug, model, wrap) for model in MODELS for wrap in WRAPS])
    part = 100_000 // boxes
    for start in range(0, len(time_ms), part):
        here = slice(start, start + part)
        moments = zip(time_ms[here], temp_c[here], rh_pct[here], strict=True)
        store.add([Reading(sensor, *each) for each in moments for sensor in sensors], T0)


@contextmanager
def database(count: int, kept: Path | None = None) -> Iterator[Path]:
    """Give a database with these readings and their ledger; made unless one is kept there."""
    with tempfile.TemporaryDirectory(prefix="hilum-bench-") as folder:
        path = kept or Path(folder) / "decade.sqlite3"
        if not path.exists():
            with closing(SqliteStore(path)) as store:
                fill(store, count)
                LedgerKeeper(store).update()
        yield path
