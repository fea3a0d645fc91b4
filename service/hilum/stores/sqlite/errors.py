"""SQLite's errors in our words, in one place."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hilum.domain.errors import InvalidInputError, StoreError

# By primary result code (https://www.sqlite.org/rescode.html).
WORDS = {
    sqlite3.SQLITE_FULL: (
        "The disk is full: {path} cannot grow. Nothing that was kept is lost. "
        "Free some space and try again."
    ),
    sqlite3.SQLITE_READONLY: (
        "The database {path} may not be written: the file or its folder is read-only."
    ),
    sqlite3.SQLITE_CORRUPT: (
        "The database {path} is damaged. Stop Hilum, keep a copy of the file, and restore the "
        "newest backup."
    ),
    sqlite3.SQLITE_NOTADB: "The file {path} is not a database.",
    sqlite3.SQLITE_CANTOPEN: (
        "The database {path} cannot be opened: look whether its folder exists and may be written."
    ),
    sqlite3.SQLITE_PERM: "The database {path} may not be opened by this user.",
    sqlite3.SQLITE_BUSY: (
        "Another program has been writing to the database {path} for too long. Try again."
    ),
    sqlite3.SQLITE_LOCKED: "The database {path} is busy. Try again.",
    sqlite3.SQLITE_IOERR: "The disk failed while reading or writing the database {path}.",
    sqlite3.SQLITE_NOMEM: "There is not enough memory to work with the database {path}.",
}
OTHER = "The database {path} cannot do this."


def in_words(error: sqlite3.Error, path: Path) -> StoreError:
    """Turn an error of SQLite into one for people, with SQLite's own words at the end."""
    code = getattr(error, "sqlite_errorcode", None)
    words = OTHER if code is None else WORDS.get(code & 0xFF, OTHER)
    return StoreError(f"{words.format(path=path)} ({error})")


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Translate what SQLite raises inside the block."""
    try:
        yield
    except sqlite3.Error as error:
        raise in_words(error, path) from error
    except OverflowError as error:
        raise InvalidInputError("A number is too large to be kept.") from error
    except UnicodeEncodeError as error:
        raise InvalidInputError("A text holds characters that cannot be kept.") from error
