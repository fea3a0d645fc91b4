"""How long a season plan of 200 lines, the order of use and a comparison take, and how it grows.

``python tests/bench/bench_season.py [lots ...]`` (500, 2,000 and 8,000 lots by default) builds 20
boxes with three years of hourly readings each in a database of its own, which takes minutes, and
prints seconds of processor time and of the clock.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np

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
from hilum.keeping.lots.compare import compare_box
from hilum.keeping.lots.outlook import lot_cases
from hilum.keeping.lots.snapshot import Snapshot
from hilum.keeping.lots.usefirst import use_first
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.keeping.seasons.review import review_box
from hilum.keeping.seasons.season import plan_season
from hilum.science.kinds import Behaviour, kinds
from hilum.stores.sqlite import SqliteStore

SIZES = (500, 2_000, 8_000)
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


def timed(what: str, run: Callable[[], object]) -> None:
    """Run twice and print the second time: the first one warms the caches of tables."""
    run()
    cpu, clock = time.process_time(), time.perf_counter()
    run()
    print(
        f"  {what}: {time.process_time() - cpu:.2f} s of the processor, "
        f"{time.perf_counter() - clock:.2f} s by the clock"
    )


def cases(store: SqliteStore) -> None:
    """Read what storage has cost every lot, which all the rest rests on."""
    shelf = Snapshot(store)
    lot_cases(shelf.store, shelf.lots(), NOW_MS - 1)


def main() -> None:
    """Build each size, and time."""
    plan = SeasonPlan(0, "Spring", date(2027, 3, 1))
    for count in [int(word) for word in sys.argv[1:]] or SIZES:
        with tempfile.TemporaryDirectory() as folder:
            begun = time.perf_counter()
            store = build(Path(folder) / "hilum.sqlite3", count)
            print(f"{count:,} lots (built in {time.perf_counter() - begun:.0f} s)")
            lines = lines_for(store)
            found = plan_season(store, plan, lines, NOW_MS)
            used = len({lot.lot.code for line in found.lines for lot in line.lots})
            year_ms = NOW_MS - 365 * MS_PER_DAY
            timed(f"losses of {count:,} lots", lambda store=store: cases(store))  # type: ignore[misc]
            timed(
                f"season, {LINES} lines, {used:,} lots",
                lambda store=store, lines=lines: plan_season(store, plan, lines, NOW_MS),  # type: ignore[misc]
            )
            timed("order of use", lambda store=store: use_first(store, NOW_MS))  # type: ignore[misc]
            timed("compare a box", lambda store=store: compare_box(store, "b3", NOW_MS))  # type: ignore[misc]
            timed(
                "review a box",
                lambda store=store, from_ms=year_ms: review_box(store, "b3", from_ms, NOW_MS),  # type: ignore[misc]
            )
            store.close()


if __name__ == "__main__":
    main()
