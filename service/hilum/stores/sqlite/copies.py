"""Whole copies of a database: for backups, for coming back from one, and before an upgrade."""

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from hilum.domain.errors import StoreError
from hilum.stores.sqlite import migrations
from hilum.stores.sqlite.database import connect
from hilum.stores.sqlite.errors import translated

SIDE_FILES = ("-wal", "-shm", "-journal")
"""What SQLite may keep beside a database; part of it until it was closed well."""

PAGES_A_STEP = 4096

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Copy:
    """What a copy holds, counted in the original and again in the copy."""

    path: Path
    size_bytes: int
    rows: dict[str, int]  # by table


def nothing(_: float) -> None:
    """Tell nobody."""


def write_copy(source: Path, target: Path, progress: Progress = nothing) -> Copy:
    """Copy a database as it is at this moment, also while others write to it.

    The copy is written under another name, read back (SQLite's integrity check, and the number of
    rows in each table), put on the disk with ``fsync`` and only then given its name. If anything
    fails nothing is left behind.

    Parameters
    ----------
    source : Path
        A database of Hilum; of an older one too, as it is.
    target : Path
        Where the copy goes; there must be no such file.
    progress : callable, optional
        Told the share done, 0 to 1.

    Returns
    -------
    Copy
        What it holds.

    Raises
    ------
    StoreError
        There is a file at ``target``, the source is damaged or none of ours, or the disk fails or
        is full.
    """
    if not source.exists():
        raise StoreError(f"There is no database at {source}.")
    if target.exists():
        raise StoreError(f"There is already a file at {target}; a copy replaces nothing.")
    with _part(target) as part:
        with translated(source), closing(connect(source, readonly=True)) as conn:
            conn.execute("BEGIN")  # from here on the source is seen as it is now
            migrations.pending(conn)  # none of ours, or of a newer Hilum
            rows = _counted(conn)
            _copy_pages(conn, part, target, progress)
        found = _read_back(part, source)
        progress(0.95)
        if found != rows:
            raise StoreError(
                f"The copy {target} does not hold what {source} holds; it was not kept."
            )
        _sync(part)
        part.replace(target)
        _sync(target.parent)
    progress(1.0)
    return Copy(target, target.stat().st_size, rows)


@contextmanager
def _part(target: Path) -> Iterator[Path]:
    """Give a file only its owner can read; whatever is left of it at the end is removed."""
    part = target.with_name(f"{target.name}.part")
    try:
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except FileExistsError as error:
        raise StoreError(
            f"{part} is there: another copy is being written, or one was cut short. If none is "
            "being written, remove that file."
        ) from error
    except OSError as error:
        raise _not_written(target, error) from error
    try:
        yield part
    except OSError as error:
        raise _not_written(target, error) from error
    finally:
        for name in ("", *SIDE_FILES):
            part.with_name(part.name + name).unlink(missing_ok=True)


def _not_written(target: Path, error: OSError) -> StoreError:
    return StoreError(f"The copy {target} cannot be written: {error.strerror or error}.")


def _copy_pages(conn: sqlite3.Connection, part: Path, target: Path, progress: Progress) -> None:
    def tell(_status: int, left: int, total: int) -> None:
        progress(0.6 * (1.0 - left / max(total, 1)))

    with translated(target), closing(sqlite3.connect(part, isolation_level=None)) as copy:
        copy.execute("PRAGMA synchronous = OFF")  # all of it is synced at the end
        conn.backup(copy, pages=PAGES_A_STEP, progress=tell)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, readable without any beside it


def _read_back(part: Path, source: Path) -> dict[str, int]:
    """Open the copy as a reader would and look whether it is sound."""
    with translated(part), closing(connect(part, readonly=True)) as conn:
        check_sound(conn, source)
        return _counted(conn)


def end_sessions(path: Path) -> int:
    """Sign everybody out of a database that was brought back: what was ended since must not return.

    Returns
    -------
    int
        How many tokens and links in it are not withdrawn.
    """
    with translated(path), closing(sqlite3.connect(path)) as conn:
        names = {name for (name,) in conn.execute("SELECT name FROM sqlite_schema")}
        if not {"session", "access_grant"} <= names:  # of a Hilum in which nobody signed in
            return 0
        with conn:
            conn.execute("DELETE FROM session")
        held = conn.execute("SELECT count(*) FROM access_grant WHERE withdrawn_ms IS NULL")
        return int(held.fetchone()[0])


def check_sound(conn: sqlite3.Connection, path: Path) -> None:
    """Raise StoreError if SQLite finds damage."""
    try:
        damage = [text for (text,) in conn.execute("PRAGMA integrity_check(3)") if text != "ok"]
    except sqlite3.DatabaseError as error:
        damage = [str(error)]
    if damage:
        said = "; ".join(text.replace("\n", " ") for text in damage)
        raise StoreError(f"The database {path} is damaged, so no copy of it was kept ({said}).")


def _counted(conn: sqlite3.Connection) -> dict[str, int]:
    names = conn.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
    return {
        name: conn.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608 - ours
        for (name,) in names.fetchall()
        if not name.startswith("sqlite_")
    }


def _sync(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
