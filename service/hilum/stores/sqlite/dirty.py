"""Dirty marks: from when on a sensor's readings changed."""

import sqlite3
from collections.abc import Mapping


def mark(conn: sqlite3.Connection, from_ms: Mapping[int, int]) -> None:
    """Mark sensors (by id) dirty from these times on, with a number never given before."""
    if not from_ms:
        return
    (number,) = conn.execute("UPDATE last_mark SET mark = mark + 1 RETURNING mark").fetchone()
    conn.executemany(
        "INSERT INTO dirty VALUES (?, ?, ?) ON CONFLICT (sensor_id) DO UPDATE"
        " SET from_ms = min(from_ms, excluded.from_ms), mark = excluded.mark",
        [(sensor_id, start_ms, number) for sensor_id, start_ms in from_ms.items()],
    )


def mark_named(conn: sqlite3.Connection, sensor: str, from_ms: int) -> None:
    """Mark one sensor, which must be known."""
    (sensor_id,) = conn.execute("SELECT id FROM sensor WHERE name = ?", (sensor,)).fetchone()
    mark(conn, {sensor_id: from_ms})
