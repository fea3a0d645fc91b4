"""What it costs to keep the ledger of 1,000 boxes up to date while they speak once a minute.

``python tests/bench/bench_live.py [boxes]``: each box has twelve curves, and a sensor that sent
readings since midnight. An hour of readings is added and worked off in one round, then another
minute, as a service does that is never left alone. Processor time of the whole process counts,
adding the readings apart.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench.decade import MODELS, WRAPS
from bench.rows import Row, ms, table
from hilum.domain.model import (
    Box,
    BoxType,
    CurveKey,
    Placement,
    Reading,
    Role,
    Sensor,
)
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore

BOXES = 1_000
MIDNIGHT_MS = 1_772_323_200_000  # 2026-03-01
MINUTE_MS = 60_000
HOURS = 12  # what a day has seen on average when the next hour comes


def fill(store: SqliteStore, boxes: int) -> None:
    """Boxes with twelve curves each."""
    for number in range(boxes):
        box, sensor = f"b{number}", f"lane/s{number}"
        store.save_box(Box(box, f"Box {number}", BoxType.TUB))
        store.save_sensor(Sensor(sensor, MIDNIGHT_MS))
        store.add_placement(Placement(0, sensor, box, Role.INSIDE, 0))
        store.add_curves([CurveKey(box, model, wrap) for model in MODELS for wrap in WRAPS])


def minutes(boxes: int, first: int, count: int) -> list[Reading]:
    """Readings of all boxes over some minutes, in the order they arrive."""
    return [
        Reading(
            f"lane/s{box}",
            MIDNIGHT_MS + minute * MINUTE_MS + box % 60_000,
            15 + minute % 97 / 50,
            40 + (minute + box) % 89 / 20,
        )
        for minute in range(first, first + count)
        for box in range(boxes)
    ]


def taken(run: Callable[[], object]) -> float:
    """Processor time of one run [s]."""
    start = time.process_time()
    run()
    return time.process_time() - start


def measure(boxes: int = BOXES, times: int = 3) -> list[Row]:
    """Time rounds of an hour and of a minute."""
    hour_s, minute_s, add_s = [], [], []
    with (
        tempfile.TemporaryDirectory(prefix="hilum-bench-") as folder,
        closing(SqliteStore(Path(folder) / "live.sqlite3")) as store,
    ):
        fill(store, boxes)
        keeper = LedgerKeeper(store)
        store.add(minutes(boxes, 0, 60 * HOURS), MIDNIGHT_MS)
        keeper.update()
        for at in range(60 * HOURS, 60 * HOURS + 120 * times, 120):
            add_s.append(taken(partial(store.add, minutes(boxes, at, 60), MIDNIGHT_MS)))
            hour_s.append(taken(keeper.update))
            store.add(minutes(boxes, at + 60, 1), MIDNIGHT_MS)
            minute_s.append(taken(keeper.update))
            store.add(minutes(boxes, at + 61, 59), MIDNIGHT_MS)
            keeper.update()
    return [
        Row(
            f"an hour of readings of {boxes:,} boxes × {len(MODELS) * len(WRAPS)} curves",
            ms(min(hour_s)),
            f"one minute of them {ms(min(minute_s))}, storing the hour {ms(min(add_s))}",
            min(hour_s),
            1,
            unit=" s",
        )
    ]


if __name__ == "__main__":
    print(table(measure(int(sys.argv[1]) if len(sys.argv) > 1 else BOXES)))
