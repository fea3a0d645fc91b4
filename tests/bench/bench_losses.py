"""Losses of 100,000 lots at a date, against one fancy-index of numpy over arrays of that size.

``PYTHONPATH=tests python -m bench.bench_losses [lots ...]`` (10,000 and 100,000 by default). 20
boxes with 120 days of hourly readings, lots of a hundred kinds that came on one of 20 days; one lot
in five has moved once. Counted against the limit: finding the leg every lot is in and looking its
loss up on the shared curves, given the lots as columns and the curves' losses at the date, some
hundreds of numbers. Printed beside it: reading those, loading the columns, and all that is said of
every lot, notes in words included. Seconds are those of the processor, the least of five.
"""

import sys
from collections.abc import Callable, Iterator

import numpy as np

from bench.bench_season import BOXES, NOW_MS, add_lot
from bench.rows import Row, least, machine, ms, table
from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    BoxType,
    Changes,
    Lot,
    Placement,
    Reading,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.keeping.lots.life import Lives
from hilum.keeping.lots.losses import Losses
from hilum.keeping.lots.snapshot import Snapshot
from hilum.keeping.reckoning.course import model_of
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.science.kinds import Behaviour, kinds
from hilum.science.seedmodel import SeedModel
from hilum.stores.memory import MemoryStore

SIZES = (10_000, 100_000)
DAYS, ARRIVALS, KINDS, TIMES, OFTEN = 120, 20, 100, 5.0, 200
START_MS = NOW_MS - DAYS * MS_PER_DAY


def build(count: int) -> MemoryStore:
    """A store in memory: building as many lots in a file would take an hour."""
    rng, store = np.random.default_rng(7), MemoryStore()
    for number in range(BOXES):
        slug, sensor = f"b{number}", f"home/s{number}"
        store.save_box(Box(slug, f"Box {number}", BoxType.TUB))
        store.save_sensor(Sensor(sensor, START_MS))
        store.add_placement(Placement(0, sensor, slug, Role.INSIDE, START_MS))
        air = rng.normal((15.0, 35.0), 1.0, (DAYS * 24, 2)).round(2).tolist()
        times = range(START_MS, NOW_MS, MS_PER_HOUR)
        store.add([Reading(sensor, at, *each) for at, each in zip(times, air, strict=True)], NOW_MS)
    orthodox = [key for key, kind in kinds().items() if kind.behaviour is Behaviour.ORTHODOX]
    lots = [add_lot(rng, number, orthodox[:KINDS]) for number in range(count)]
    home = {key: place % BOXES for place, key in enumerate(orthodox)}
    stays = [stay for lot in lots for stay in stays_of(rng, lot, home[lot.kind])]
    store.change(Changes(lots=tuple(lots), stays=tuple(stays)))
    LedgerKeeper(store).rebuild()
    return store


def stays_of(rng: np.random.Generator, lot: Lot, home: int) -> list[Stay]:
    """One stay that goes on, or two."""
    since = START_MS + int(rng.integers(ARRIVALS)) * 2 * MS_PER_DAY
    wrap = Wrap.PAPER if rng.random() < 0.8 else Wrap.FOIL
    if rng.random() < 0.8:
        return [Stay(0, lot.code, f"b{home}", wrap, since)]
    moved = START_MS + 60 * MS_PER_DAY
    return [
        Stay(0, lot.code, f"b{(home + 1) % BOXES}", wrap, since, moved),
        Stay(0, lot.code, f"b{home}", wrap, moved),
    ]


def rows(store: Store, count: int) -> Iterator[Row]:
    """Time the look-up against the fancy-index, and each part of the way to it by itself."""
    shelf = Snapshot(store).store
    lots = shelf.lots()
    models: list[SeedModel] = [model for lot in lots if (model := model_of(lot.kind)) is not None]
    lives, at_ms = Lives(shelf, lots, models), NOW_MS - 17 * MS_PER_DAY
    leg = lives.legs_on(at_ms)
    level = lives.levels_on(leg, at_ms)
    rng = np.random.default_rng(1)
    values, places = rng.random(count), rng.integers(0, count, count)
    once, found = least(
        5,
        often(lambda: values[places]),
        often(lambda: lives.losses_by(lives.legs_on(at_ms), level, at_ms)),
    )
    against = f"fancy-index, {1e3 * once / OFTEN:.2f} ms"
    yield Row(f"losses of {count:,} lots", ms(found / OFTEN), against, found / once, TIMES)
    parts = {
        f"reading {np.count_nonzero(level):,} curves": lambda: lives.levels_on(leg, at_ms),
        "loading the columns": lambda: Lives(Snapshot(store).store, lots, models),
        "all that is said of each, from the start": lambda: Losses(shelf, lots).up_to(at_ms),
    }
    for what, seconds in zip(parts, least(1, *parts.values()), strict=True):
        print(f"{count:,} lots, {what}: {ms(seconds)}, {1e6 * seconds / count:.1f} µs a lot")


def often(run: Callable[[], object]) -> Callable[[], object]:
    """Run many times, so that the clock can tell it."""

    def runs() -> None:
        for _ in range(OFTEN):
            run()

    return runs


def main() -> None:
    """Build each size, and time."""
    print(machine())
    found: list[Row] = []
    for count in [int(word) for word in sys.argv[1:]] or SIZES:
        store = build(count)
        found += rows(store, count)
        store.close()
    print(table(found))


if __name__ == "__main__":
    main()
