"""A worker: stores what sensors say in InfluxDB, tells so, and keeps nothing itself.

Many run side by side, each with a name of its own, and share the messages. The one ``hilum serve``
of a site hears from them which sensors have news. Order makes it safe: InfluxDB accepts the
readings, the broker takes the note for the site, and only then are the messages acknowledged.
Whatever fails in between, the broker gives the messages again, and all of it is done once more.
"""

import signal
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Self

from hilum.bootstrap import influx_readings, system_clock
from hilum.bootstrap.service import ingest_settings, set_up_log
from hilum.config import Settings
from hilum.domain.errors import SettingsError
from hilum.domain.model import AddOutcome, Arrival, Placement, Reading, Reject, Sensor
from hilum.ingest import Ingest, IngestStatus
from hilum.ingest.notes import notes
from hilum.ingest.teller import Teller
from hilum.ingest.topics import Part
from hilum.stores import rules
from hilum.stores.influx import InfluxReadings
from hilum.stores.influx.readings import outcome

Tell = Callable[[str, bytes], None]
LOOK_S = 0.5
QUIET_S = 3.0  # nothing came for so long: nothing waits


class WorkerStore:
    """What the ingest of a worker stores into.

    Parameters
    ----------
    readings : InfluxReadings
        Where readings go.
    tell : callable
        Publishes topic and payload; returns when the broker has them.
    site : str
        Site that hears of rejects that belong to none.
    """

    def __init__(self, readings: InfluxReadings, tell: Tell, site: str) -> None:
        self._readings = readings
        self._tell = tell
        self._site = site

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """Store and tell.

        Duplicates are told too: the worker that stored them first may have died before it told.
        """
        plan = self._readings.plan(readings)
        self._readings.write(plan)
        since: dict[str, int] = {}
        for reading in readings:
            since[reading.sensor] = min(reading.time_ms, since.get(reading.sensor, reading.time_ms))
        self._say(since, [rules.conflict(*pair, received_ms) for pair in plan.conflicts])
        return outcome(plan, len(readings))

    def add_rejects(self, rejects: Sequence[Reject]) -> None:
        """Tell; the site keeps them."""
        self._say({}, [rules.trimmed(reject) for reject in rejects])

    def rejects(self, *, limit: int = 100) -> Sequence[Reject]:
        """None: the site has them."""
        del limit
        return ()

    def _say(self, since: dict[str, int], rejects: Sequence[Reject]) -> None:
        for topic, payload in notes(since, rejects, system_clock().now_ms(), self._site):
            self._tell(topic, payload)

    def sensors(self) -> Sequence[Sensor]:
        """Every sensor with readings."""
        return [Sensor(name, 0) for name in self._readings.sensors()]

    def placements(self) -> Sequence[Placement]:
        """None: a worker knows no boxes."""
        return ()

    def set_presence(self, name: str, online: bool, received_ms: int) -> None:
        """Leave it to the site, which listens to presence itself."""

    def arrived(self, arrivals: Sequence[Arrival]) -> None:
        """Leave it to the site."""

    def may_miss(self) -> None:
        """Leave it to the site."""

    def hears(self, site: str) -> None:
        """Leave it to the site."""


class Worker:
    """One worker: an ingest over a store that tells.

    Parameters
    ----------
    settings : Settings
        All settings; ``influx_url`` is set.
    name : str
        Its own, always the same: under it the broker keeps what it has not acknowledged.
    leave : bool
        Take what waits for this name, and ask for nothing more.

    Raises
    ------
    SettingsError
        There is no InfluxDB to write to, or the broker speaks no MQTT 5.
    """

    def __init__(self, settings: Settings, name: str, *, leave: bool = False) -> None:
        readings = influx_readings(settings)
        if readings is None:
            raise SettingsError("Set influx_url first: workers write readings to an InfluxDB.")
        if settings.mqtt_version != "5":
            raise SettingsError("Workers share messages by MQTT 5: set mqtt_version to 5.")
        given = ingest_settings(settings)
        client_id = f"{settings.mqtt_client_id}-ingest-{name}"
        own = replace(given.broker, client_id=client_id, leave=leave)
        self._readings = readings
        self._teller = Teller(replace(own, client_id=f"{client_id}-notes"))
        self._ingest = Ingest(
            WorkerStore(readings, self._teller.tell, settings.site),
            replace(given, broker=own, part=Part.STORING, group=settings.mqtt_group),
            system_clock(),
            lambda _: None,
        )

    def __enter__(self) -> Self:
        self._teller.start()
        self._ingest.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ingest.stop()
        self._teller.stop()
        self._readings.close()

    def status(self) -> IngestStatus:
        """Tell how it is going."""
        return self._ingest.status()


def run_worker(
    settings: Settings, name: str, say: Callable[[str], None], *, leave: bool = False
) -> None:
    """Work until told to stop; with ``leave`` until nothing waits for this name any more.

    Raises
    ------
    SettingsError
        There is no InfluxDB to write to, or the broker speaks no MQTT 5.
    """
    set_up_log()
    over = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: over.set())
    with Worker(settings, name, leave=leave) as worker:
        while not worker.status().connected and not over.wait(LOOK_S):
            pass
        if leave:
            _finish(worker, over)
            say(f"Worker {name} has left.")
        elif not over.is_set():
            say(f"Worker {name} writes to {settings.influx_url}  (Ctrl+C stops it)")
            over.wait()


def _finish(worker: Worker, over: threading.Event) -> None:
    """Wait until nothing more comes and everything that came is stored."""
    before = -1
    while not over.wait(QUIET_S):
        now = worker.status()
        if now.connected and now.received == before and not now.queued and not now.last_error:
            return
        before = now.received
