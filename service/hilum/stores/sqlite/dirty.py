"""Dirty marks: from when on a sensor's readings changed.

A sensor has one mark. It also says from when on readings changed since the mark was first made, or
since it was last cleared in part: who worked off a mark that moved on meanwhile need not begin
again. Where working off takes longer than the next reading takes to come, it would never end.
"""

import sqlite3
from collections.abc import Mapping

DIRTY_SINCE = (
    "ALTER TABLE dirty ADD COLUMN base INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE dirty ADD COLUMN since_ms INTEGER",
)

_MARK = """
    INSERT INTO dirty (sensor_id, from_ms, mark, base) VALUES (?1, ?2, ?3, ?3)
    ON CONFLICT (sensor_id) DO UPDATE SET from_ms = min(from_ms, excluded.from_ms),
        mark = excluded.mark, since_ms = min(ifnull(since_ms, ?2), ?2)
"""
_CLEAR = "DELETE FROM dirty WHERE sensor_id = (SELECT id FROM sensor WHERE name = ?) AND mark = ?"
_CLEAR_PART = """
    UPDATE dirty SET from_ms = since_ms, base = mark, since_ms = NULL
    WHERE sensor_id = (SELECT id FROM sensor WHERE name = ?1)
    AND base <= ?2 AND mark > ?2 AND since_ms IS NOT NULL
"""


def mark(conn: sqlite3.Connection, from_ms: Mapping[int, int]) -> None:
    """Mark sensors (by id) dirty from these times on, with a number never given before."""
    if not from_ms:
        return
    (number,) = conn.execute("UPDATE last_mark SET mark = mark + 1 RETURNING mark").fetchone()
    conn.executemany(_MARK, [(*pair, number) for pair in from_ms.items()])


def mark_named(conn: sqlite3.Connection, sensor: str, from_ms: int) -> None:
    """Mark one sensor, which must be known."""
    (sensor_id,) = conn.execute("SELECT id FROM sensor WHERE name = ?", (sensor,)).fetchone()
    mark(conn, {sensor_id: from_ms})


def clear(conn: sqlite3.Connection, sensor: str, number: int) -> None:
    """Clear a mark as it was read; of one that moved on, what came since stays."""
    conn.execute(_CLEAR, (sensor, number))
    conn.execute(_CLEAR_PART, (sensor, number))
