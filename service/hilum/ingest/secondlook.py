"""A second look at what seemed to come from the future while this machine's clock was slow."""

import logging
from collections.abc import Callable, Sequence
from typing import Protocol

from hilum.domain.model import AddOutcome, Reading, Reject
from hilum.ingest.decode import Decoder, Message
from hilum.ingest.machineclock import Steps
from hilum.ingest.screen import is_ahead
from hilum.ingest.senml import decode_senml
from hilum.ingest.topics import Router

LOG = logging.getLogger(__name__)
MOST = 10_000  # rejects that are kept


class SetAside(Protocol):
    """What is needed of a store; see ``hilum.domain.ports``."""

    def rejects(self, *, limit: int = 100) -> Sequence[Reject]:
        """Newest first."""
        ...

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """Keep readings, durably."""
        ...


class SecondLook:
    """Reads messages again that were set aside for their time, once the clock was put right.

    What was cut off when it was set aside (2,000 bytes are kept of each) stays there.

    Parameters
    ----------
    store : SetAside
        Where they are, and where readings go.
    router : Router
        Meaning of topics.
    now_ms : callable
        The clock.
    on_stored : callable
        Told the names of sensors that got readings.
    """

    def __init__(
        self,
        store: SetAside,
        router: Router,
        now_ms: Callable[[], int],
        on_stored: Callable[[frozenset[str]], None],
    ) -> None:
        self._store = store
        self._router = router
        self._on_stored = on_stored
        self._steps = Steps(now_ms)

    def look(self) -> int:
        """Look again if the clock was put forward; gives how many readings were kept."""
        step_ms, from_ms = self._steps.forward()
        if not step_ms:
            return 0
        decoder = Decoder(self._router, lambda _: True)
        stored, names = 0, set()
        for reject in reversed(self._store.rejects(limit=MOST)):
            if not is_ahead(reject) or reject.received_ms < from_ms:
                continue
            readings = _read(reject, decoder, reject.received_ms + step_ms)
            if readings:
                stored += self._store.add(readings, reject.received_ms + step_ms).stored
                names |= {reading.sensor for reading in readings}
        if stored:
            LOG.warning("The clock was put forward: %d readings set aside are kept now.", stored)
            self._on_stored(frozenset(names))
        return stored


def _read(reject: Reject, decoder: Decoder, arrival_ms: int) -> Sequence[Reading]:
    """Read a message again; one that came by HTTP bears no topic, but the name of its sensor."""
    found = decoder.decode(Message(reject.topic, reject.payload, arrival_ms)).readings
    if found or reject.sensor is None:
        return found
    return decode_senml(reject.payload, reject.sensor, arrival_ms).readings
