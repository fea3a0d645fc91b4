"""Hour and day summaries, so that ten years draw as fast as a day."""

import sqlite3
from collections.abc import Mapping
from dataclasses import fields

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, HourTier
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import arrays

_COLUMNS = tuple(field.name for field in fields(HourTier))
# How many temperatures and humidities an hour's means are made of, so that days follow from hours.
COUNTED_TABLES = (
    "ALTER TABLE hour ADD COLUMN temps INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE hour ADD COLUMN rhs INTEGER NOT NULL DEFAULT 0",
    f"""
    UPDATE hour SET (temps, rhs) = (
        SELECT count(temp_c), count(rh_pct) FROM reading
        WHERE sensor_id = hour.sensor_id
        AND time_ms >= start_ms AND time_ms < start_ms + {MS_PER_HOUR}
    )
    """,  # noqa: S608, a number of ours
)
_NEWEST = """
    SELECT id, (SELECT max(time_ms) FROM reading WHERE sensor_id = sensor.id)
    FROM sensor WHERE name = ?
"""
_FIRST = "SELECT min(time_ms) FROM reading WHERE sensor_id = ? AND time_ms >= ?"
# One hour at a time: a GROUP BY over the division would sort all readings first, at thrice the
# cost. What a sensor did not report is NULL, and SQLite's aggregates pass over it.
_ADD_HOUR = f"""
    INSERT INTO hour SELECT * FROM (
        SELECT :id, :start, count(*) AS count,
            min(temp_c), avg(temp_c), max(temp_c), min(rh_pct), avg(rh_pct), max(rh_pct),
            count(temp_c), count(rh_pct)
        FROM reading
        WHERE sensor_id = :id AND time_ms >= :start AND time_ms < :start + {MS_PER_HOUR}
    ) WHERE count > 0
"""  # noqa: S608, a number of ours
_ADD_DAYS = f"""
    INSERT INTO day
    SELECT :id, start_ms / {MS_PER_DAY} * {MS_PER_DAY}, sum(count),
        min(temp_min), sum(temp_mean * temps) / sum(temps), max(temp_max),
        min(rh_min), sum(rh_mean * rhs) / sum(rhs), max(rh_max)
    FROM hour WHERE sensor_id = :id AND start_ms >= :start GROUP BY start_ms / {MS_PER_DAY}
"""  # noqa: S608, idem
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

    def refresh_tiers(self, from_ms: Mapping[str, int]) -> None:
        """See the port; a day's mean is that of its readings, not of its hours."""

        def job(conn: sqlite3.Connection) -> None:
            for sensor, start_ms in from_ms.items():
                _refresh(conn, sensor, start_ms)

        self._db.write(job)


def _refresh(conn: sqlite3.Connection, sensor: str, from_ms: int) -> None:
    for sensor_id, newest_ms in conn.execute(_NEWEST, (sensor,)).fetchall():
        hour = {"id": sensor_id, "start": _start(from_ms, MS_PER_HOUR)}
        conn.execute("DELETE FROM hour WHERE sensor_id = :id AND start_ms >= :start", hour)
        (first_ms,) = conn.execute(_FIRST, (sensor_id, hour["start"])).fetchone()
        if first_ms is not None:
            starts = range(_start(first_ms, MS_PER_HOUR), newest_ms + 1, MS_PER_HOUR)
            conn.executemany(_ADD_HOUR, ({"id": sensor_id, "start": start} for start in starts))
        day = {"id": sensor_id, "start": _start(from_ms, MS_PER_DAY)}
        conn.execute("DELETE FROM day WHERE sensor_id = :id AND start_ms >= :start", day)
        conn.execute(_ADD_DAYS, day)


def _start(time_ms: int, period: int) -> int:
    return time_ms // period * period
