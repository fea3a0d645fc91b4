"""Hour and day summaries, so that ten years draw as fast as a day."""

import sqlite3
from dataclasses import fields

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, HourTier
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import arrays

_PERIODS = {"hour": MS_PER_HOUR, "day": MS_PER_DAY}
_COLUMNS = tuple(field.name for field in fields(HourTier))
_NEWEST = """
    SELECT id, (SELECT max(time_ms) FROM reading WHERE sensor_id = sensor.id)
    FROM sensor WHERE name = ?
"""
_FIRST = "SELECT min(time_ms) FROM reading WHERE sensor_id = ? AND time_ms >= ?"
# Hours with their sums, from which both tiers are made, so that readings are gone through once.
_FRESH = """
    CREATE TEMP TABLE IF NOT EXISTS fresh (start_ms INTEGER PRIMARY KEY, count,
        temps, temp_min, temp_sum, temp_max, rhs, rh_min, rh_sum, rh_max)
"""
# One hour at a time: a GROUP BY over the division would sort all readings first, at thrice the
# cost. What a sensor did not report is NULL, and SQLite's aggregates pass over it.
_FILL = f"""
    INSERT INTO fresh SELECT * FROM (
        SELECT :start, count(*) AS count,
            count(temp_c), min(temp_c), sum(temp_c), max(temp_c),
            count(rh_pct), min(rh_pct), sum(rh_pct), max(rh_pct)
        FROM reading
        WHERE sensor_id = :id AND time_ms >= :start AND time_ms < :start + {MS_PER_HOUR}
    ) WHERE count > 0
"""  # noqa: S608, a number of ours
# The names put into these are the two above.
_DELETE = "DELETE FROM {tier} WHERE sensor_id = :id AND start_ms >= :start"
_ADD = """
    INSERT INTO {tier}
    SELECT :id, start_ms / {period} * {period}, sum(count),
        min(temp_min), sum(temp_sum) / sum(temps), max(temp_max),
        min(rh_min), sum(rh_sum) / sum(rhs), max(rh_max)
    FROM fresh WHERE start_ms >= :start GROUP BY start_ms / {period}
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
    conn.execute(_FRESH)
    for sensor_id, newest_ms in conn.execute(_NEWEST, (sensor,)).fetchall():
        (first_ms,) = conn.execute(_FIRST, (sensor_id, _start(from_ms, MS_PER_DAY))).fetchone()
        if first_ms is not None:
            starts = range(_start(first_ms, MS_PER_HOUR), newest_ms + 1, MS_PER_HOUR)
            conn.executemany(_FILL, ({"id": sensor_id, "start": start} for start in starts))
        for tier, period in _PERIODS.items():
            given = {"id": sensor_id, "start": _start(from_ms, period)}
            conn.execute(_DELETE.format(tier=tier), given)
            conn.execute(_ADD.format(tier=tier, period=period), given)
        conn.execute("DELETE FROM fresh")


def _start(time_ms: int, period: int) -> int:
    return time_ms // period * period
