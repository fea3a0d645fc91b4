"""Everything people enter, and the journal, in memory."""

from collections.abc import Sequence
from dataclasses import replace

from hilum.domain.model import (
    Box,
    Event,
    GerminationTest,
    Lot,
    Placement,
    Reject,
    Role,
    Sensor,
    Stay,
)
from hilum.stores import rules
from hilum.stores.memory.state import State, found


class KeepingSection:
    """Sensors, boxes, lots, where they were, what happened."""

    _state: State

    # Sensors

    def sensors(self) -> Sequence[Sensor]:
        """See the port."""
        with self._state.held():
            return sorted(self._state.sensors.values(), key=lambda sensor: sensor.name)

    def sensor(self, name: str) -> Sensor:
        """See the port."""
        with self._state.held():
            return found(self._state.sensors, name, "sensor")

    def save_sensor(self, sensor: Sensor) -> None:
        """See the port."""
        rules.check_sensor(sensor)
        with self._state.held():
            self._state.sensors[sensor.name] = sensor

    def set_presence(self, name: str, online: bool, received_ms: int) -> None:
        """See the port."""
        with self._state.held():
            self._state.register(name, received_ms)
            self._state.sensors[name] = replace(self._state.sensors[name], online=online)

    # Boxes

    def boxes(self) -> Sequence[Box]:
        """See the port."""
        with self._state.held():
            return sorted(self._state.boxes.values(), key=lambda box: (box.name, box.slug))

    def box(self, slug: str) -> Box:
        """See the port."""
        with self._state.held():
            return found(self._state.boxes, slug, "box")

    def save_box(self, box: Box) -> None:
        """See the port."""
        rules.check_box(box)
        with self._state.held():
            old = self._state.boxes.get(box.slug)
            if old is not None and old.gap_limit_s != box.gap_limit_s:
                for placement in self._state.placements.values():
                    if placement.box == box.slug and placement.role is Role.INSIDE:
                        self._state.mark({placement.sensor: placement.from_ms})
            self._state.boxes[box.slug] = box

    def placements(
        self, *, box: str | None = None, sensor: str | None = None
    ) -> Sequence[Placement]:
        """See the port."""
        with self._state.held():
            kept = [
                item
                for item in self._state.placements.values()
                if box in (None, item.box) and sensor in (None, item.sensor)
            ]
        return sorted(kept, key=lambda item: (item.from_ms, item.id))

    def add_placement(self, placement: Placement) -> Placement:
        """See the port."""
        with self._state.held():
            found(self._state.boxes, placement.box, "box")
            found(self._state.sensors, placement.sensor, "sensor")
            placed = replace(placement, id=len(self._state.placements) + 1)
            rules.check_placement(placed, self._state.placements.values())
            self._state.placements[placed.id] = placed
            self._state.mark({placed.sensor: placed.from_ms})
            return placed

    def end_placement(self, placement_id: int, to_ms: int) -> None:
        """See the port."""
        with self._state.held():
            kept = found(self._state.placements, placement_id, "placement")
            ended = replace(kept, to_ms=to_ms)
            rules.check_placement(ended, self._state.placements.values())
            self._state.placements[placement_id] = ended
            changed_ms = to_ms if kept.to_ms is None else min(to_ms, kept.to_ms)
            self._state.mark({kept.sensor: changed_ms})

    # Lots

    def lots(self) -> Sequence[Lot]:
        """See the port."""
        with self._state.held():
            return sorted(self._state.lots.values(), key=lambda lot: lot.code)

    def lot(self, code: str) -> Lot:
        """See the port."""
        with self._state.held():
            return found(self._state.lots, code, "lot")

    def save_lot(self, lot: Lot) -> None:
        """See the port."""
        self.save_lots([lot])

    def save_lots(self, lots: Sequence[Lot]) -> None:
        """See the port."""
        for lot in lots:
            rules.check_lot(lot)
        with self._state.held():
            self._state.lots.update({lot.code: lot for lot in lots})

    def stays(self, *, lot: str | None = None, box: str | None = None) -> Sequence[Stay]:
        """See the port."""
        with self._state.held():
            kept = [
                stay
                for stay in self._state.stays.values()
                if lot in (None, stay.lot) and box in (None, stay.box)
            ]
        return sorted(kept, key=lambda stay: (stay.from_ms, stay.id))

    def add_stay(self, stay: Stay) -> Stay:
        """See the port."""
        with self._state.held():
            found(self._state.lots, stay.lot, "lot")
            found(self._state.boxes, stay.box, "box")
            ended = rules.settle_stay(stay, self.stays(lot=stay.lot))
            if ended is not None:
                self._state.stays[ended.id] = ended
            added = replace(stay, id=len(self._state.stays) + 1)
            self._state.stays[added.id] = added
            return added

    def end_stay(self, stay_id: int, to_ms: int) -> None:
        """See the port."""
        with self._state.held():
            ended = replace(found(self._state.stays, stay_id, "stay"), to_ms=to_ms)
            rules.check_stay(ended, self.stays(lot=ended.lot))
            self._state.stays[stay_id] = ended

    # Journal

    def tests(self, lot: str | None = None) -> Sequence[GerminationTest]:
        """See the port."""
        with self._state.held():
            kept = [test for test in self._state.tests.values() if lot in (None, test.lot)]
        return sorted(kept, key=lambda test: (test.on, test.id))

    def add_test(self, test: GerminationTest) -> GerminationTest:
        """See the port."""
        rules.check_test(test)
        with self._state.held():
            found(self._state.lots, test.lot, "lot")
            added = replace(test, id=max(self._state.tests, default=0) + 1)
            self._state.tests[added.id] = added
            return added

    def events(
        self,
        *,
        box: str | None = None,
        lot: str | None = None,
        start_ms: int = 0,
        limit: int = 1000,
    ) -> Sequence[Event]:
        """See the port."""
        with self._state.held():
            kept = [
                event
                for event in self._state.events.values()
                if event.time_ms >= start_ms
                and box in (None, event.box)
                and lot in (None, event.lot)
            ]
        return sorted(kept, key=lambda event: (event.time_ms, event.id), reverse=True)[:limit]

    def add_event(self, event: Event) -> Event:
        """See the port."""
        rules.check_event(event)
        state = self._state
        with state.held():
            for kept, name, what in (
                (state.boxes, event.box, "box"),
                (state.lots, event.lot, "lot"),
                (state.sensors, event.sensor, "sensor"),
            ):
                if name is not None and name not in kept:
                    raise rules.missing(what, name)
            added = replace(event, id=len(state.events) + 1)
            state.events[added.id] = added
            return added

    def strike_event(self, event_id: int) -> None:
        """See the port."""
        with self._state.held():
            event = found(self._state.events, event_id, "event")
            self._state.events[event_id] = replace(event, struck=True)

    def add_rejects(self, rejects: Sequence[Reject]) -> None:
        """See the port."""
        with self._state.held():
            self._state.reject(rejects)

    def rejects(self, *, limit: int = 100, sensor: str | None = None) -> Sequence[Reject]:
        """See the port."""
        with self._state.held():
            kept = [item for item in self._state.rejects if sensor in (None, item.sensor)]
        return kept[::-1][:limit]

    def reject_counts(self) -> dict[str, int]:
        """See the port."""
        with self._state.held():
            return dict(self._state.reject_counts)
