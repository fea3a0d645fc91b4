"""Readings in InfluxDB."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, AddOutcome, HourTier, Reading, Series
from hilum.stores import rules
from hilum.stores.influx import lines
from hilum.stores.influx.server import Place, Server
from hilum.stores.rules import Values

PAGE = 10_000  # rows in one answer
EVER = (lines.FIRST_MS, lines.LAST_MS + 1)
Key = tuple[str, int]


@dataclass(slots=True)
class Plan:
    """What a batch changes, found out before anything is written."""

    changes: dict[Key, Values] = field(default_factory=dict)
    from_ms: dict[str, int] = field(default_factory=dict)  # earliest change by sensor
    stored: int = 0
    conflicts: list[tuple[Reading, Values]] = field(default_factory=list)

    def change(self, key: Key, given: Values) -> None:
        """Note that a reading is new or filled in."""
        sensor, time_ms = key
        self.changes[key] = given
        self.from_ms[sensor] = min(time_ms, self.from_ms.get(sensor, time_ms))
        self.stored += 1


class InfluxReadings:
    """Implements ``hilum.domain.ports.ReadingStore`` over an InfluxDB, but for two things.

    Dirty marks, sensors and rejects are not kept here; ``SplitStore`` adds them. And since the
    server has no transactions, what two processes write at the same time for the same sensor and
    moment is not compared: the later one stays.
    """

    def __init__(self, place: Place) -> None:
        self._server = Server(place)

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """See the port; an outage is a ``StoreError``, and the batch can be handed in again."""
        del received_ms
        plan = self.plan(readings)
        self.write(plan)
        return outcome(plan, len(readings))

    def plan(self, readings: Sequence[Reading]) -> Plan:
        """Compare a batch with what is kept; nothing is written."""
        for reading in readings:
            lines.check(reading.sensor, reading.time_ms)
        kept = self._kept(readings)
        plan = Plan()
        for reading in readings:
            key = (reading.sensor, reading.time_ms)
            old, new = kept.get(key), rules.values(reading)
            both = new if old is None else rules.merged(old, new)
            if old is not None and both is None:
                plan.conflicts.append((reading, old))
            elif both is not None and both != old:
                kept[key] = both
                plan.change(key, both)
        return plan

    def write(self, plan: Plan) -> None:
        """Write what a plan changes. Once more after a failure does no harm."""
        if plan.changes:
            self._server.write([lines.line(*key, given) for key, given in plan.changes.items()])

    def _kept(self, readings: Sequence[Reading]) -> dict[Key, Values]:
        """Read back all that is kept from the first to the last moment of each stretch."""
        kept: dict[Key, Values] = {}
        spans = list(_stretches(readings))
        asked = [f"SELECT {lines.COLUMNS} {lines.where(*span)} LIMIT {PAGE}" for span in spans]
        for (sensor, _, end_ms), rows in zip(spans, self._server.query(asked), strict=True):
            kept |= {(sensor, int(row[0])): lines.values(row) for row in rows}
            if len(rows) == PAGE:
                for page in self._pages(sensor, rows[-1][0] + 1, end_ms, PAGE):
                    kept |= {(sensor, int(row[0])): lines.values(row) for row in page}
        return kept

    def _rows(self, sensor: str, start_ms: int, end_ms: int, rest: str) -> list[list[float]]:
        if start_ms >= end_ms or end_ms <= lines.FIRST_MS or start_ms > lines.LAST_MS:
            return []
        given = lines.where(sensor, start_ms, end_ms)
        return self._server.query([f"SELECT {lines.COLUMNS} {given} {rest}"])[0]

    def _pages(
        self, sensor: str, start_ms: int, end_ms: int, size: int
    ) -> Iterator[list[list[float]]]:
        while rows := self._rows(sensor, start_ms, end_ms, f"LIMIT {min(size, PAGE)}"):
            yield rows
            start_ms = int(rows[-1][0]) + 1

    def sensors(self) -> list[str]:
        """Names of all sensors that have readings here."""
        asked = f"SHOW TAG VALUES FROM {lines.MEASUREMENT} WITH KEY = sensor"
        return [str(name) for _, name in self._server.query([asked])[0]]

    def series(self, sensor: str, start_ms: int, end_ms: int) -> Series:
        """See the port."""
        rows = [
            (row[0], row[2], row[3])
            for page in self._pages(sensor, start_ms, end_ms, PAGE)
            for row in page
        ]
        columns = np.array([row[1:] for row in rows], dtype=np.float64).reshape(-1, 2).T
        times = np.array([row[0] for row in rows], dtype=np.int64)
        return Series(times, columns[0].copy(), columns[1].copy())

    def before(self, sensor: str, time_ms: int) -> Reading | None:
        """See the port."""
        rows = self._rows(sensor, EVER[0], time_ms, "ORDER BY time DESC LIMIT 1")
        return _reading(sensor, rows[0]) if rows else None

    def newest(self, sensor: str) -> Reading | None:
        """See the port."""
        return self.before(sensor, EVER[1])

    def extent(self, sensor: str) -> tuple[int, int, int] | None:
        """See the port."""
        ends = self._ends(sensor)
        if ends is None:
            return None
        every = lines.where(sensor, *EVER)
        rows = self._server.query([f"SELECT count({lines.PRESENT}) {every}"])[0]
        return (int(rows[0][1]), *ends) if rows else None

    def _ends(self, sensor: str) -> tuple[int, int] | None:
        one = f"SELECT {lines.PRESENT} {lines.where(sensor, *EVER)} ORDER BY time"
        first, last = self._server.query([f"{one} ASC LIMIT 1", f"{one} DESC LIMIT 1"])
        return (first[0][0], last[0][0]) if first and last else None

    def pages(
        self, sensor: str, start_ms: int, end_ms: int, size: int
    ) -> Iterator[Sequence[Reading]]:
        """See the port; no page is larger than 10,000."""
        if size < 1:
            raise InvalidInputError("A page needs at least one reading.", "size")
        for page in self._pages(sensor, start_ms, end_ms, size):
            yield [_reading(sensor, row) for row in page]

    def hours(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port; the server computes them from the readings."""
        return self._tier(sensor, MS_PER_HOUR, start_ms, end_ms)

    def days(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port; the server computes them from the readings."""
        return self._tier(sensor, MS_PER_DAY, start_ms, end_ms)

    def _tier(self, sensor: str, period_ms: int, start_ms: int, end_ms: int) -> HourTier:
        start_ms, end_ms = (-(-ms // period_ms) * period_ms for ms in (start_ms, end_ms))
        ends = self._ends(sensor)
        rows: list[list[float]] = []
        if ends is not None:  # empty periods are not gone through
            first = ends[0] // period_ms * period_ms
            start_ms, end_ms = max(start_ms, first), min(end_ms, ends[1] + 1)
            step_ms = PAGE * period_ms
            asked = [
                f"SELECT count({lines.PRESENT}), min(temp), mean(temp), max(temp),"
                f" min(rh), mean(rh), max(rh)"
                f" {lines.where(sensor, at_ms, min(at_ms + step_ms, end_ms))}"
                f" GROUP BY time({period_ms}ms) fill(none)"
                for at_ms in range(start_ms, end_ms, step_ms)
            ]
            rows = [row for part in self._server.query(asked) for row in part]
        columns = np.array(rows, dtype=np.float64).reshape(-1, 8).T.copy()
        return HourTier(columns[0].astype(np.int64), columns[1].astype(np.int64), *columns[2:])

    def refresh_tiers(self, from_ms: Mapping[str, int]) -> None:
        """Nothing to do: summaries are computed when they are read."""
        del from_ms
        self._server.check_open()

    def close(self) -> None:
        """Close the connections to the server."""
        self._server.close()


def outcome(plan: Plan, count: int) -> AddOutcome:
    """Say what became of a batch of ``count`` readings."""
    return AddOutcome(
        stored=plan.stored,
        duplicates=count - plan.stored - len(plan.conflicts),
        conflicts=tuple(reading for reading, _ in plan.conflicts),
    )


def _reading(sensor: str, row: Sequence[float]) -> Reading:
    return Reading(sensor, int(row[0]), *lines.values(list(row)))


def _stretches(readings: Sequence[Reading]) -> Iterator[tuple[str, int, int]]:
    """Sensor, start and end of the times of a batch, cut where a day or more lies between two."""
    times: Mapping[str, set[int]] = {reading.sensor: set() for reading in readings}
    for reading in readings:
        times[reading.sensor].add(reading.time_ms)
    for sensor, found in times.items():
        ordered = sorted(found)
        start = ordered[0]
        for this, after in zip(ordered, [*ordered[1:], None], strict=True):
            if after is None or after - this >= MS_PER_DAY:
                yield sensor, start, this + 1
                start = start if after is None else after
