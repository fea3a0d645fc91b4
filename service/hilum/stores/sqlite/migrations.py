"""Named, ordered steps from an empty file to today's tables; each is recorded once applied."""

import sqlite3
import time
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

from hilum.domain.errors import NewerSchemaError, StoreError
from hilum.stores.sqlite.access import ACCESS_TABLES
from hilum.stores.sqlite.alert_schema import ALERT_TABLES, TELLING_TABLES
from hilum.stores.sqlite.arrivals import HEARING_TABLES
from hilum.stores.sqlite.corrections import CORRECTION_TABLES
from hilum.stores.sqlite.database import connect, transaction
from hilum.stores.sqlite.dirty import DIRTY_SINCE
from hilum.stores.sqlite.errors import translated
from hilum.stores.sqlite.revision import REVISION_TABLES
from hilum.stores.sqlite.schema import FIRST
from hilum.stores.sqlite.season import SEASON_TABLES
from hilum.stores.sqlite.tiers import COUNTED_TABLES

Migration = Callable[[sqlite3.Connection], None]


def first_tables(conn: sqlite3.Connection) -> None:
    """Make the tables of the first version."""
    for statement in FIRST:
        conn.execute(statement)


def alert_tables(conn: sqlite3.Connection) -> None:
    """Make the tables of alerts."""
    for statement in ALERT_TABLES:
        conn.execute(statement)


def season_tables(conn: sqlite3.Connection) -> None:
    """Make the tables of plans for a season."""
    for statement in SEASON_TABLES:
        conn.execute(statement)


def access_tables(conn: sqlite3.Connection) -> None:
    """Make the tables of who may do what."""
    for statement in ACCESS_TABLES:
        conn.execute(statement)


def correction_tables(conn: sqlite3.Connection) -> None:
    """Make the table of corrections of sensors."""
    for statement in CORRECTION_TABLES:
        conn.execute(statement)


def hearing_table(conn: sqlite3.Connection) -> None:
    """Make the table that says whether arrivals are heard."""
    for statement in HEARING_TABLES:
        conn.execute(statement)


def revision_table(conn: sqlite3.Connection) -> None:
    """Make what counts the changes on which figures of lots rest."""
    for statement in REVISION_TABLES:
        conn.execute(statement)


def counted_hours(conn: sqlite3.Connection) -> None:
    """Count in summaries of hours what their means are made of."""
    for statement in COUNTED_TABLES:
        conn.execute(statement)


def prepared_seed(conn: sqlite3.Connection) -> None:
    """Say of lots whether they are treated, pelleted, primed; of those there are nobody did."""
    for column in ("treated", "pelleted", "primed"):
        conn.execute(f"ALTER TABLE lot ADD COLUMN {column} INTEGER NOT NULL DEFAULT 0")


def telling_table(conn: sqlite3.Connection) -> None:
    """Make the table that says when people are told."""
    for statement in TELLING_TABLES:
        conn.execute(statement)


def dirty_since(conn: sqlite3.Connection) -> None:
    """Keep of a dirty mark from when on readings changed since it was made."""
    for statement in DIRTY_SINCE:
        conn.execute(statement)


MIGRATIONS: Mapping[str, Migration] = {
    "0001 first tables": first_tables,
    "0002 alerts": alert_tables,
    "0003 season plans": season_tables,
    "0004 access": access_tables,
    "0005 corrections": correction_tables,
    "0006 arrivals": hearing_table,
    "0007 revision": revision_table,
    "0008 counted hours": counted_hours,
    "0009 prepared seed": prepared_seed,
    "0010 telling": telling_table,
    "0011 dirty since": dirty_since,
}


def applied(conn: sqlite3.Connection) -> list[str]:
    """Names of the steps this database has had, in order; never writes."""
    tables = [name for (name,) in conn.execute("SELECT name FROM sqlite_schema")]
    if "migration" not in tables:
        if tables:
            raise StoreError("This is a database, but not one of Hilum's.")
        return []
    return [name for (name,) in conn.execute("SELECT name FROM migration ORDER BY rowid")]


def pending(
    conn: sqlite3.Connection, steps: Mapping[str, Migration] = MIGRATIONS
) -> dict[str, Migration]:
    """Steps this database still needs, in order; never writes.

    Raises
    ------
    NewerSchemaError
        The database has had steps this version does not know.
    """
    done = applied(conn)
    newer = [name for name in done if name not in steps]
    if newer:
        raise NewerSchemaError(
            "This database was written by a newer Hilum "
            f"(it has had the step “{newer[-1]}”). Install that version or a later one."
        )
    return {name: step for name, step in steps.items() if name not in done}


def migrate(conn: sqlite3.Connection, steps: Mapping[str, Migration] = MIGRATIONS) -> None:
    """Apply what is pending, each step in a transaction of its own."""
    for name, step in pending(conn, steps).items():
        with transaction(conn):
            conn.execute(
                "CREATE TABLE IF NOT EXISTS migration"
                " (name TEXT NOT NULL UNIQUE, applied_ms INTEGER NOT NULL)"
            )
            step(conn)
            now_ms = time.time_ns() // 1_000_000
            conn.execute("INSERT INTO migration VALUES (?, ?)", (name, now_ms))


def waiting(path: Path) -> list[str]:
    """Names of the steps a database that is there still needs; never writes.

    Raises
    ------
    StoreError
        It cannot be read, or is none of ours; ``NewerSchemaError`` if a newer Hilum wrote it.
    """
    with translated(path), closing(connect(path, readonly=True)) as conn:
        if not applied(conn):
            raise StoreError(f"The file {path} is empty, or not a database of Hilum's.")
        return list(pending(conn))


def require_current(conn: sqlite3.Connection, path: Path) -> None:
    """Refuse a database that must be brought up to date first."""
    if pending(conn):
        raise StoreError(
            f"The database {path} was written by an older Hilum. "
            "Start the service once to bring it up to date."
        )
