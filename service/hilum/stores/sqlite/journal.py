"""Germination tests, the journal and what was refused, in SQLite."""

import sqlite3
from collections import Counter
from collections.abc import Sequence

from hilum.domain.model import Event, GerminationTest, Reject
from hilum.stores import rules
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import BOXES, EVENTS, LOTS, REJECTS, SENSORS, TESTS, where


class JournalSection:
    """What happened."""

    _db: Database

    def tests(self, lot: str | None = None) -> Sequence[GerminationTest]:
        """See the port."""
        clause, given = where(lot=lot)
        with self._db.reading() as conn:
            return TESTS.select(conn, f'{clause}ORDER BY "on", id', given)

    def add_test(self, test: GerminationTest) -> GerminationTest:
        """See the port."""
        rules.check_test(test)

        def job(conn: sqlite3.Connection) -> GerminationTest:
            LOTS.require(conn, test.lot)
            return TESTS.insert(conn, test)

        return self._db.write(job)

    def events(
        self,
        *,
        box: str | None = None,
        lot: str | None = None,
        start_ms: int = 0,
        limit: int = 1000,
    ) -> Sequence[Event]:
        """See the port."""
        clause, given = where(box=box, lot=lot)
        rest = f"{clause or 'WHERE 1 '}AND time_ms >= ? ORDER BY time_ms DESC, id DESC LIMIT ?"
        with self._db.reading() as conn:
            return EVENTS.select(conn, rest, (*given, start_ms, limit))

    def add_event(self, event: Event) -> Event:
        """See the port."""
        rules.check_event(event)

        def job(conn: sqlite3.Connection) -> Event:
            BOXES.require(conn, event.box)
            LOTS.require(conn, event.lot)
            SENSORS.require(conn, event.sensor)
            return EVENTS.insert(conn, event)

        return self._db.write(job)

    def strike_event(self, event_id: int) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            EVENTS.require(conn, event_id)
            conn.execute("UPDATE event SET struck = 1 WHERE id = ?", (event_id,))

        self._db.write(job)

    def add_rejects(self, rejects: Sequence[Reject]) -> None:
        """See the port."""
        if rejects:
            self._db.write(lambda conn: keep_rejects(conn, rejects))

    def rejects(self, *, limit: int = 100, sensor: str | None = None) -> Sequence[Reject]:
        """See the port."""
        clause, given = where(sensor=sensor)
        with self._db.reading() as conn:
            return REJECTS.select(conn, f"{clause}ORDER BY id DESC LIMIT ?", (*given, limit))

    def reject_counts(self) -> dict[str, int]:
        """See the port."""
        with self._db.reading() as conn:
            return dict(conn.execute("SELECT reason, count FROM reject_count"))


def keep_rejects(conn: sqlite3.Connection, rejects: Sequence[Reject]) -> None:
    """Keep the newest rejects and the count of all, inside a transaction."""
    if not rejects:
        return
    REJECTS.insert_all(conn, map(rules.trimmed, rejects[-rules.REJECTS_KEPT :]))
    conn.execute(
        "DELETE FROM reject WHERE id <= (SELECT max(id) FROM reject) - ?", (rules.REJECTS_KEPT,)
    )
    conn.executemany(
        "INSERT INTO reject_count VALUES (?, ?)"
        " ON CONFLICT (reason) DO UPDATE SET count = count + excluded.count",
        Counter(reject.reason for reject in rejects).items(),
    )
