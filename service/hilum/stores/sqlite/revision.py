"""A number that goes up with every change on which figures of lots rest."""

import sqlite3

_TABLES = (
    "box",
    "placement",
    "lot",
    "stay",
    "germination_test",
    "correction",
    "season_plan",
    "plan_line",
)
"""What people entered; of the journal nothing is reckoned for lots."""

UP = "UPDATE revision SET number = number + 1"

REVISION_TABLES = (
    "CREATE TABLE revision (number INTEGER NOT NULL)",
    "INSERT INTO revision VALUES (0)",
    *(
        f"CREATE TRIGGER revision_{table}_{what.lower()} AFTER {what} ON {table} BEGIN {UP}; END"
        for table in _TABLES
        for what in ("INSERT", "UPDATE", "DELETE")
    ),
)


def current(conn: sqlite3.Connection) -> int:
    """Give the number as it is."""
    (number,) = conn.execute("SELECT number FROM revision").fetchone()
    return int(number)
