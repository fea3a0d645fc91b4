"""What other processes stored, in SQLite: told by them, or found out when that was missed."""

import sqlite3
from collections.abc import Iterable, Sequence

from hilum.domain.model import Arrival
from hilum.stores.sqlite import dirty
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.readings import register

HEARING_TABLES = (
    # One row while every arrival is heard; none, too, in a database that never listened.
    "CREATE TABLE hearing (one INTEGER PRIMARY KEY CHECK (one = 1))",
)
_SPOKE = "UPDATE sensor SET last_seen_ms = max(ifnull(last_seen_ms, ?1), ?1) WHERE id = ?2"


def spoke(conn: sqlite3.Connection, seen: Iterable[tuple[int, int]]) -> None:
    """Note when sensors (time, id) were last heard."""
    conn.executemany(_SPOKE, seen)


class ArrivalsSection:
    """Readings that came in by another process."""

    _db: Database

    def arrived(self, arrivals: Sequence[Arrival]) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            from_ms: dict[int, int] = {}
            seen: list[tuple[int, int]] = []
            for each in arrivals:
                number = register(conn, each.sensor, each.received_ms)
                from_ms[number] = min(each.from_ms, from_ms.get(number, each.from_ms))
                seen.append((each.received_ms, number))
            spoke(conn, seen)
            dirty.mark(conn, from_ms)

        if arrivals:
            self._db.write(job)

    def may_miss(self) -> None:
        """See the port."""
        self._db.write(lambda conn: conn.execute("DELETE FROM hearing"))

    def hears(self, site: str) -> None:
        """See the port."""
        del site

        def job(conn: sqlite3.Connection) -> None:
            if conn.execute("SELECT 1 FROM hearing").fetchone() is None:
                dirty.mark(conn, {number: 0 for (number,) in conn.execute("SELECT id FROM sensor")})
                conn.execute("INSERT INTO hearing VALUES (1)")

        self._db.write(job)
