"""The writer: takes batches from the inbox, commits them, and only then acknowledges."""

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from threading import Event, Thread
from typing import Protocol

from hilum.domain.errors import ClockNotSetError, HilumError
from hilum.domain.model import AddOutcome, Arrival, Reading, Reject
from hilum.ingest.budget import Register
from hilum.ingest.decode import Decoder, Message, Presence
from hilum.ingest.inbox import Inbox
from hilum.ingest.machineclock import SETTLING_S, STEP_MS, since_boot_s
from hilum.ingest.screen import EARLIEST_MS
from hilum.ingest.settings import IngestSettings

LOG = logging.getLogger(__name__)
IDLE_S = 2.0
BATCH_BYTES = 1024 * 1024


class IngestStore(Register, Protocol):
    """What the ingest needs of a store; see ``hilum.domain.ports``."""

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """Keep readings, durably."""
        ...

    def add_rejects(self, rejects: Sequence[Reject]) -> None:
        """Keep what was refused."""
        ...

    def rejects(self, *, limit: int = 100) -> Sequence[Reject]:
        """Give what was refused, newest first."""
        ...

    def set_presence(self, name: str, online: bool, received_ms: int) -> None:
        """Note what a sensor's last will says."""
        ...

    def arrived(self, arrivals: Sequence[Arrival]) -> None:
        """Take note of readings that another process stored."""
        ...

    def may_miss(self) -> None:
        """Note that arrivals may go by unheard."""
        ...

    def hears(self, site: str) -> None:
        """Note that every arrival is heard from now on."""
        ...


@dataclass(slots=True)
class Counts:
    """What became of the messages since the start; written by the writer thread only."""

    stored: int = 0
    duplicates: int = 0
    rejected: int = 0
    last_error: str = ""


@dataclass(slots=True)
class Work:
    """What a batch still has to give to the store; done parts are emptied, so a retry goes on."""

    received_ms: int
    readings: list[Reading] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    presence: dict[str, Presence] = field(default_factory=dict)
    arrivals: list[Arrival] = field(default_factory=list)
    begins: bool = False
    names: frozenset[str] = frozenset()


class Pump:
    """One thread that moves messages from the inbox to the store.

    A batch is acknowledged after its commit, rejects and all. If the store fails, the batch is kept
    and tried again with growing pauses; nothing is acknowledged meanwhile, so after a stop the
    broker sends it again.

    Parameters
    ----------
    store : IngestStore
        Where readings, rejects and presence go.
    decoder : Decoder
        Says what a message holds.
    inbox : Inbox
        What waits.
    settings : IngestSettings
        Size of batches and pauses.
    now_ms : callable
        Tells the time.
    acknowledge : callable
        Told the tickets of a committed batch, in order of arrival.
    on_stored : callable
        Told the names of sensors that got readings, after the commit.
    on_idle : callable
        Called every few seconds while nothing arrives.
    """

    def __init__(
        self,
        store: IngestStore,
        decoder: Decoder,
        inbox: Inbox,
        settings: IngestSettings,
        *,
        now_ms: Callable[[], int],
        acknowledge: Callable[[Iterable[tuple[int, int]]], None],
        on_stored: Callable[[frozenset[str]], None],
        on_idle: Callable[[], None],
    ) -> None:
        self.store = store
        self.decoder = decoder
        self.inbox = inbox
        self.settings = settings
        self.now_ms = now_ms
        self.acknowledge = acknowledge
        self.on_stored = on_stored
        self.on_idle = on_idle
        self.counts = Counts()
        self._stopping = Event()
        self._thread = Thread(target=self._run, name="hilum-ingest", daemon=True)

    def start(self) -> None:
        """Start the writer thread."""
        self._thread.start()

    def stop(self, timeout_s: float) -> None:
        """Write what waits, unless the store fails, and end the thread."""
        self._stopping.set()
        self.inbox.close()
        self._thread.join(timeout_s)

    def _run(self) -> None:
        settings = self.settings
        while True:
            batch = self.inbox.take(
                settings.batch_messages,
                BATCH_BYTES,
                linger_s=settings.linger_s,
                timeout_s=IDLE_S,
            )
            if batch:
                if not self._keep(batch):
                    return
            elif self.inbox.closed:
                return
            else:
                self._told(self.on_idle)

    def _keep(self, batch: Sequence[Message]) -> bool:
        """Store a batch however long it takes; ``False`` if stopped before it could be."""
        work: Work | None = None
        pause = self.settings.retry_s
        while True:
            try:
                work = work or self._sort(batch)
                self._write(work)
                break
            except Exception as error:  # noqa: BLE001 - whatever it is, readings must not be lost
                self._note(error)
            if self._stopping.wait(pause):
                return False
            pause = min(2 * pause, self.settings.retry_max_s)
        self.acknowledge([message.ticket for message in batch if message.ticket is not None])
        if work.names:
            self._told(lambda: self.on_stored(work.names))
        return True

    def _sort(self, batch: Sequence[Message]) -> Work:
        batch = self._timed(batch)
        work = Work(batch[-1].received_ms)
        decode = self.decoder.decode
        for message in batch:
            if message.begins:
                work.begins = True
                continue
            kept = decode(message)
            work.readings.extend(kept.readings)
            work.rejects.extend(kept.rejects)
            work.arrivals.extend(kept.arrivals)
            if kept.presence is not None:
                work.presence[kept.presence.sensor] = kept.presence
        return work

    def _timed(self, batch: Sequence[Message]) -> Sequence[Message]:
        """Date what arrived before this machine knew the time; while it does not, nothing goes on.

        A small computer without a clock of its own wakes in 1970, or at the time at which it was
        switched off. With that time no reading could be dated, and those of sensors that know the
        time would seem to lie in the future.
        """
        now_ms, passed_s = self.now_ms(), since_boot_s()
        if now_ms < EARLIEST_MS:
            raise ClockNotSetError(
                "This machine does not know the time yet: its clock lies before 2010."
            )
        batch = [_dated(message, now_ms, passed_s) for message in batch]
        if passed_s < SETTLING_S and any(map(self.decoder.ahead, batch)):
            raise ClockNotSetError(
                "This machine has just started, and a sensor says that it is later than its clock "
                "does. For a quarter of an hour it waits to be told the time."
            )
        return batch

    def _write(self, work: Work) -> None:
        counts = self.counts
        if work.begins:
            self.store.hears(self.settings.site)
            work.begins = False
        if work.arrivals:
            self.store.arrived(work.arrivals)
            work.names |= frozenset(each.sensor for each in work.arrivals)
            work.arrivals = []
        if work.readings:
            outcome: AddOutcome = self.store.add(work.readings, work.received_ms)
            counts.stored += outcome.stored
            counts.duplicates += outcome.duplicates
            counts.rejected += len(outcome.conflicts)
            work.names |= frozenset(reading.sensor for reading in work.readings)
            work.readings = []
        if work.rejects:
            self.store.add_rejects(work.rejects)
            counts.rejected += len(work.rejects)
            work.rejects = []
        while work.presence:
            presence = next(iter(work.presence.values()))
            self.store.set_presence(presence.sensor, presence.online, presence.received_ms)
            del work.presence[presence.sensor]
        counts.last_error = ""

    def _note(self, error: Exception) -> None:
        words = str(error) if isinstance(error, HilumError) else repr(error)
        if not isinstance(error, ClockNotSetError):
            words = f"The store failed: {words}"
        if not self.counts.last_error:
            LOG.error("Readings wait. %s", words, exc_info=error)
        self.counts.last_error = f"Readings wait. {words}"

    @staticmethod
    def _told(call: Callable[[], None]) -> None:
        """Call somebody else's code, which must not end the writer."""
        try:
            call()
        except Exception:
            LOG.exception("A listener of the ingest failed")


def _dated(message: Message, now_ms: int, passed_s: float) -> Message:
    """Give a message its arrival by the present clock, where that was set since."""
    if message.heard_s is None:
        true_ms = now_ms if message.received_ms < EARLIEST_MS else message.received_ms
    else:
        true_ms = now_ms - round((passed_s - message.heard_s) * 1000)
    if abs(true_ms - message.received_ms) < STEP_MS:
        return message
    return replace(message, received_ms=true_ms)
