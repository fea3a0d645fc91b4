"""What ``hilum check`` looks at: the database, the ledger, the clock, the disk, the broker."""

import os
import shutil
import socket
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import cast

import numpy as np

from hilum.bootstrap import open_readonly, system_clock
from hilum.bootstrap.broker_conf import BrokerConf, losses, open_doors, read_conf, readable
from hilum.bootstrap.broker_rules import missing
from hilum.bootstrap.doors import doors_of
from hilum.bootstrap.health import LEAST_FREE_BYTES
from hilum.config import FILE_NAME, Settings
from hilum.domain.errors import HilumError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, CurveKey, LedgerRows, Role
from hilum.domain.moments import utc_words
from hilum.domain.ports import Store
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.keeping.reckoning.ledger import cut
from hilum.stores.overlay import LedgerOverlay
from hilum.stores.sqlite import SqliteStore
from hilum.stores.sqlite.migrations import waiting

SAMPLE_DAYS = 30
EARLIEST_MS = 1_735_689_600_000  # 2025-01-01: before that, no machine ran this program
LATEST_MS = 4_102_444_800_000  # 2100-01-01
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
    findings = [_folder(settings), _secrets(settings), _disk(settings), _time()]
    if not settings.database.exists():
        return [*findings, Finding("database", False, f"There is none at {settings.database}.")]
    findings += [_writable(settings), *_content(settings)]
    if settings.mqtt:
        findings.append(_broker(settings))
        if settings.mqtt_broker_conf is not None:
            findings += _broker_conf(settings.mqtt_broker_conf, settings)
    return findings


def _content(settings: Settings) -> Iterator[Finding]:
    """What is in the database, as far as it can be read."""
    try:
        steps = waiting(settings.database)
        if steps:
            words = f"of an older Hilum; the next start backs it up and takes {len(steps)} steps: "
            yield Finding("upgrade", False, words + ", ".join(f"“{step}”" for step in steps))
            return
        with _readonly(settings) as store:
            yield from (_database(store), _ledger(store), _clock(store), _pages(settings, store))
    except HilumError as error:
        yield Finding("database", False, str(error))


@contextmanager
def _readonly(settings: Settings) -> Iterator[SqliteStore]:
    store = open_readonly(settings)
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


def _secrets(settings: Settings) -> Finding:
    """The settings may hold a password."""
    path = settings.data_dir / FILE_NAME
    if not path.exists():
        return Finding("settings", True, "no file; what is set comes from the environment")
    others = stat.S_IMODE(path.stat().st_mode) & 0o004
    if others and stat.S_IMODE(path.parent.stat().st_mode) & 0o001:
        return Finding("settings", False, f"Everybody on this machine can read {path}.")
    return Finding("settings", True, "not readable for everybody")


def _writable(settings: Settings) -> Finding:
    """SQLite writes the database and files beside it."""
    for path in (settings.data_dir, settings.database):
        if not os.access(path, os.R_OK | os.W_OK):
            return Finding("permissions", False, f"This user may not write {path}.")
    return Finding("permissions", True, "the database may be written")


def _time() -> Finding:
    """A machine without a clock of its own starts in the past until the network tells it."""
    now_ms = system_clock().now_ms()
    if not EARLIEST_MS < now_ms < LATEST_MS:
        return Finding(
            "clock", False, f"This machine says it is {utc_words(now_ms)}; set its clock."
        )
    return Finding("clock", True, f"this machine says it is {utc_words(now_ms)}")


def _disk(settings: Settings) -> Finding:
    place = next(path for path in (settings.data_dir, *settings.data_dir.parents) if path.is_dir())
    free = shutil.disk_usage(place).free
    return Finding("disk", free >= LEAST_FREE_BYTES, f"{free / 1e9:.1f} GB free")


def _database(store: SqliteStore) -> Finding:
    problems = store.check_integrity()
    if problems:
        return Finding("database", False, " ".join(problems[:5]))
    return Finding("database", True, "sound")


def _pages(settings: Settings, store: SqliteStore) -> Finding:
    """Whether those who should reach the pages can."""
    if store.password_hash():
        return Finding("pages", True, "guarded by a password")
    if doors_of(settings, "").local:
        return Finding("pages", True, "for this machine alone, without a password")
    return Finding("pages", False, "Closed until a password is set: hilum password.")


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


def _broker_conf(path: Path, settings: Settings) -> Iterator[Finding]:
    """What the broker's own files say."""
    try:
        conf = read_conf(path)
    except HilumError as error:
        yield Finding("broker settings", False, str(error))
        return
    found = losses(conf, settings.mqtt_session_days)
    words = " ".join(found) or f"{path} keeps what waits for Hilum"
    yield Finding("broker settings", not found, words)
    found = open_doors(conf)
    words = " ".join(found) or "nobody comes in from elsewhere without a password and TLS"
    yield Finding("broker doors", not found, words)
    yield from _broker_rules(conf, settings)


def _broker_rules(conf: BrokerConf, settings: Settings) -> Iterator[Finding]:
    """Whether Hilum may hear and say what it must; where all may, there is nothing to look at."""
    ours = (
        each for each in conf.listeners if each["listener"].split()[0] == str(settings.mqtt_port)
    )
    rules = conf.of(next(ours, {}), "acl_file")
    if not rules or (settings.mqtt_user is None and settings.mqtt_cert_file is not None):
        return  # with a certificate, the name Hilum has at the broker stands in there
    try:
        lines = missing(readable(Path(rules)), settings)
    except HilumError as error:
        yield Finding("broker rules", False, str(error))
        return
    user = f"the user {settings.mqtt_user}" if settings.mqtt_user else "those without a name"
    words = f"{rules} lets Hilum hear and say what it must"
    if lines:
        words = f"{rules} lacks for {user}: {', '.join(f'“{line}”' for line in lines)}. "
        words += "The broker drops what it does not allow, in silence."
    yield Finding("broker rules", not lines, words)
