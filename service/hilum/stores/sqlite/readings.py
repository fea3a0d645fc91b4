"""Readings in SQLite: keyed by sensor and time, kept to the last bit."""

import json
import sqlite3
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import AddOutcome, Reading, Reject, Series
from hilum.stores import rules
from hilum.stores.rules import Values
from hilum.stores.sqlite import dirty, journal
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import arrays

CHUNK = 10_000  # readings per statement

_INSERT = "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)"
_REPLACE = "REPLACE INTO reading VALUES (?, ?, ?, ?, ?, ?)"
_READINGS = (
    "SELECT name, time_ms, temp_c, rh_pct, battery_pct, battery_v"
    " FROM reading JOIN sensor ON sensor.id = sensor_id WHERE name = ? "
)
_KEPT = """
    SELECT sensor_id, time_ms, temp_c, rh_pct, battery_pct, battery_v
    FROM json_each(?) AS wanted
    CROSS JOIN reading
        ON sensor_id = json_extract(wanted.value, '$[0]')
        AND time_ms = json_extract(wanted.value, '$[1]')
"""
_KNOWN = "SELECT name, sensor.id FROM json_each(?) AS wanted JOIN sensor ON name = wanted.value"
_SPOKE = """
    UPDATE sensor SET readings = readings + ?1, last_seen_ms = max(ifnull(last_seen_ms, ?2), ?2)
    WHERE id = ?3
"""


class ReadingsSection:
    """The raw truth."""

    _db: Database

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """See the port; one transaction, whatever the size."""
        if not readings:
            return AddOutcome()
        return self._db.write(lambda conn: _Adding(conn, readings, received_ms).outcome())

    def series(self, sensor: str, start_ms: int, end_ms: int) -> Series:
        """See the port."""
        with self._db.reading() as conn:
            rows = conn.execute(
                "SELECT time_ms, temp_c, rh_pct FROM reading"
                " WHERE sensor_id = (SELECT id FROM sensor WHERE name = ?)"
                " AND time_ms >= ? AND time_ms < ? ORDER BY time_ms",
                (sensor, start_ms, end_ms),
            )
            return Series(*arrays(rows, ("time_ms", "temp_c", "rh_pct"), whole=1))

    def before(self, sensor: str, time_ms: int) -> Reading | None:
        """See the port."""
        found = self._read("AND time_ms < ? ORDER BY time_ms DESC LIMIT 1", sensor, time_ms)
        return found[0] if found else None

    def newest(self, sensor: str) -> Reading | None:
        """See the port."""
        found = self._read("ORDER BY time_ms DESC LIMIT 1", sensor)
        return found[0] if found else None

    def extent(self, sensor: str) -> tuple[int, int, int] | None:
        """See the port."""
        with self._db.reading() as conn:
            found: tuple[int, int, int] | None = conn.execute(
                "SELECT readings,"
                " (SELECT min(time_ms) FROM reading WHERE sensor_id = sensor.id),"
                " (SELECT max(time_ms) FROM reading WHERE sensor_id = sensor.id)"
                " FROM sensor WHERE name = ? AND readings > 0",
                (sensor,),
            ).fetchone()
        return found

    def pages(
        self, sensor: str, start_ms: int, end_ms: int, size: int
    ) -> Iterator[Sequence[Reading]]:
        """See the port; each page is a query of its own, so nothing is held open between them."""
        if size < 1:
            raise InvalidInputError("A page needs at least one reading.", "size")
        where = "AND time_ms >= ? AND time_ms < ? ORDER BY time_ms LIMIT ?"
        while page := self._read(where, sensor, start_ms, end_ms, size):
            yield page
            start_ms = page[-1].time_ms + 1

    def _read(self, rest: str, *given: object) -> list[Reading]:
        with self._db.reading() as conn:
            return [Reading(*row) for row in conn.execute(_READINGS + rest, given)]


class _Adding:
    """One call of ``add``, inside its transaction."""

    def __init__(
        self, conn: sqlite3.Connection, readings: Sequence[Reading], received_ms: int
    ) -> None:
        self._conn = conn
        self._readings = readings
        self._received_ms = received_ms
        self._ids = _ids(conn, readings, received_ms)
        self._new: Counter[int] = Counter()  # by sensor
        self._from_ms: dict[int, int] = {}  # earliest change by sensor
        self._filled = 0
        self._conflicts: list[tuple[Reading, Values]] = []

    def outcome(self) -> AddOutcome:
        """Keep everything."""
        for start in range(0, len(self._readings), CHUNK):
            chunk = self._readings[start : start + CHUNK]
            if not self._insert(chunk):
                self._merge(chunk)
        self._conn.executemany(
            _SPOKE, [(self._new[i], self._received_ms, i) for i in self._ids.values()]
        )
        dirty.mark(self._conn, self._from_ms)
        journal.keep_rejects(self._conn, self._rejects())
        stored = self._new.total() + self._filled
        return AddOutcome(
            stored=stored,
            duplicates=len(self._readings) - stored - len(self._conflicts),
            conflicts=tuple(reading for reading, _ in self._conflicts),
        )

    def _insert(self, chunk: Sequence[Reading]) -> bool:
        """Insert readings if none of their times is taken yet; else change nothing."""
        ids = self._ids
        rows = [
            (ids[r.sensor], r.time_ms, r.temp_c, r.rh_pct, r.battery_pct, r.battery_v)
            for r in chunk
        ]
        self._conn.execute("SAVEPOINT chunk")
        try:
            self._conn.executemany(_INSERT, rows)
        except sqlite3.IntegrityError as error:
            self._conn.execute("ROLLBACK TO chunk")
            self._conn.execute("RELEASE chunk")
            if error.sqlite_errorcode != sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
                raise
            return False
        self._conn.execute("RELEASE chunk")
        for row in rows:
            self._changed(row[0], row[1])
        self._new.update(row[0] for row in rows)
        return True

    def _merge(self, chunk: Sequence[Reading]) -> None:
        """Insert new readings, fill gaps of kept ones, set conflicts aside; in order."""
        kept = self._kept(chunk)
        changes: dict[tuple[int, int], Values] = {}
        for reading in chunk:
            key = (self._ids[reading.sensor], reading.time_ms)
            old = kept.get(key)
            new = rules.values(reading)
            both = new if old is None else rules.merged(old, new)
            if old is not None and both is None:
                self._conflicts.append((reading, old))
            elif both is not None and both != old:
                kept[key] = changes[key] = both
                self._changed(*key)
                if old is None:
                    self._new[key[0]] += 1
                else:
                    self._filled += 1
        self._conn.executemany(_REPLACE, [(*key, *both) for key, both in changes.items()])

    def _kept(self, chunk: Sequence[Reading]) -> dict[tuple[int, int], Values]:
        wanted = json.dumps([(self._ids[reading.sensor], reading.time_ms) for reading in chunk])
        return {(row[0], row[1]): row[2:] for row in self._conn.execute(_KEPT, (wanted,))}

    def _changed(self, sensor_id: int, time_ms: int) -> None:
        if time_ms < self._from_ms.get(sensor_id, time_ms + 1):
            self._from_ms[sensor_id] = time_ms

    def _rejects(self) -> list[Reject]:
        return [rules.conflict(*pair, self._received_ms) for pair in self._conflicts]


def _ids(
    conn: sqlite3.Connection, readings: Sequence[Reading], received_ms: int
) -> Mapping[str, int]:
    """Give the ids of these sensors; unknown ones are registered."""
    names = list(dict.fromkeys(reading.sensor for reading in readings))
    ids = dict(conn.execute(_KNOWN, (json.dumps(names),)))
    return {name: ids.get(name) or register(conn, name, received_ms) for name in names}


def register(conn: sqlite3.Connection, name: str, received_ms: int) -> int:
    """Make a sensor known if it is not, and give its id."""
    if not name:
        raise InvalidInputError("A sensor needs a name.", "sensor")
    conn.execute(
        "INSERT INTO sensor (name, first_seen_ms) VALUES (?, ?) ON CONFLICT (name) DO NOTHING",
        (name, received_ms),
    )
    (sensor_id,) = conn.execute("SELECT id FROM sensor WHERE name = ?", (name,)).fetchone()
    return int(sensor_id)
