"""What a memory store holds, and the lock around it."""

import threading
from bisect import bisect_left, insort
from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TypeVar

from hilum.domain.access import Grant, Session
from hilum.domain.alerts import Alert, Notice, RuleSetting, TellingSetting
from hilum.domain.corrections import Correction
from hilum.domain.errors import InvalidInputError, StoreError
from hilum.domain.model import (
    Box,
    CurveKey,
    DirtyMark,
    Event,
    GerminationTest,
    LedgerRows,
    Lot,
    Placement,
    PlanLine,
    Reject,
    SeasonPlan,
    Sensor,
    Stay,
)
from hilum.stores import rules
from hilum.stores.rules import Values

K = TypeVar("K")
T = TypeVar("T")


def found(kept: Mapping[K, T], key: K, what: str) -> T:
    """Give what is kept under a key, or raise NotFoundError."""
    if key not in kept:
        raise rules.missing(what, key)
    return kept[key]


@dataclass
class Track:
    """The readings of one sensor, and their summaries by length of period and start."""

    times: list[int] = field(default_factory=list)  # sorted
    values: dict[int, Values] = field(default_factory=dict)
    tiers: dict[int, dict[int, tuple[float, ...]]] = field(default_factory=dict)

    def keep(self, time_ms: int, values: Values) -> None:
        """Keep a reading, or replace it."""
        if time_ms not in self.values:
            insort(self.times, time_ms)
        self.values[time_ms] = values

    def between(self, start_ms: int, end_ms: float) -> list[int]:
        """Times with start <= time < end."""
        return self.times[bisect_left(self.times, start_ms) : bisect_left(self.times, end_ms)]


@dataclass
class State:
    """Everything kept. A change is checked whole before any of it is made."""

    sensors: dict[str, Sensor] = field(default_factory=dict)
    tracks: dict[str, Track] = field(default_factory=dict)  # by sensor
    boxes: dict[str, Box] = field(default_factory=dict)
    placements: dict[int, Placement] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    stays: dict[int, Stay] = field(default_factory=dict)
    tests: dict[int, GerminationTest] = field(default_factory=dict)
    events: dict[int, Event] = field(default_factory=dict)
    rejects: deque[Reject] = field(default_factory=lambda: deque(maxlen=rules.REJECTS_KEPT))
    reject_counts: Counter[str] = field(default_factory=Counter)
    dirty: dict[str, DirtyMark] = field(default_factory=dict)
    dirty_since: dict[str, tuple[int, int | None]] = field(default_factory=dict)
    """Of each mark the number it was made with, and from when on readings changed since."""
    last_mark: int = 0
    hearing: bool = False
    curves: dict[CurveKey, LedgerRows] = field(default_factory=dict)
    past_changes: int = 0  # of rows older than the newest
    alerts: dict[str, Alert] = field(default_factory=dict)
    notices: dict[int, Notice] = field(default_factory=dict)
    notice_ids: dict[tuple[str, str], int] = field(default_factory=dict)  # by key and channel
    last_notice: int = 0
    rule_settings: dict[tuple[str, str], RuleSetting] = field(default_factory=dict)
    telling: TellingSetting = field(default_factory=TellingSetting)
    paces: dict[str, int] = field(default_factory=dict)
    plans: dict[int, tuple[SeasonPlan, tuple[PlanLine, ...]]] = field(default_factory=dict)
    last_plan: int = 0
    corrections: dict[int, Correction] = field(default_factory=dict)
    last_correction: int = 0
    password_hash: str = ""
    sessions: dict[str, Session] = field(default_factory=dict)  # by digest
    grants: dict[int, Grant] = field(default_factory=dict)
    closed: bool = False
    lock: threading.RLock = field(default_factory=threading.RLock)

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep other threads out for a block."""
        with self.lock:
            if self.closed:
                raise StoreError("The store is closed.")
            yield

    def register(self, name: str, received_ms: int, spoke_ms: int | None = None) -> None:
        """Make a sensor known and note when it spoke."""
        if not name:
            raise InvalidInputError("A sensor needs a name.", "sensor")
        kept = self.sensors.setdefault(name, Sensor(name, received_ms))
        if spoke_ms is not None:
            last_ms = spoke_ms if kept.last_seen_ms is None else max(spoke_ms, kept.last_seen_ms)
            self.sensors[name] = replace(kept, last_seen_ms=last_ms)

    def mark(self, from_ms: dict[str, int]) -> None:
        """Mark sensors dirty from these times on, with a number never given before."""
        if not from_ms:
            return
        self.last_mark += 1
        for sensor, start_ms in from_ms.items():
            kept = self.dirty.get(sensor)
            earliest = start_ms if kept is None else min(start_ms, kept.from_ms)
            self.dirty[sensor] = DirtyMark(sensor, earliest, self.last_mark)
            if kept is None:
                self.dirty_since[sensor] = self.last_mark, None
            else:
                base, since = self.dirty_since[sensor]
                self.dirty_since[sensor] = base, min(start_ms, start_ms if since is None else since)

    def clear(self, sensor: str, number: int) -> None:
        """Clear a mark as it was read; of one that moved on, what came since stays."""
        kept = self.dirty.get(sensor)
        if kept is None:
            return
        base, since = self.dirty_since[sensor]
        if kept.mark == number:
            del self.dirty[sensor]
        elif base <= number < kept.mark and since is not None:
            self.dirty[sensor] = replace(kept, from_ms=since)
            self.dirty_since[sensor] = kept.mark, None

    def reject(self, rejects: Sequence[Reject]) -> None:
        """Keep the newest rejects and the count of all."""
        self.rejects.extend(map(rules.trimmed, rejects))
        self.reject_counts.update(str(reject.reason) for reject in rejects)
