"""Readings that come over HTTP: decoded as those from the broker, stored before the answer."""

from collections.abc import Callable
from dataclasses import replace
from threading import Lock

from hilum.domain.errors import ClockNotSetError
from hilum.domain.model import Reject, RejectReason
from hilum.domain.ports import Clock, Store
from hilum.ingest import Decoded, decode_senml
from hilum.ingest.decode import BURST_MS
from hilum.ingest.machineclock import SETTLING_S, since_boot_s
from hilum.ingest.pace import Pacer, too_often
from hilum.ingest.screen import EARLIEST_MS, is_ahead
from hilum.web.parts import Taken

ORIGIN = "POST /api/readings"
NO_TIME = "This machine does not know the time yet. Send it again later."
CONFLICTS = "{count} readings differ from what is kept of the same moment; the first ones stay."


class HttpIntake:
    """Keeps messages of devices without MQTT.

    Parameters
    ----------
    store : Store
        Where readings and rejects go.
    clock : Clock
        Tells when a message arrived.
    on_stored : callable
        Told the name of the sensor after the commit.
    """

    def __init__(
        self, store: Store, clock: Clock, on_stored: Callable[[frozenset[str]], None]
    ) -> None:
        self._store = store
        self._clock = clock
        self._on_stored = on_stored
        self._lock = Lock()
        self._last_ms = 0
        self._pacer = Pacer()

    def _arrival_ms(self) -> int:
        """Give the time, never the same twice: readings without a time of their own get it."""
        with self._lock:
            now_ms = self._clock.now_ms()
            if self._last_ms - now_ms > BURST_MS:  # the clock was put back
                self._last_ms = 0
            self._last_ms = max(now_ms, self._last_ms + 1)
            return self._last_ms

    def __call__(self, sensor: str, payload: bytes) -> Taken:
        """Keep a message; durable when this returns."""
        now_ms = self._arrival_ms()
        if now_ms < EARLIEST_MS:
            raise ClockNotSetError(NO_TIME)
        decoded = decode_senml(payload, sensor, now_ms, origin=ORIGIN)
        if since_boot_s() < SETTLING_S and any(map(is_ahead, decoded.rejects)):
            raise ClockNotSetError(NO_TIME)
        flaws = [(str(reject.reason), reject.detail) for reject in decoded.rejects]
        decoded, left_out = self._paced(sensor, decoded, now_ms)
        if left_out:
            flaws.append((str(RejectReason.TOO_OFTEN), too_often(left_out)))
        stored = duplicates = 0
        if decoded.readings:
            outcome = self._store.add(decoded.readings, now_ms)
            stored, duplicates = outcome.stored, outcome.duplicates
            if outcome.conflicts:
                flaws.append(("conflict", CONFLICTS.format(count=len(outcome.conflicts))))
        if decoded.rejects:
            self._store.add_rejects(decoded.rejects)
        if stored:
            self._on_stored(frozenset({sensor}))
        return Taken(stored, duplicates, tuple(flaws))

    def _paced(self, sensor: str, decoded: Decoded, now_ms: int) -> tuple[Decoded, int]:
        """Leave out what comes faster than air can change, as from the broker; and how many.

        Set aside with a word of it is only now and then, not for each message.
        """
        with self._lock:
            kept = self._pacer.within(
                sensor, decoded.readings, now_ms, by_arrival=decoded.by_arrival
            )
            to_tell = self._pacer.left_out(sensor, now_ms)
        told: tuple[Reject, ...] = ()
        if to_tell:
            words = too_often(to_tell)
            told = (Reject(now_ms, ORIGIN, RejectReason.TOO_OFTEN, words, sensor=sensor),)
        paced = replace(decoded, readings=tuple(kept), rejects=(*decoded.rejects, *told))
        return paced, len(decoded.readings) - len(kept)
