"""Many changes in one step, in memory."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import count
from typing import TypeVar

from hilum.domain.model import Changes, Event, GerminationTest, Stay
from hilum.stores import rules
from hilum.stores.memory.state import State, found

Numbered = TypeVar("Numbered", Stay, GerminationTest, Event)


class ChangesSection:
    """What belongs together is written together."""

    _state: State

    def change(self, changes: Changes) -> Changes:
        """See the port; all is prepared beside what is kept, then put in its place."""
        rules.check_changes(changes)
        state = self._state
        with state.held():
            boxes = {**state.boxes, **{box.slug: box for box in changes.boxes}}
            lots = {**state.lots, **{lot.code: lot for lot in changes.lots}}
            for stay in changes.stays:
                _require(lots, stay.lot, "lot")
                _require(boxes, stay.box, "box")
            for test in changes.tests:
                _require(lots, test.lot, "lot")
            for event in changes.events:
                _require(lots, event.lot, "lot")
                _require(boxes, event.box, "box")
                _require(state.sensors, event.sensor, "sensor")
            left = dict(state.tests)
            for number in changes.dropped_tests:
                found(left, number, "germination test")
                del left[number]
            stays, new_stays = _put(state.stays, changes.stays, "stay")
            tests, new_tests = _put(left, changes.tests, "germination test")
            events, new_events = _put(state.events, changes.events, "event")
            _check_stays(stays, changes.stays)
            state.boxes, state.lots = boxes, lots
            state.stays, state.tests, state.events = stays, tests, events
        return replace(changes, stays=new_stays, tests=new_tests, events=new_events)


def _require(kept: Mapping[str, object], name: str | None, what: str) -> None:
    if name is not None and name not in kept:
        raise rules.missing(what, name)


def _put(
    kept: Mapping[int, Numbered], records: Iterable[Numbered], what: str
) -> tuple[dict[int, Numbered], tuple[Numbered, ...]]:
    after = dict(kept)
    put = []
    unused = count(max(after, default=0) + 1)
    for record in records:
        if record.id:
            found(after, record.id, what)
        numbered = record if record.id else replace(record, id=next(unused))
        after[numbered.id] = numbered
        put.append(numbered)
    return after, tuple(put)


def _check_stays(stays: Mapping[int, Stay], changed: Iterable[Stay]) -> None:
    for stay in changed:
        rules.check_interval(stay.from_ms, stay.to_ms)
    touched: dict[str, list[Stay]] = {stay.lot: [] for stay in changed}
    for stay in stays.values():
        if stay.lot in touched:
            touched[stay.lot].append(stay)
    for mine in touched.values():
        rules.check_stays(mine)
