"""What must be true of a database whatever happened to it, and edits that can be told apart."""

from collections import Counter
from datetime import date

from hilum.domain.model import (
    Box,
    BoxType,
    Changes,
    Event,
    EventType,
    GerminationTest,
    Lot,
    Placement,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning.keeper import LedgerKeeper
from keeping.worlds import bits, row_bits

START_MS = 1_735_689_600_000  # 2025-01-01
HOUR_MS = 3_600_000
FAR_MS = 2**53
WRAPS = (Wrap.OPEN, Wrap.PAPER, Wrap.FOIL)


def add_boxes(store: Store, sensors: dict[str, str]) -> None:
    """Put sensors into boxes of their own, each with a lot in paper; what is there stays."""
    known = {box.slug for box in store.boxes()}
    for sensor, slug in sensors.items():
        if slug in known:
            continue
        store.save_sensor(Sensor(sensor, START_MS))
        box, lot = Box(slug, slug.title(), BoxType.TUB), Lot(f"{slug}-1", "onion")
        stay = Stay(0, lot.code, slug, Wrap.PAPER, START_MS + HOUR_MS)
        store.change(Changes(boxes=(box,), lots=(lot,), stays=(stay,)))
        store.add_placement(Placement(0, sensor, slug, Role.INSIDE, START_MS))


def edit(number: int, box: str) -> Changes:
    """Give what belongs together: a lot, where it lies, its test and a line in the journal."""
    code = f"E{number}"
    stay_ms = START_MS + number % 50 * HOUR_MS
    return Changes(
        lots=(Lot(code, "onion", note=str(number)),),
        stays=(Stay(0, code, box, WRAPS[number % 3], stay_ms),),
        tests=(GerminationTest(0, code, date(2025, 1, 2), 50, number % 51),),
        events=(Event(0, stay_ms, EventType.MOVED, box=box, lot=code),),
    )


def edits_kept(store: Store) -> set[int]:
    """Numbers of the edits that are there; each must be there whole, and once."""
    lots = {int(lot.note) for lot in store.lots() if lot.note}
    parts = (
        Counter(stay.lot for stay in store.stays()),
        Counter(test.lot for test in store.tests()),
        Counter(event.lot for event in store.events(limit=10**6)),
    )
    whole = {f"E{number}": 1 for number in lots}
    for part in parts:
        assert {lot: n for lot, n in part.items() if lot and lot.startswith("E")} == whole
    return lots


def derived(store: Store) -> tuple[object, ...]:
    """Everything that is computed from the readings, to the last bit."""
    tiers = [
        row_bits(tier(sensor.name, 0, FAR_MS))  # type: ignore[arg-type]
        for sensor in store.sensors()
        for tier in (store.hours, store.days)
    ]
    return bits(store), tiers


def check_derived(store: Store) -> None:
    """What was kept up to date in passing is what a rebuild gives, to the last bit."""
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    kept = derived(store)
    keeper.rebuild()
    assert derived(store) == kept
    assert store.dirty() == []
