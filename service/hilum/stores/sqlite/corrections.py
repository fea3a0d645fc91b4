"""Corrections of sensors in SQLite, and the table they lie in."""

import sqlite3
from collections.abc import Sequence

from hilum.domain.corrections import Correction
from hilum.stores import rules
from hilum.stores.sqlite import dirty
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import SENSORS, Table, where

CORRECTION_TABLES = (
    """
    CREATE TABLE correction (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        sensor TEXT NOT NULL REFERENCES sensor (name),
        from_ms INTEGER NOT NULL,
        temp_offset_c REAL NOT NULL,
        rh_gain REAL NOT NULL,
        rh_offset_pct REAL NOT NULL,
        how TEXT NOT NULL,
        UNIQUE (sensor, from_ms)
    )
    """,
)

CORRECTIONS = Table(Correction, "correction", "id", "correction")


class CorrectionSection:
    """How readings are corrected when they are read."""

    _db: Database

    def corrections(self, sensor: str | None = None) -> Sequence[Correction]:
        """See the port."""
        clause, given = where(sensor=sensor)
        with self._db.reading() as conn:
            return CORRECTIONS.select(conn, f"{clause}ORDER BY sensor, from_ms", given)

    def add_correction(self, correction: Correction) -> Correction:
        """See the port."""

        def job(conn: sqlite3.Connection) -> Correction:
            SENSORS.require(conn, correction.sensor)
            others = CORRECTIONS.select(conn, "WHERE sensor = ?", (correction.sensor,))
            rules.check_correction(correction, others)
            dirty.mark_named(conn, correction.sensor, correction.from_ms)
            return CORRECTIONS.insert(conn, correction)

        return self._db.write(job)

    def remove_correction(self, correction_id: int) -> Correction:
        """See the port."""

        def job(conn: sqlite3.Connection) -> Correction:
            gone = CORRECTIONS.get(conn, correction_id)
            conn.execute("DELETE FROM correction WHERE id = ?", (correction_id,))
            dirty.mark_named(conn, gone.sensor, gone.from_ms)
            return gone

        return self._db.write(job)
