"""Dirty marks, curves and their rows in memory."""

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from hilum.domain.model import CurveKey, DirtyMark, Ints, LedgerRows
from hilum.stores import rules
from hilum.stores.memory.state import State, found

_NAMES = tuple(field.name for field in fields(LedgerRows))


class LedgerSection:
    """What the keeper computes."""

    _state: State

    def dirty(self) -> Sequence[DirtyMark]:
        """See the port."""
        with self._state.held():
            return sorted(self._state.dirty.values(), key=lambda mark: mark.sensor)

    def clear_dirty(self, marks: Sequence[DirtyMark]) -> None:
        """See the port."""
        with self._state.held():
            for mark in marks:
                self._state.clear(mark.sensor, mark.mark)

    def mark_dirty(self, sensor: str, from_ms: int) -> None:
        """See the port."""
        with self._state.held():
            found(self._state.sensors, sensor, "sensor")
            self._state.mark({sensor: from_ms})

    def curves(self, box: str | None = None) -> Sequence[CurveKey]:
        """See the port."""
        with self._state.held():
            return [key for key in self._state.curves if box in (None, key.box)]

    def add_curves(self, keys: Sequence[CurveKey]) -> None:
        """See the port."""
        with self._state.held():
            for key in keys:
                found(self._state.boxes, key.box, "box")
            for key in keys:
                self._state.curves.setdefault(key, _none())

    def drop_curves(self, keys: Sequence[CurveKey]) -> None:
        """See the port."""
        with self._state.held():
            for key in keys:
                self._state.curves.pop(key, None)

    def rows(self, key: CurveKey, start_hour: int = 0, end_hour: int | None = None) -> LedgerRows:
        """See the port."""
        rows = self._rows(key)
        wanted = rows.hour >= start_hour
        if end_hour is not None:
            wanted &= rows.hour < end_hour
        return _take(rows, np.flatnonzero(wanted))

    def rows_at(self, asked: Sequence[tuple[CurveKey, int]]) -> tuple[Ints, LedgerRows]:
        """See the port."""
        places, found = [], [_none()]
        for place, (key, time_ms) in enumerate(asked):
            rows = self._rows(key)
            after = int(np.searchsorted(rows.last_ms, time_ms, side="right"))
            found.append(_take(rows, np.arange(max(after - 1, 0), min(after + 1, len(rows)))))
            places += [place] * len(found[-1])
        return np.array(places, dtype=np.int64), _joined(found)

    def _rows(self, key: CurveKey) -> LedgerRows:
        with self._state.held():
            return self._state.curves.get(key, _none())

    def replace_rows(self, changes: Sequence[tuple[CurveKey, int, LedgerRows]]) -> None:
        """See the port."""
        for _, from_hour, rows in changes:
            rules.check_rows(from_hour, rows)
        with self._state.held():
            for key, _, _ in changes:
                if key not in self._state.curves:
                    raise rules.unknown_curve(key)
            for key, from_hour, rows in changes:
                kept = self._state.curves[key]
                before = _take(kept, np.flatnonzero(kept.hour < from_hour))
                self._state.curves[key] = _joined([before, rows])
                if max(len(kept) - len(before), len(rows)) > rules.NEWEST_ROWS:
                    self._state.past_changes += 1

    def revision(self) -> int:
        """See the port: a digest of what it is about, since nothing is counted here."""
        state = self._state
        with state.held():
            entered = (
                state.boxes,
                state.placements,
                state.lots,
                state.stays,
                state.tests,
                state.corrections,
                state.plans,
            )
            return hash((state.past_changes, *(tuple(each.values()) for each in entered)))


def _none() -> LedgerRows:
    whole, numbers = np.empty(0, np.int64), np.empty(0, np.float64)
    return LedgerRows(whole, whole, *[numbers] * (len(_NAMES) - 2))


def _take(rows: LedgerRows, at: Ints) -> LedgerRows:
    return LedgerRows(*(getattr(rows, name)[at] for name in _NAMES))


def _joined(parts: Sequence[LedgerRows]) -> LedgerRows:
    columns = ([getattr(part, name) for part in parts] for name in _NAMES)
    return LedgerRows(*map(np.concatenate, columns))
