"""What ``hilum check`` looks at: the database, the ledger, the clock, the disk, the broker."""

import shutil
import socket
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from typing import cast

import numpy as np

from hilum.bootstrap import system_clock
from hilum.config import Settings
from hilum.domain.errors import HilumError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, CurveKey, LedgerRows, Role
from hilum.domain.ports import Store
from hilum.keeping.keeper import LedgerKeeper
from hilum.keeping.ledger import cut
from hilum.stores.overlay import LedgerOverlay
from hilum.stores.sqlite import SqliteStore

SAMPLE_DAYS = 30
LEAST_FREE_BYTES = 200 * 1024 * 1024
BROKER_WAIT_S = 3.0
LATE_DAYS = 1


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at, and what it looked like."""

    what: str
    good: bool
    words: str


def check_all(settings: Settings) -> list[Finding]:
    """Look at everything; nothing is changed.

    Parameters
    ----------
    settings : Settings
        Where the database is, and the broker.

    Returns
    -------
    list of Finding
        One for each thing, good or not.
    """
    findings = [_folder(settings), _disk(settings)]
    if not settings.database.exists():
        return [*findings, Finding("database", False, f"There is none at {settings.database}.")]
    try:
        with _readonly(settings) as store:
            findings += [_database(store), _ledger(store), _clock(store)]
    except HilumError as error:
        findings.append(Finding("database", False, str(error)))
    if settings.mqtt:
        findings.append(_broker(settings))
    return findings


@contextmanager
def _readonly(settings: Settings) -> Iterator[SqliteStore]:
    store = SqliteStore.open_readonly(settings.database)
    try:
        yield store
    finally:
        store.close()


def _folder(settings: Settings) -> Finding:
    folder = settings.data_dir
    if not folder.is_dir():
        return Finding("folder", False, f"{folder} is not there; hilum init makes it.")
    if stat.S_IMODE(folder.stat().st_mode) & 0o007:
        return Finding("folder", False, f"Everybody on this machine can read {folder}.")
    return Finding("folder", True, f"{folder}, not readable for everybody")


def _disk(settings: Settings) -> Finding:
    place = next(path for path in (settings.data_dir, *settings.data_dir.parents) if path.is_dir())
    free = shutil.disk_usage(place).free
    return Finding("disk", free >= LEAST_FREE_BYTES, f"{free / 1e9:.1f} GB free")


def _database(store: SqliteStore) -> Finding:
    problems = store.check_integrity()
    if problems:
        return Finding("database", False, " ".join(problems[:5]))
    return Finding("database", True, "sound")


def _clock(store: SqliteStore) -> Finding:
    now_ms = system_clock().now_ms()
    newest = [found.time_ms for s in store.sensors() if (found := store.newest(s.name))]
    if not newest:
        return Finding("readings", True, "none yet")
    ahead_ms = max(newest) - now_ms
    if ahead_ms > MS_PER_HOUR:
        return Finding(
            "readings", False, "The newest reading lies in the future: a clock is wrong."
        )
    days = -ahead_ms / MS_PER_DAY
    words = "the newest is less than a day old" if days < LATE_DAYS else f"none for {days:.0f} days"
    return Finding("readings", days < LATE_DAYS, words)


def _ledger(store: SqliteStore) -> Finding:
    """Compute the last month of every curve again, apart, and compare to the last bit."""
    if store.dirty():
        return Finding("ledger", True, "being worked on; look again when it has caught up")
    overlay = LedgerOverlay(store)
    since: dict[CurveKey, int] = {}
    for box in store.boxes():
        kept = {key: store.rows(key) for key in store.curves(box.slug)}
        last = max((int(rows.hour[-1]) for rows in kept.values() if len(rows)), default=None)
        if last is not None:
            since |= dict.fromkeys(kept, _take_away(overlay, kept, last - 24 * SAMPLE_DAYS))
            for placement in store.placements(box=box.slug):
                if placement.role is Role.INSIDE:
                    overlay.mark_dirty(placement.sensor, since[next(iter(kept))] * MS_PER_HOUR)
    LedgerKeeper(cast("Store", overlay)).update()
    wrong = [key for key, hour in since.items() if not _same(store, overlay, key, hour)]
    if wrong:
        return Finding(
            "ledger", False, f"{len(wrong)} of {len(since)} curves differ: hilum rebuild"
        )
    return Finding("ledger", True, f"{len(since)} curves agree with the readings")


def _take_away(overlay: LedgerOverlay, kept: dict[CurveKey, LedgerRows], hour: int) -> int:
    """Put the rows before an hour into the overlay; give the hour."""
    overlay.add_curves(list(kept))
    overlay.replace_rows(
        [
            (key, 0, cut(rows, slice(int(np.searchsorted(rows.hour, hour)))))
            for key, rows in kept.items()
        ]
    )
    return hour


def _same(store: SqliteStore, overlay: LedgerOverlay, key: CurveKey, hour: int) -> bool:
    kept, again = store.rows(key, hour), overlay.rows(key, hour)
    return all(
        np.array_equal(getattr(kept, field.name), getattr(again, field.name))
        for field in fields(LedgerRows)
    )


def _broker(settings: Settings) -> Finding:
    where = (settings.mqtt_host, settings.mqtt_port)
    name = f"{settings.mqtt_host}:{settings.mqtt_port}"
    try:
        with socket.create_connection(where, timeout=BROKER_WAIT_S):
            return Finding("broker", True, f"{name} answers")
    except OSError as error:
        return Finding("broker", False, f"{name} does not answer ({error.strerror or error})")
