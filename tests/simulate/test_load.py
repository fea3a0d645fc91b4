from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import cast

import pytest

from hilum.domain.model import MS_PER_DAY, Reading
from hilum.domain.ports import Store
from hilum.simulate.load import load_history, load_keeping, load_recent
from hilum.simulate.scenery import TUB
from hilum.simulate.world import World
from hilum.stores.sqlite import SqliteStore


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteStore]:
    """A real store in a file of its own."""
    made = SqliteStore(tmp_path / "demo.db")
    yield made
    made.close()


def test_the_first_part_makes_a_page(world: World, store: SqliteStore) -> None:
    """After the first part everything but old readings is there, as built."""
    load_keeping(world, store)
    load_recent(world, store)
    assert [lot.code for lot in store.lots()] == [lot.code for lot in world.lots]
    assert {box.slug for box in store.boxes()} == {box.slug for box in world.boxes}
    assert len(store.stays()) == len(world.stays)
    assert len(store.tests()) == len(world.tests)
    assert len(store.events()) == len(world.events)
    assert store.reject_counts() == {"time": len(world.rejects)}
    (plan,) = store.season_plans()
    assert (plan.name, store.plan_lines(plan.id)) == (world.plan.name, world.wanted)
    newest = store.newest(TUB)
    record = world.readings[TUB]
    assert newest is not None
    assert (newest.time_ms, newest.rh_pct) == (record.time_ms[-1], record.rh_pct[-1])
    assert newest.battery_pct == record.battery_pct[-1]
    sensor = store.sensor(TUB)
    assert sensor.last_seen_ms == record.time_ms[-1]
    assert sensor.online is True
    moved = [s for s in store.stays(lot="SL-022") if s.box == "drawer"]
    assert moved[0].to_ms == store.stays(lot="SL-022")[-1].from_ms


def test_a_fortnight_of_history_joins_the_readings(world: World, store: SqliteStore) -> None:
    """The first piece of history is the oldest, and is kept as measured."""
    load_keeping(world, store)
    progress = next(load_history(world, store))
    part = world.readings[TUB].part(0, progress.until_ms)
    assert progress.until_ms == world.story.start_ms + 14 * MS_PER_DAY
    kept = store.series(TUB, 0, progress.until_ms)
    assert kept.time_ms.tolist() == part.time_ms.tolist()
    assert kept.temp_c.tolist() == part.temp_c.tolist()


class Counting:
    """Stands for a store: notes what it is given."""

    def __init__(self) -> None:
        self.spans: list[tuple[str, int, int]] = []
        self.count = 0

    def add(self, readings: Sequence[Reading], received_ms: int) -> None:
        """Note span and count."""
        assert received_ms >= readings[-1].time_ms
        self.spans.append((readings[0].sensor, readings[0].time_ms, readings[-1].time_ms))
        self.count += len(readings)


def test_the_pieces_are_the_whole_oldest_first(world: World) -> None:
    """Recent part and history together are every reading once, in order of time."""
    start_ms = world.story.at(350, 0.0)
    late = {n: r.part(start_ms, world.story.now_ms) for n, r in world.readings.items()}
    world = replace(world, readings=late)
    stand_in = Counting()
    store = cast("Store", stand_in)
    load_recent(world, store)
    recent = stand_in.count
    steps = list(load_history(world, store))
    assert stand_in.count == sum(len(record) for record in world.readings.values())
    assert steps[-1].done == steps[-1].total == stand_in.count - recent
    assert [s.done for s in steps] == sorted(s.done for s in steps)
    tub = [span[1:] for span in stand_in.spans if span[0] == TUB]
    assert tub[1:] == sorted(tub[1:])
    assert all(a[1] < b[0] for a, b in pairwise(tub[1:]))
    assert tub[-1][1] < tub[0][0]
