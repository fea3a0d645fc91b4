"""What the address ``/healthz`` answers: whether what runs does its work."""

import shutil
from collections.abc import Sequence
from pathlib import Path

from hilum.domain.errors import HilumError
from hilum.domain.ports import Store
from hilum.web.parts import HealthCheck, IngestStatus

LEAST_FREE_BYTES = 200 * 1024 * 1024


def health(
    store: Store, folder: Path, ledger_error: str, ingest: IngestStatus | None
) -> Sequence[HealthCheck]:
    """Look at what must work for readings to be kept and worked on; costs a query.

    Parameters
    ----------
    store : Store
        Asked for the boxes.
    folder : Path
        Where the database stands; the disk must have room.
    ledger_error : str
        Why the last round of the ledger failed; empty if it did not.
    ingest : IngestStatus, optional
        How readings arrive; ``None`` if listening is switched off.

    Returns
    -------
    sequence of HealthCheck
        One for each thing, good or not.
    """
    return (
        _database(store),
        HealthCheck("ledger", not ledger_error, ledger_error or "keeps up"),
        _readings(ingest),
        _disk(folder),
    )


def _database(store: Store) -> HealthCheck:
    try:
        store.boxes()
    except HilumError as error:
        return HealthCheck("database", False, str(error))
    return HealthCheck("database", True, "can be read")


def _readings(ingest: IngestStatus | None) -> HealthCheck:
    if ingest is None:
        return HealthCheck("readings", True, "listening is switched off")
    if ingest.connected and not ingest.detail:
        return HealthCheck("readings", True, f"listening to the broker at {ingest.broker}")
    words = ingest.detail or f"not connected to the broker at {ingest.broker} yet"
    return HealthCheck("readings", False, words)


def _disk(folder: Path) -> HealthCheck:
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        return HealthCheck("disk", False, f"cannot be looked at ({error.strerror})")
    return HealthCheck("disk", free >= LEAST_FREE_BYTES, f"{free / 1e9:.1f} GB free")
