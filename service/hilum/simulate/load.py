"""Put the demo world into a store: what the first page needs at once, the rest piece by piece."""

from collections.abc import Iterator
from dataclasses import dataclass

from hilum.domain.model import MS_PER_DAY, Reading
from hilum.domain.ports import Store
from hilum.simulate.sensor import Record
from hilum.simulate.world import World

RECENT_DAYS = 3
CHUNK_DAYS = 14


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the loading is: ``done`` of ``total`` readings, up to a moment of the story."""

    done: int
    total: int
    until_ms: int


def load_world(world: World, store: Store) -> None:
    """Load everything; takes as long as it takes."""
    load_keeping(world, store)
    load_recent(world, store)
    for _ in load_history(world, store):
        pass


def load_keeping(world: World, store: Store) -> None:
    """Load everything but readings: boxes, lots, where they were, tests, journal, plan, rejects."""
    for sensor in world.sensors:
        store.save_sensor(sensor)
    for box in world.boxes:
        store.save_box(box)
    for placement in world.placements:
        store.add_placement(placement)
    store.save_lots(world.lots)
    for stay in world.stays:
        store.add_stay(stay)
    for test in world.tests:
        store.add_test(test)
    for event in world.events:
        store.add_event(event)
    store.add_rejects(world.rejects)
    store.save_plan(world.plan, world.wanted)


def recent_from_ms(world: World) -> int:
    """Where the recent part begins."""
    return world.story.now_ms - RECENT_DAYS * MS_PER_DAY


def load_recent(world: World, store: Store) -> None:
    """Load the last three days, enough for the first page to be true."""
    _load(world, store, recent_from_ms(world), world.story.now_ms)


def load_history(world: World, store: Store) -> Iterator[Progress]:
    """Load what is older, a fortnight at a time.

    Oldest first: whoever computes from readings goes on from where it stopped, once over the whole
    story; the other way round every piece would make it begin anew.

    Yields
    ------
    Progress
        After each fortnight.
    """
    end_ms = recent_from_ms(world)
    total = sum(len(r.part(world.story.start_ms, end_ms)) for r in world.readings.values())
    done = 0
    for start_ms in range(world.story.start_ms, end_ms, CHUNK_DAYS * MS_PER_DAY):
        until_ms = min(start_ms + CHUNK_DAYS * MS_PER_DAY, end_ms)
        done += _load(world, store, start_ms, until_ms)
        yield Progress(done, total, until_ms)


def _load(world: World, store: Store, start_ms: int, end_ms: int) -> int:
    """Load a span of all sensors, in one step each; give the count."""
    count = 0
    for record in world.readings.values():
        part = record.part(start_ms, end_ms)
        count += len(part)
        if len(part):
            store.add(_readings(part), received_ms=int(part.time_ms[-1]))
    return count


def _readings(record: Record) -> list[Reading]:
    name = record.sensor
    columns = (
        record.time_ms.tolist(),
        record.temp_c.tolist(),
        record.rh_pct.tolist(),
        record.battery_pct.tolist(),
    )
    return [Reading(name, *values) for values in zip(*columns, strict=True)]
