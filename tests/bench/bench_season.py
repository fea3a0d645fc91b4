"""What storage cost, the order of use, a season plan of 200 lines, a comparison and a review.

``PYTHONPATH=tests python -m bench.bench_season [lots ...]`` (500, 2,000 and 8,000 by default)
builds 20 boxes with three years of hourly readings each in a database of its own, which takes
minutes, and prints each as a ratio to one second; what grows with the lots may take four for 8,000.
Seconds are those of the processor, the least of five. Nothing is kept between runs, except in rows
marked "again", where no lot has changed since.
"""

import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import numpy as np

from bench.rows import Row, least, machine, ms, table
from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    BoxType,
    GerminationTest,
    Lot,
    Placement,
    PlanLine,
    Reading,
    Role,
    SeasonPlan,
    Sensor,
    Stay,
    Wrap,
)
from hilum.keeping.lots import outlook, usefirst
from hilum.keeping.lots.compare import compare_box
from hilum.keeping.lots.outlook import lot_cases, viabilities
from hilum.keeping.lots.snapshot import Snapshot
from hilum.keeping.lots.usefirst import use_first
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.keeping.seasons import season
from hilum.keeping.seasons.review import review_box
from hilum.keeping.seasons.season import plan_season
from hilum.science.kinds import Behaviour, kinds
from hilum.stores.sqlite import SqliteStore

SIZES = (500, 2_000, 8_000)
AIMED, LIMIT_S, TIMES = 2_000, 1.0, 5
BOXES, YEARS, LINES, KINDS = 20, 3, 200, 100
NOW_MS = 1_800_000_000_000 // MS_PER_HOUR * MS_PER_HOUR
START_MS = NOW_MS - YEARS * 365 * MS_PER_DAY
FIRST_DAY = date(2023, 1, 1)


def build(path: Path, count: int) -> SqliteStore:
    """Fill a database: a lot's kind settles its box, one lot in four has a test of its own."""
    rng = np.random.default_rng(7)
    store = SqliteStore(path)
    for number in range(BOXES):
        add_box(store, number, rng)
    orthodox = [key for key, kind in kinds().items() if kind.behaviour is Behaviour.ORTHODOX]
    lots = [add_lot(rng, number, orthodox[:KINDS]) for number in range(count)]
    store.save_lots(lots)
    for lot in lots:
        wrap = (Wrap.PAPER, Wrap.POLY, Wrap.FOIL)[int(rng.choice(3, p=(0.7, 0.15, 0.15)))]
        since = START_MS + int(rng.integers(0, 900 * 24)) * MS_PER_HOUR
        store.add_stay(Stay(0, lot.code, f"b{orthodox.index(lot.kind) % BOXES}", wrap, since))
        if rng.random() < 0.25:
            on = date(2026, 1, 1) + timedelta(days=int(rng.integers(0, 200)))
            store.add_test(GerminationTest(0, lot.code, on, 50, int(rng.integers(20, 48))))
    LedgerKeeper(store).rebuild()
    return store


def add_box(store: SqliteStore, number: int, rng: np.random.Generator) -> None:
    """A tub with a sensor that speaks once an hour."""
    slug, sensor = f"b{number}", f"home/s{number}"
    store.save_box(Box(slug, f"Box {number}", BoxType.TUB))
    store.save_sensor(Sensor(sensor, START_MS))
    store.add_placement(Placement(0, sensor, slug, Role.INSIDE, START_MS))
    times = np.arange(START_MS, NOW_MS, MS_PER_HOUR)
    day = (times - START_MS) / MS_PER_DAY
    temp_c = 12 + 8 * np.sin(day * 2 * np.pi / 365 + number) + rng.normal(0, 0.3, len(day))
    rh_pct = 35 + 10 * np.sin(day / 60 + number) + rng.normal(0, 1, len(day))
    air = zip(times.tolist(), temp_c.round(2).tolist(), rh_pct.round(2).tolist(), strict=True)
    store.add([Reading(sensor, *each) for each in air], NOW_MS)


def add_lot(rng: np.random.Generator, number: int, keys: list[str]) -> Lot:
    """A lot of one of a hundred kinds, of one of eight varieties."""
    day = FIRST_DAY + timedelta(days=int(rng.integers(0, 1000)))
    return Lot(
        f"L-{number:05d}",
        keys[int(rng.integers(len(keys)))],
        variety=f"v{int(rng.integers(8))}",
        year=day.year,
        label_pct=float(rng.integers(75, 99)),
        label_date=day,
        seeds=float(rng.integers(20, 800)) if rng.random() < 0.8 else None,
    )


def lines_for(store: SqliteStore) -> list[PlanLine]:
    """Two hundred things wanted: eight in ten a variety that is there, the rest any."""
    rng, lots = np.random.default_rng(3), store.lots()
    found = []
    for _ in range(LINES):
        lot = lots[int(rng.integers(len(lots)))]
        variety = lot.variety if rng.random() < 0.8 else ""
        found.append(PlanLine(lot.kind, int(rng.choice([10, 20, 50, 100])), variety))
    return found


def forget() -> None:
    """Forget all answers that are kept."""
    for module, name in ((outlook, "_BANDS"), (usefirst, "_PROSPECTS"), (season, "_AT_LOSS")):
        getattr(module, name)._kept = {}


def timed(what: str, run: Callable[[], object], count: int, *, again: bool) -> Iterator[Row]:
    """Time anew, and, where asked, once more with the answers kept."""

    def anew() -> None:
        forget()
        run()

    limit_s = LIMIT_S * max(1.0, count / AIMED)
    seconds = least(TIMES, anew, run)
    for name, found in zip((what, f"{what}, again")[: 1 + again], seconds, strict=False):
        yield Row(f"{name}, {count:,} lots", ms(found), "seconds", found, limit_s, unit=" s")


def cases(store: SqliteStore) -> None:
    """Read what storage has cost every lot, which all the rest rests on."""
    shelf = Snapshot(store)
    lot_cases(shelf.store, shelf.lots(), NOW_MS - 1)


def rows(store: SqliteStore, count: int) -> Iterator[Row]:
    """Time everything that goes over many lots."""
    plan, lines = SeasonPlan(0, "Spring", date(2027, 3, 1)), lines_for(store)
    year_ms = NOW_MS - 365 * MS_PER_DAY
    yield from timed("what storage cost", lambda: cases(store), count, again=False)
    alive = partial(viabilities, store, store.lots(), NOW_MS)
    yield from timed("lots page", alive, count, again=True)
    yield from timed("order of use", partial(use_first, store, NOW_MS), count, again=True)
    planned = partial(plan_season, store, plan, lines, NOW_MS)
    yield from timed(f"season of {LINES} lines", planned, count, again=True)
    yield from timed("compare a box", partial(compare_box, store, "b3", NOW_MS), count, again=False)
    reviewed = partial(review_box, store, "b3", year_ms, NOW_MS)
    yield from timed("review a box", reviewed, count, again=False)


def main() -> None:
    """Build each size, and time."""
    print(machine())
    found: list[Row] = []
    for count in [int(word) for word in sys.argv[1:]] or SIZES:
        with tempfile.TemporaryDirectory() as folder:
            store = build(Path(folder) / "hilum.sqlite3", count)
            found += rows(store, count)
            store.close()
    print(table(found))


if __name__ == "__main__":
    main()
