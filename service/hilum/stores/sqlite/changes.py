"""Many changes in one transaction, in SQLite."""

import sqlite3
from dataclasses import replace

from hilum.domain.model import Changes, Event, GerminationTest, Stay
from hilum.stores import rules
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import BOXES, EVENTS, LOTS, SENSORS, STAYS, TESTS


class ChangesSection:
    """What belongs together is written together."""

    _db: Database

    def change(self, changes: Changes) -> Changes:
        """See the port."""
        rules.check_changes(changes)
        return self._db.write(lambda conn: _written(conn, changes))


def _written(conn: sqlite3.Connection, changes: Changes) -> Changes:
    BOXES.save_all(conn, changes.boxes)
    LOTS.save_all(conn, changes.lots)
    for number in changes.dropped_tests:
        TESTS.require(conn, number)
        conn.execute("DELETE FROM germination_test WHERE id = ?", (number,))
    return replace(
        changes,
        stays=_stays(conn, changes.stays),
        tests=tuple(_test(conn, test) for test in changes.tests),
        events=tuple(_event(conn, event) for event in changes.events),
    )


def _stays(conn: sqlite3.Connection, stays: tuple[Stay, ...]) -> tuple[Stay, ...]:
    for stay in stays:
        rules.check_interval(stay.from_ms, stay.to_ms)
        LOTS.require(conn, stay.lot)
        BOXES.require(conn, stay.box)
    put = tuple(STAYS.put(conn, stay) for stay in stays)
    for lot in dict.fromkeys(stay.lot for stay in stays):
        rules.check_stays(STAYS.select(conn, "WHERE lot = ? ORDER BY from_ms, id", (lot,)))
    return put


def _test(conn: sqlite3.Connection, test: GerminationTest) -> GerminationTest:
    LOTS.require(conn, test.lot)
    return TESTS.put(conn, test)


def _event(conn: sqlite3.Connection, event: Event) -> Event:
    BOXES.require(conn, event.box)
    LOTS.require(conn, event.lot)
    SENSORS.require(conn, event.sensor)
    return EVENTS.put(conn, event)
