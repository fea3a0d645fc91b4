"""The default store: everything in one SQLite file."""

import sqlite3
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from hilum.domain.errors import StoreError
from hilum.stores.sqlite import check
from hilum.stores.sqlite.access import AccessSection
from hilum.stores.sqlite.alerts import AlertSection
from hilum.stores.sqlite.arrivals import ArrivalsSection
from hilum.stores.sqlite.changes import ChangesSection
from hilum.stores.sqlite.copies import write_copy
from hilum.stores.sqlite.corrections import CorrectionSection
from hilum.stores.sqlite.database import BUSY_S, Database, connect
from hilum.stores.sqlite.errors import translated
from hilum.stores.sqlite.journal import JournalSection
from hilum.stores.sqlite.keeping import KeepingSection
from hilum.stores.sqlite.ledger import LedgerSection
from hilum.stores.sqlite.lock import ServeLock
from hilum.stores.sqlite.migrations import applied, migrate, pending, require_current
from hilum.stores.sqlite.readings import ReadingsSection
from hilum.stores.sqlite.season import SeasonSection
from hilum.stores.sqlite.tiers import TiersSection

BACKUPS = "backups"
"""Folder beside a database for copies of it."""


def backup_name(time_ms: int, of: str = "") -> str:
    """Name of a copy of a database, with its time in UTC."""
    return f"hilum-{datetime.fromtimestamp(time_ms / 1000, UTC):%Y%m%dT%H%M%SZ}{of}.sqlite3"


class SqliteStore(
    ReadingsSection,
    TiersSection,
    KeepingSection,
    ChangesSection,
    JournalSection,
    LedgerSection,
    ArrivalsSection,
    AlertSection,
    SeasonSection,
    CorrectionSection,
    AccessSection,
):
    """Implements ``hilum.domain.ports.Store`` over one SQLite file.

    Parameters
    ----------
    path : Path or str
        The database; made if it is not there, and brought up to date if it is older.
    exclusive : bool
        True for the one process that serves: a second one is refused while this one is open.
        False for a command that writes beside it, one short transaction at a time.

    Raises
    ------
    StoreError
        The database is in use, cannot be opened, or is none of ours; ``NewerSchemaError`` if a
        newer Hilum wrote it.
    """

    def __init__(self, path: Path | str, *, exclusive: bool = True) -> None:
        path = Path(path)
        self._lock = ServeLock(path) if exclusive else None
        try:
            with translated(path):
                self._db = Database(path, _ready(path, locked=exclusive))
        except BaseException:
            if self._lock is not None:
                self._lock.release()
            raise

    @classmethod
    def open_readonly(cls, path: Path | str) -> Self:
        """Open a database that is there for reading only, also while another process serves it."""
        path = Path(path)
        if not path.exists():
            raise StoreError(f"There is no database at {path}.")
        store = cls.__new__(cls)
        store._lock = None  # noqa: SLF001 - its own
        store._db = Database(path, None)  # noqa: SLF001
        try:
            with store._db.reading() as conn:  # noqa: SLF001
                require_current(conn, path)
        except BaseException:
            store.close()
            raise
        return store

    def check_integrity(self) -> list[str]:
        """Say what is wrong with the database, a sentence each; empty when all is well."""
        with self._db.reading() as conn:
            return check.problems(conn)

    def backup(self, target: Path | str) -> None:
        """Write a copy as it is at this moment to a new file, also while others write."""
        write_copy(self._db.path, Path(target))

    def close(self) -> None:
        """Finish pending writes and close; further calls raise StoreError."""
        self._db.close()
        if self._lock is not None:
            self._lock.release()
            self._lock = None


def _ready(path: Path, *, locked: bool) -> sqlite3.Connection:
    """Open the write connection, its tables in place."""
    conn = connect(path, readonly=False)
    try:
        steps = pending(conn)  # refuses a file that is none of ours before anything is written
        conn.execute("PRAGMA journal_mode = WAL")
        if steps:
            _bring_up_to_date(conn, path, locked=locked)
    except BaseException:
        conn.close()
        raise
    return conn


def _bring_up_to_date(conn: sqlite3.Connection, path: Path, *, locked: bool) -> None:
    """Migrate, but never under the feet of a running service, nor without a copy of what was."""
    lock = None if locked else ServeLock(path, wait_s=BUSY_S)
    try:
        if applied(conn):
            _save_as_it_was(path)
        migrate(conn)
    finally:
        if lock is not None:
            lock.release()


def _save_as_it_was(path: Path) -> None:
    """Copy a database before its tables are changed; without the copy they are not."""
    folder = path.parent / BACKUPS
    target = folder / backup_name(time.time_ns() // 1_000_000, "-before-upgrade")
    try:
        folder.mkdir(exist_ok=True, mode=0o700)
        write_copy(path, target)
    except (OSError, StoreError) as error:
        raise StoreError(
            f"The database {path} has to be brought up to date. It was left as it is, because no "
            f"backup could be written first: {error}"
        ) from error
