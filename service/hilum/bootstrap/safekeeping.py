"""Backups: written, verified, a number of them kept, and brought back."""

import re
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from hilum.bootstrap import system_clock
from hilum.config import Settings
from hilum.domain.errors import ConflictError, InvalidInputError, StoreError
from hilum.domain.ports import Clock
from hilum.stores.sqlite.copies import SIDE_FILES, Copy, end_sessions, nothing, write_copy
from hilum.stores.sqlite.lock import ServeLock
from hilum.stores.sqlite.migrations import waiting
from hilum.stores.sqlite.store import BACKUPS, backup_name

# Only what this module wrote by this name is ever removed; backups before an upgrade stay.
_OURS = re.compile(r"hilum-\d{8}T\d{6}Z\.sqlite3")

REST_S = 86_400
"""Age from which a half-written backup counts as left behind [s]."""

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was written, and what was removed for it."""

    copy: Copy
    removed: tuple[Path, ...]
    same_disk: bool  # whether it stands on the disk of the database


def backup(
    settings: Settings,
    folder: Path | None = None,
    keep: int | None = None,
    *,
    progress: Progress = nothing,
    clock: Clock | None = None,
) -> Backup:
    """Write a verified copy of the database, named for its time in UTC.

    Parameters
    ----------
    settings : Settings
        Where the database is.
    folder : Path, optional
        Where the backup goes, made if it is not there; by default ``backups`` in the data folder.
    keep : int, optional
        How many backups stay in that folder, the newest; 1 or more. By default all stay.
    progress : callable, optional
        Told the share done, 0 to 1.
    clock : Clock, optional
        Tells the time for the name.

    Returns
    -------
    Backup
        Where it is, and what it holds.

    Raises
    ------
    StoreError
        It could not be written whole, or the database is damaged. Older backups stay then.
    """
    if keep is not None and keep < 1:
        raise InvalidInputError("At least one backup has to be kept.", "keep")
    place = folder or settings.data_dir / BACKUPS
    if not settings.database.exists():
        raise StoreError(f"There is no database at {settings.database}.")
    try:
        place.mkdir(parents=True, exist_ok=True, mode=0o700)
        same_disk = place.stat().st_dev == settings.data_dir.stat().st_dev
    except OSError as error:
        raise StoreError(f"{place} cannot be used for backups: {error.strerror}.") from error
    _clear_rests(place)
    name = backup_name((clock or system_clock()).now_ms())
    copy = write_copy(settings.database, place / name, progress)
    return Backup(copy, _rotate(place, copy.path, keep), same_disk)


def _clear_rests(folder: Path) -> None:
    """Remove what backups that were cut short left, once surely nobody writes it any more."""
    for rest in folder.glob("hilum-*Z.sqlite3.part*"):
        with suppress(OSError):
            if time.time() - rest.stat().st_mtime > REST_S:
                rest.unlink()


def _rotate(folder: Path, newest: Path, keep: int | None) -> tuple[Path, ...]:
    """Remove the oldest by name; the one just written stays whatever the clock said."""
    if keep is None:
        return ()
    others = sorted(p for p in folder.iterdir() if _OURS.fullmatch(p.name) and p != newest)
    removed = others[: max(len(others) - keep + 1, 0)]
    for path in removed:
        try:
            path.unlink()
        except OSError as error:
            raise StoreError(
                f"The backup {newest} is written, but an old one, {path}, cannot be removed: "
                f"{error.strerror}."
            ) from error
    return tuple(removed)


@dataclass(frozen=True, slots=True)
class Restored:
    """A database that was brought back."""

    copy: Copy
    waiting: tuple[str, ...]  # steps the next start will take
    grants: int  # tokens and links that hold again as they did then


def restore(file: Path, settings: Settings, *, progress: Progress = nothing) -> Restored:
    """Bring a backup back, to a place where no database is; nobody is signed in to it.

    Parameters
    ----------
    file : Path
        The backup; it stays as it is.
    settings : Settings
        Where the database goes.
    progress : callable, optional
        Told the share done, 0 to 1.

    Returns
    -------
    Restored
        What is there now.

    Raises
    ------
    ConflictError
        There is a database, or a rest of one.
    StoreError
        The backup is damaged, of a newer Hilum or none of ours, or the place cannot be written.
    """
    database = settings.database
    if not file.is_file():
        raise StoreError(f"There is no backup at {file}.")
    steps = tuple(waiting(file))  # refuses what is newer or none of ours
    try:
        settings.data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise StoreError(f"{settings.data_dir} cannot be made: {error.strerror}.") from error
    _require_empty(database)
    lock = ServeLock(database)  # no service may start meanwhile
    try:
        _require_empty(database)
        copy = write_copy(file, database, progress)
        return Restored(copy, steps, end_sessions(database))
    finally:
        lock.release()


def _require_empty(database: Path) -> None:
    """A rest of another database would be taken for a part of this one."""
    for name in ("", *SIDE_FILES):
        path = database.with_name(database.name + name)
        if path.exists():
            raise ConflictError(
                f"{path} is there. Nothing was changed: move the files of the old database away "
                "first, or give another --data-dir."
            )
