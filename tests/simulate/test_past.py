"""The past of the demo world, gone over as the watch would have."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from hilum.bootstrap import keep_up
from hilum.domain.alerts import AlertChange
from hilum.domain.ports import Store
from hilum.keeping.desiccant.desiccant_watch import days_to_swap
from hilum.keeping.watching.asitwas import AsItWas
from hilum.keeping.watching.past import keep_past, watch_past
from hilum.simulate.load import load_world
from hilum.simulate.scenery import AJAR_DAYS, SWAP_DAY, looks_in
from hilum.simulate.world import World
from hilum.stores.sqlite import SqliteStore

FIRST_DAY, LAST_DAY = AJAR_DAYS[0] - 10, SWAP_DAY + 3


@pytest.fixture(scope="module")
def store(world: World, tmp_path_factory: pytest.TempPathFactory) -> Iterator[SqliteStore]:
    """The weeks in which the tub was damp, with their ledger."""
    start_ms, end_ms = world.story.at(FIRST_DAY, 0.0), world.story.at(LAST_DAY, 0.0)
    weeks = {name: record.part(start_ms, end_ms) for name, record in world.readings.items()}
    made = SqliteStore(Path(tmp_path_factory.mktemp("past")) / "demo.db")
    load_world(replace(world, readings=weeks), made)
    keep_up(made)
    yield made
    made.close()


def steps(store: Store, world: World, first: int, last: int) -> list[AlertChange]:
    """Go over some days."""
    past = AsItWas(store)
    span = (world.story.at(first, 0.0), world.story.at(last, 0.0))
    for _ in watch_past(past, UTC, days_to_swap, span, looks_in(world.story)):
        pass
    return past.changes


def test_the_damp_weeks_of_the_tub_were_told(world: World, store: SqliteStore) -> None:
    """The tub left ajar was told damp on that day, seen within a week, and over after the swap."""
    keep_past(store, steps(store, world, FIRST_DAY, LAST_DAY))

    damp = next(a for a in store.alerts(box="tub") if a.rule == "damp")
    ajar_ms, shut_ms = (world.story.at(day, 0.0) for day in AJAR_DAYS)
    swap_ms = world.story.at(SWAP_DAY, 10.3)
    assert damp.raised_ms is not None
    assert damp.seen_ms is not None
    assert damp.cleared_ms is not None
    assert ajar_ms < damp.raised_ms < ajar_ms + 86_400_000
    assert damp.raised_ms < damp.seen_ms <= shut_ms
    assert swap_ms < damp.cleared_ms < swap_ms + 86_400_000
    assert store.notices() == []


def test_the_same_past_twice(world: World, store: SqliteStore) -> None:
    """The same world gives the same steps to the last word."""
    days = AJAR_DAYS[0], AJAR_DAYS[0] + 3

    assert steps(store, world, *days) == steps(store, world, *days) != []
