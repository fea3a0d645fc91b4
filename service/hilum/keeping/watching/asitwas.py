"""A store as it was at a moment: what came later is not seen."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from functools import cached_property

import numpy as np

from hilum.domain.alerts import Alert, AlertChange, AlertState
from hilum.domain.errors import NotFoundError
from hilum.domain.model import (
    MS_PER_HOUR,
    Event,
    HourTier,
    Placement,
    Reading,
    Reject,
    Sensor,
    Series,
)
from hilum.domain.ports import Store
from hilum.keeping.lots.snapshot import Snapshot

MOST = 1_000_000
EVER_MS = 2**62


class AsItWas(Snapshot):
    """A store as it was at a moment, with alerts of its own; nothing of it is written below.

    It reads once what people entered, so it is of use while nothing of that changes.

    Attributes
    ----------
    moment_ms : int
        The moment; may be moved on.
    changes : list of AlertChange
        Every step that was made, in order.
    """

    def __init__(self, below: Store) -> None:
        super().__init__(below)
        self.moment_ms = 0
        self.changes: list[AlertChange] = []
        self._alerts: dict[str, Alert] = {}
        self._paces: dict[str, int] = {}
        self._hours: dict[str, HourTier] = {}

    def now_ms(self) -> int:
        """Give the moment: it is a clock too."""
        return self.moment_ms

    def newest(self, sensor: str) -> Reading | None:
        """Give the newest reading until the moment."""
        return self._below.before(sensor, self.moment_ms + 1)

    def before(self, sensor: str, time_ms: int) -> Reading | None:
        """Give the newest reading before a time."""
        return self._below.before(sensor, min(time_ms, self.moment_ms + 1))

    def series(self, sensor: str, start_ms: int, end_ms: int) -> Series:
        """Give readings until the moment."""
        return self._below.series(sensor, start_ms, min(end_ms, self.moment_ms + 1))

    def pages(
        self, sensor: str, start_ms: int, end_ms: int, size: int
    ) -> Iterator[Sequence[Reading]]:
        """Give readings until the moment in batches."""
        return self._below.pages(sensor, start_ms, min(end_ms, self.moment_ms + 1), size)

    def hours(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """Give summaries of hours that were over."""
        if sensor not in self._hours:
            self._hours[sensor] = self._below.hours(sensor, 0, EVER_MS)
        tier = self._hours[sensor]
        end_ms = min(end_ms, self.moment_ms - MS_PER_HOUR + 1)
        part = slice(*np.searchsorted(tier.start_ms, (start_ms, end_ms)).tolist())
        return HourTier(*(getattr(tier, field.name)[part] for field in fields(tier)))

    @cached_property
    def _sensors(self) -> Sequence[Sensor]:
        """All sensors; when they were heard, their readings tell."""
        return [replace(sensor, last_seen_ms=None) for sensor in self._below.sensors()]

    def sensors(self) -> Sequence[Sensor]:
        """Every sensor."""
        return self._sensors

    @cached_property
    def _placements(self) -> Sequence[Placement]:
        return self._below.placements()

    def placements(
        self, *, box: str | None = None, sensor: str | None = None
    ) -> Sequence[Placement]:
        """In order of start, those to come too: each says when it began."""
        return [
            placed
            for placed in self._placements
            if box in {None, placed.box} and sensor in {None, placed.sensor}
        ]

    @cached_property
    def _rejects(self) -> Sequence[Reject]:
        return self._below.rejects(limit=MOST)

    def rejects(self, *, limit: int = 100, sensor: str | None = None) -> Sequence[Reject]:
        """Newest first, those until the moment."""
        known = [each for each in self._rejects if each.received_ms <= self.moment_ms]
        return [each for each in known if sensor in {None, each.sensor}][:limit]

    def events(
        self,
        *,
        box: str | None = None,
        lot: str | None = None,
        start_ms: int = 0,
        limit: int = 1000,
    ) -> Sequence[Event]:
        """Newest first, those until the moment."""
        found = self._below.events(box=box, lot=lot, start_ms=start_ms, limit=MOST)
        return [event for event in found if event.time_ms <= self.moment_ms][:limit]

    def alerts(
        self, *, open_only: bool = False, box: str | None = None, limit: int = 1000
    ) -> Sequence[Alert]:
        """Alerts of this past alone."""
        kept = [a for a in self._alerts.values() if box in {None, a.box}]
        return [a for a in kept if not open_only or a.state is not AlertState.CLEARED][:limit]

    def alert(self, alert_id: str) -> Alert:
        """Give one of them."""
        if alert_id not in self._alerts:
            raise NotFoundError(f"There is no alert “{alert_id}” here.")
        return self._alerts[alert_id]

    def change_alerts(self, changes: Sequence[AlertChange]) -> int:
        """Note steps."""
        self._alerts.update({change.alert.id: change.alert for change in changes})
        self.changes += changes
        return len(changes)

    def paces(self) -> Mapping[str, int]:
        """Paces learned in this past."""
        return self._paces

    def save_paces(self, paces: Mapping[str, int]) -> None:
        """Note paces."""
        self._paces.update(paces)
