"""The one place that picks concrete parts: settings in, running service out."""

import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING

from hilum.config import Settings
from hilum.domain.errors import SettingsError
from hilum.domain.model import AddOutcome
from hilum.domain.ports import Clock, ReadingStore, Store
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore

if TYPE_CHECKING:
    from hilum.stores.influx import InfluxReadings

COPY_PAGE = 5000  # readings in one step of a copy


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
    readings = influx_readings(settings)
    if readings is None:
        store = SqliteStore(settings.database, exclusive=exclusive)
    else:
        from hilum.stores.influx import SplitStore  # noqa: PLC0415 - only where it is set

        store = SplitStore(settings.database, readings, exclusive=exclusive)
    try:
        yield store
    finally:
        store.close()


def influx_readings(settings: Settings) -> "InfluxReadings | None":
    """Readings in InfluxDB, where that is set; nothing is connected yet."""
    if settings.influx_url is None:
        return None
    from hilum.stores.influx import InfluxReadings, Place  # noqa: PLC0415 - only where it is set

    token = settings.influx_token
    place = Place(
        settings.influx_url.rstrip("/"),
        settings.influx_bucket,
        settings.influx_org,
        token.get_secret_value() if token else "",
    )
    return InfluxReadings(place)


def copy_readings(
    settings: Settings, *, to_influx: bool, progress: Callable[[str], None] = lambda _: None
) -> AddOutcome:
    """Copy all readings from SQLite to InfluxDB or back; those that are there already stay.

    Raises
    ------
    SettingsError
        There is no ``influx_url``.
    StoreError
        Either store failed; what was copied stays, and the copy can be started again.
    """
    readings = influx_readings(settings)
    if readings is None:
        raise SettingsError("Set influx_url first: there is no InfluxDB to copy to or from.")
    total = AddOutcome()
    with closing(readings), closing(SqliteStore(settings.database, exclusive=False)) as plain:
        both: tuple[ReadingStore, ReadingStore] = (plain, readings)
        source, target = both if to_influx else both[::-1]
        for sensor in plain.sensors():
            progress(sensor.name)
            for page in source.pages(sensor.name, -(2**62), 2**62, COPY_PAGE):
                done = target.add(page, page[-1].time_ms)
                total = AddOutcome(
                    total.stored + done.stored,
                    total.duplicates + done.duplicates,
                    (*total.conflicts, *done.conflicts),
                )
    return total


def open_readonly(settings: Settings) -> SqliteStore:
    """Open what is there for reading only, also while a service runs; close it when done."""
    readings = influx_readings(settings)
    if readings is None:
        return SqliteStore.open_readonly(settings.database)
    from hilum.stores.influx import SplitStore  # noqa: PLC0415 - only where it is set

    store = SplitStore.open_readonly(settings.database)
    store.over(readings)
    return store


def keep_up(store: Store) -> None:
    """Bring the ledger up to date with the readings."""
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
