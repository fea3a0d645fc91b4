"""Hour and day summaries, so that ten years draw as fast as a day."""

import sqlite3
from dataclasses import fields

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, HourTier
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import arrays

_PERIODS = {"hour": MS_PER_HOUR, "day": MS_PER_DAY}
_COLUMNS = tuple(field.name for field in fields(HourTier))
# The names put into these are the two above. What a sensor did not report is NULL, and SQLite's
# aggregates pass over it.
_DELETE = """
    DELETE FROM {tier}
    WHERE sensor_id = (SELECT id FROM sensor WHERE name = :sensor) AND start_ms >= :start
"""
_FILL = """
    INSERT INTO {tier}
    SELECT sensor_id, time_ms / {period} * {period}, count(*),
        min(temp_c), avg(temp_c), max(temp_c), min(rh_pct), avg(rh_pct), max(rh_pct)
    FROM reading
    WHERE sensor_id = (SELECT id FROM sensor WHERE name = :sensor) AND time_ms >= :start
    GROUP BY time_ms / {period}
"""
_SELECT = """
    SELECT {columns} FROM {tier}
    WHERE sensor_id = (SELECT id FROM sensor WHERE name = :sensor)
    AND start_ms >= :start AND start_ms < :end ORDER BY start_ms
"""


class TiersSection:
    """Minimum, mean and maximum of what was reported, by hour and by UTC day."""

    _db: Database

    def hours(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port."""
        return self._tier("hour", sensor, start_ms, end_ms)

    def days(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port."""
        return self._tier("day", sensor, start_ms, end_ms)

    def _tier(self, tier: str, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        given = {"sensor": sensor, "start": start_ms, "end": end_ms}
        with self._db.reading() as conn:
            rows = conn.execute(_SELECT.format(columns=", ".join(_COLUMNS), tier=tier), given)
            return HourTier(*arrays(rows, _COLUMNS, whole=2))

    def refresh_tiers(self, sensor: str, from_ms: int) -> None:
        """See the port; both are made from the readings themselves, so that means are exact."""
        self._db.write(lambda conn: _refresh(conn, sensor, from_ms))


def _refresh(conn: sqlite3.Connection, sensor: str, from_ms: int) -> None:
    for tier, period in _PERIODS.items():
        given = {"sensor": sensor, "start": from_ms // period * period}
        conn.execute(_DELETE.format(tier=tier), given)
        conn.execute(_FILL.format(tier=tier, period=period), given)
