"""The mark of the one process that serves a database."""

import os
import sqlite3
import time
from pathlib import Path

from hilum.domain.errors import StoreError
from hilum.domain.moments import utc_words
from hilum.stores.sqlite.errors import translated


class ServeLock:
    """Held until released; the operating system frees it when the process ends in any way.

    It is an open write transaction on a small SQLite file beside the database: that works on every
    system SQLite works on, and lets others read who holds it.

    Parameters
    ----------
    database : Path
        The database; the lock stands beside it as ``<name>.lock``.
    wait_s : float
        How long to wait for another holder.

    Raises
    ------
    StoreError
        Another process holds it; says which.
    """

    def __init__(self, database: Path, wait_s: float = 0.0) -> None:
        path = database.with_name(f"{database.name}.lock")
        with translated(path):
            self._conn = sqlite3.connect(
                path, timeout=wait_s, isolation_level=None, check_same_thread=False
            )
            try:
                self._take()
            except sqlite3.Error as error:
                holder = self._holder()
                self._conn.close()
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                    raise
                raise StoreError(
                    f"The database {database} is in use by {holder}. "
                    "Stop that one first, or give another database."
                ) from error

    def _take(self) -> None:
        self._conn.execute("BEGIN IMMEDIATE")
        self._conn.execute("CREATE TABLE IF NOT EXISTS holder (pid INTEGER, since_ms INTEGER)")
        self._conn.execute("DELETE FROM holder")
        now_ms = time.time_ns() // 1_000_000
        self._conn.execute("INSERT INTO holder VALUES (?, ?)", (os.getpid(), now_ms))
        self._conn.execute("COMMIT")
        self._conn.execute("BEGIN IMMEDIATE")

    def _holder(self) -> str:
        try:
            pid, since_ms = self._conn.execute("SELECT pid, since_ms FROM holder").fetchone()
        except (sqlite3.Error, TypeError):  # it is writing its name just now
            return "another process"
        return f"process {pid}, since {utc_words(since_ms)}"

    def release(self) -> None:
        """Let go."""
        self._conn.close()
