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
_DELETE = "DELETE FROM {tier} WHERE sensor_id = :id AND start_ms >= :start"
# One period at a time: a GROUP BY over the division would sort all readings first, at thrice the
# cost.
_FILL = """
    INSERT INTO {tier} SELECT * FROM (
        SELECT :id, :start, count(*) AS count,
            min(temp_c), avg(temp_c), max(temp_c), min(rh_pct), avg(rh_pct), max(rh_pct)
        FROM reading
        WHERE sensor_id = :id AND time_ms >= :start AND time_ms < :start + {period}
    ) WHERE count > 0
"""
_NEWEST = """
    SELECT id, (SELECT max(time_ms) FROM reading WHERE sensor_id = sensor.id)
    FROM sensor WHERE name = ?
"""
_FIRST = "SELECT min(time_ms) FROM reading WHERE sensor_id = ? AND time_ms >= ?"
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
    for sensor_id, newest_ms in conn.execute(_NEWEST, (sensor,)).fetchall():
        for tier, period in _PERIODS.items():
            start = from_ms // period * period
            conn.execute(_DELETE.format(tier=tier), {"id": sensor_id, "start": start})
            (first,) = conn.execute(_FIRST, (sensor_id, start)).fetchone()
            if first is not None:
                starts = range(first // period * period, newest_ms + 1, period)
                periods = ({"id": sensor_id, "start": start_ms} for start_ms in starts)
                conn.executemany(_FILL.format(tier=tier, period=period), periods)
