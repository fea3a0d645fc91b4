"""Who may do what, in SQLite, and the tables it lies in."""

import sqlite3
from collections.abc import Sequence

from hilum.domain.access import Grant, Scope, Session
from hilum.stores import rules
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import Table

ACCESS_TABLES = (
    """
    CREATE TABLE owner (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        password_hash TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE session (
        digest TEXT PRIMARY KEY,
        made_ms INTEGER NOT NULL,
        used_ms INTEGER NOT NULL
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE access_grant (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        scope TEXT NOT NULL,
        name TEXT NOT NULL,
        digest TEXT NOT NULL UNIQUE,
        made_ms INTEGER NOT NULL,
        sensor TEXT NOT NULL,
        until_ms INTEGER,
        withdrawn_ms INTEGER,
        used_ms INTEGER
    )
    """,
)

SESSIONS = Table(Session, "session", "digest", "session")
GRANTS = Table(Grant, "access_grant", "id", "grant", {"scope": Scope})


def _hash(conn: sqlite3.Connection) -> str:
    row = conn.execute("SELECT password_hash FROM owner").fetchone()
    return str(row[0]) if row else ""


class AccessSection:
    """The owner's password and sessions, tokens and shared links."""

    _db: Database

    def password_hash(self) -> str:
        """See the port."""
        with self._db.reading() as conn:
            return _hash(conn)

    def set_password_hash(self, text: str, *, first: bool = False) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            if first and _hash(conn):
                raise rules.has_password()
            conn.execute("INSERT OR REPLACE INTO owner VALUES (1, ?)", (text,))
            conn.execute("DELETE FROM session")

        self._db.write(job)

    def session(self, digest: str) -> Session | None:
        """See the port."""
        with self._db.reading() as conn:
            found = SESSIONS.select(conn, "WHERE digest = ?", (digest,))
            return found[0] if found else None

    def save_session(self, session: Session) -> None:
        """See the port."""
        self._db.write(lambda conn: SESSIONS.save_all(conn, [session]))

    def touch_session(self, digest: str, used_ms: int) -> None:
        """See the port."""
        self._db.write(
            lambda conn: conn.execute(
                "UPDATE session SET used_ms = ? WHERE digest = ?", (used_ms, digest)
            )
        )

    def drop_session(self, digest: str) -> None:
        """See the port."""
        self._db.write(lambda conn: conn.execute("DELETE FROM session WHERE digest = ?", (digest,)))

    def drop_sessions(self, used_before_ms: int | None = None) -> None:
        """See the port."""
        given = rules.LATEST_MS if used_before_ms is None else used_before_ms
        self._db.write(lambda conn: conn.execute("DELETE FROM session WHERE used_ms < ?", (given,)))

    def grants(self) -> Sequence[Grant]:
        """See the port."""
        with self._db.reading() as conn:
            return GRANTS.select(conn, "ORDER BY id")

    def grant_by(self, digest: str) -> Grant | None:
        """See the port."""
        with self._db.reading() as conn:
            found = GRANTS.select(conn, "WHERE digest = ?", (digest,))
            return found[0] if found else None

    def add_grant(self, grant: Grant) -> Grant:
        """See the port."""
        return self._db.write(lambda conn: GRANTS.insert(conn, grant))

    def withdraw_grant(self, grant_id: int, at_ms: int) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            GRANTS.require(conn, grant_id)
            conn.execute(
                "UPDATE access_grant SET withdrawn_ms = ? WHERE id = ? AND withdrawn_ms IS NULL",
                (at_ms, grant_id),
            )

        self._db.write(job)

    def touch_grant(self, grant_id: int, used_ms: int) -> None:
        """See the port."""
        self._db.write(
            lambda conn: conn.execute(
                "UPDATE access_grant SET used_ms = ? WHERE id = ?", (used_ms, grant_id)
            )
        )
