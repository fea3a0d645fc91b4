"""Readings in InfluxDB, everything else in SQLite."""

import sqlite3
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from hilum.domain.model import AddOutcome, DirtyMark, HourTier, Reading, Series
from hilum.stores import rules
from hilum.stores.influx.readings import InfluxReadings, Plan, outcome
from hilum.stores.sqlite import SqliteStore, dirty, journal
from hilum.stores.sqlite.arrivals import spoke
from hilum.stores.sqlite.readings import register


class SplitStore(SqliteStore):
    """Implements ``hilum.domain.ports.Store`` over an InfluxDB and one SQLite file.

    No transaction spans the two, so the order makes a batch durable. What it changes is marked
    dirty in SQLite first; then InfluxDB accepts it; then it is marked again, together with sensors
    and rejects, and only then ``add`` returns. Whatever fails in between is a ``StoreError``: the
    broker is not told that the batch arrived, and gives it again. A reading that was accepted
    already is then a duplicate, which marks nothing; that is why the first mark is needed, and why
    no mark of a sensor is cleared while one of its batches hangs in between.

    So there is no spool of our own on the disk: while InfluxDB is away the broker holds the
    messages, durably, and a second queue would only be a second place to lose them.

    Parameters
    ----------
    path : Path or str
        The database for all but readings; as ``SqliteStore``.
    readings : InfluxReadings
        Where the readings are; closed with the store.
    exclusive : bool
        As ``SqliteStore``.
    """

    def __init__(
        self, path: Path | str, readings: InfluxReadings, *, exclusive: bool = True
    ) -> None:
        super().__init__(path, exclusive=exclusive)
        self.over(readings)

    def over(self, readings: InfluxReadings) -> None:
        """Say where the readings are; needed after ``open_readonly``."""
        self._readings = readings
        self._adding = threading.RLock()
        self._hanging: dict[str, int] = {}  # by sensor, earliest change that may have been accepted

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """See the port; raises ``StoreError`` when either store fails, and can be repeated."""
        if not readings:
            return AddOutcome()
        with self._adding:
            plan = self._readings.plan(readings)
            if plan.changes:
                self._note(plan.from_ms, plan.from_ms, received_ms)
                for sensor, from_ms in plan.from_ms.items():
                    self._hanging[sensor] = min(from_ms, self._hanging.get(sensor, from_ms))
                self._readings.write(plan)
            names = {reading.sensor: 0 for reading in readings}
            marks = {name: at for name, at in self._hanging.items() if name in names}
            self._note(names, marks, received_ms, plan)
            for name in marks:
                del self._hanging[name]
        return outcome(plan, len(readings))

    def _note(
        self,
        names: Mapping[str, int],
        from_ms: Mapping[str, int],
        received_ms: int,
        plan: Plan | None = None,
    ) -> None:
        """Register sensors and mark them; with a plan, also that they spoke and its conflicts."""

        def job(conn: sqlite3.Connection) -> None:
            ids = {name: register(conn, name, received_ms) for name in names}
            dirty.mark(conn, {ids[name]: at for name, at in from_ms.items()})
            if plan is not None:
                spoke(conn, [(received_ms, number) for number in ids.values()])
                said = [rules.conflict(*pair, received_ms) for pair in plan.conflicts]
                journal.keep_rejects(conn, said)

        self._db.write(job)

    def hears(self, site: str) -> None:
        """See the port; sensors of which only InfluxDB knows are registered first."""
        names = [name for name in self._readings.sensors() if name.startswith(f"{site}/")]
        self._note(dict.fromkeys(names, 0), {}, time.time_ns() // 1_000_000)
        super().hears(site)

    def clear_dirty(self, marks: Sequence[DirtyMark]) -> None:
        """See the port; marks of a sensor whose batch may be half kept stay."""
        with self._adding:
            super().clear_dirty([mark for mark in marks if mark.sensor not in self._hanging])

    def series(self, sensor: str, start_ms: int, end_ms: int) -> Series:
        """See the port."""
        return self._readings.series(sensor, start_ms, end_ms)

    def before(self, sensor: str, time_ms: int) -> Reading | None:
        """See the port."""
        return self._readings.before(sensor, time_ms)

    def newest(self, sensor: str) -> Reading | None:
        """See the port."""
        return self._readings.newest(sensor)

    def extent(self, sensor: str) -> tuple[int, int, int] | None:
        """See the port."""
        return self._readings.extent(sensor)

    def pages(
        self, sensor: str, start_ms: int, end_ms: int, size: int
    ) -> Iterator[Sequence[Reading]]:
        """See the port."""
        return self._readings.pages(sensor, start_ms, end_ms, size)

    def hours(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port."""
        return self._readings.hours(sensor, start_ms, end_ms)

    def days(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port."""
        return self._readings.days(sensor, start_ms, end_ms)

    def refresh_tiers(self, from_ms: Mapping[str, int]) -> None:
        """See the port."""
        self._readings.refresh_tiers(from_ms)

    def close(self) -> None:
        """See ``SqliteStore``; also closes the connections to InfluxDB."""
        super().close()
        self._readings.close()
