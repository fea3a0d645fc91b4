"""The ingest as a whole: broker to store, with nothing lost on the way."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from hilum.domain.ports import Clock
from hilum.ingest.brokerlog import BrokerLog, Doorkeeper
from hilum.ingest.budget import SensorBudget
from hilum.ingest.decode import Decoder
from hilum.ingest.inbox import Inbox
from hilum.ingest.mqtt import MqttLink
from hilum.ingest.pump import IngestStore, Pump
from hilum.ingest.rounds import Rounds
from hilum.ingest.secondlook import SecondLook
from hilum.ingest.settings import IngestSettings
from hilum.ingest.topics import Part, Router

STOP_S = 10.0


@dataclass(frozen=True, slots=True)
class IngestStatus:
    """How the ingest is doing; counts are since the start."""

    connected: bool
    queued: int  # messages that wait for the writer
    received: int  # messages
    stored: int  # readings
    duplicates: int  # readings
    rejected: int
    last_error: str  # in words; empty while all is well


class Ingest:
    """Listens to the broker and keeps what sensors say.

    Parameters
    ----------
    store : IngestStore
        Where it is kept; written to from one thread.
    settings : IngestSettings
        The broker, other devices, and limits.
    clock : Clock
        Tells when a message arrived.
    on_stored : callable
        Told the names of sensors that got readings, after their commit, from the writer thread.

    Raises
    ------
    SettingsError
        A certificate file for the broker cannot be used.
    """

    def __init__(
        self,
        store: IngestStore,
        settings: IngestSettings,
        clock: Clock,
        on_stored: Callable[[frozenset[str]], None],
    ) -> None:
        router = Router(settings.sources, settings.root)
        self._inbox = Inbox(settings.queue_messages, settings.queue_bytes)
        self._link = MqttLink(
            settings.broker,
            router.filters(settings.part, settings.site, settings.group),
            self._inbox.put,
            clock.now_ms,
            on_new_session=store.may_miss if settings.part is Part.KEEPING else None,
        )
        self._log: BrokerLog | None = None
        self._rounds: Rounds | None = None
        if settings.part is not Part.STORING:  # a worker among others: one process does this
            own = settings.broker.username
            doorkeeper = Doorkeeper(store, own, clock.now_ms)
            second = SecondLook(store, router, clock.now_ms, on_stored)
            self._log = BrokerLog(settings.broker, doorkeeper)
            self._rounds = Rounds((doorkeeper.look, second.look))
        budget = SensorBudget(store, settings.max_new_sensors, clock.now_ms)
        self._pump = Pump(
            store,
            Decoder(router, budget.admits),
            self._inbox,
            settings,
            now_ms=clock.now_ms,
            acknowledge=self._link.acknowledge,
            on_stored=on_stored,
            on_idle=self._link.keep_running,
        )

    def start(self) -> None:
        """Begin; returns at once, also while the broker cannot be reached. Call it once."""
        self._pump.start()
        self._link.start()
        for part in (self._log, self._rounds):
            if part is not None:
                part.start()

    def stop(self) -> None:
        """Write and acknowledge what has arrived, and end; the broker keeps what comes later."""
        for part in (self._rounds, self._log):
            if part is not None:
                part.stop()
        self._pump.stop(STOP_S)
        self._link.stop()

    def publish(self, topic: str, payload: Mapping[str, object], *, retain: bool = True) -> None:
        """Publish something derived; does not wait for the broker.

        Raises
        ------
        InvalidInputError
            The topic cannot be published to, or the payload is no JSON.
        """
        self._link.publish(topic, payload, retain=retain)

    def status(self) -> IngestStatus:
        """Tell how it is going."""
        counts = self._pump.counts
        return IngestStatus(
            connected=self._link.connected,
            queued=len(self._inbox),
            received=self._link.received,
            stored=counts.stored,
            duplicates=counts.duplicates,
            rejected=counts.rejected,
            last_error=counts.last_error or self._link.trouble(),
        )
