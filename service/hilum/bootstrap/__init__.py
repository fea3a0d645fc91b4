"""The one place that picks concrete parts: settings in, running service out."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

from hilum.config import Settings
from hilum.domain.ports import Clock, Store
from hilum.keeping.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore


class SystemClock:
    """The machine's clock."""

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return time.time_ns() // 1_000_000


def system_clock() -> Clock:
    """Clock used by a running Hilum."""
    return SystemClock()


@contextmanager
def open_store(settings: Settings, *, exclusive: bool = False) -> Iterator[Store]:
    """Open the database of a data folder, made if it is not there, and close it at the end."""
    settings.data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
    store = SqliteStore(settings.database, exclusive=exclusive)
    try:
        yield store
    finally:
        store.close()


def keep_up(store: Store) -> None:
    """Bring the ledger up to date with the readings."""
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
