"""From a message to what is to be kept: the meaning of its topic, its values, its times."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from hilum.domain.model import Arrival, Reading, Reject, RejectReason
from hilum.ingest.notes import read_note
from hilum.ingest.pace import Pacer, too_often
from hilum.ingest.screen import Collector, Decoded, is_ahead
from hilum.ingest.senml import decode_senml
from hilum.ingest.topics import Kind, Route, Router

PAIR_MS = 30_000
BURST_MS = 600_000  # no burst is longer: that many messages of one sensor at once
STAMPS_KEPT = 100_000  # sensors whose last arrival is remembered


@dataclass(frozen=True, slots=True)
class Message:
    """A message as it came from the broker, with nothing of the client library in it.

    ``ticket`` is what the link needs to acknowledge it (``None``: it asks for none). ``topic`` is
    ``None`` if it is not UTF-8; ``raw_topic`` then says what it was. ``begins`` stands for no
    message: from here on everything is heard. ``heard_s`` is when it came in seconds since the
    machine started, which hold when the clock is set.
    """

    topic: str | None
    payload: bytes
    received_ms: int
    retained: bool = False
    ticket: tuple[int, int] | None = None
    raw_topic: bytes = b""
    begins: bool = False
    heard_s: float | None = None


@dataclass(frozen=True, slots=True)
class Presence:
    """What the last will of a sensor says."""

    sensor: str
    online: bool
    received_ms: int


@dataclass(frozen=True, slots=True)
class Kept:
    """What one message gives the store."""

    readings: Sequence[Reading] = ()
    rejects: Sequence[Reject] = ()
    presence: Presence | None = None
    arrivals: Sequence[Arrival] = ()


class Decoder:
    """Turns messages into what is to be kept.

    Parameters
    ----------
    router : Router
        Meaning of topics.
    admits : callable
        Whether a sensor's readings are taken (:class:`hilum.ingest.budget.SensorBudget`).
    """

    def __init__(self, router: Router, admits: Callable[[str], bool]) -> None:
        self.router = router
        self.admits = admits
        self._pacer = Pacer()
        self._stamps: dict[str, tuple[int, Reading | None]] = {}

    def decode(self, message: Message) -> Kept:
        """Decode one message; whatever it holds, only the store behind ``admits`` can fail."""
        if message.topic is None:
            topic = message.raw_topic.decode("utf-8", "backslashreplace")
            return _refuse(message, topic, RejectReason.TOPIC, "The topic is not text in UTF-8.")
        route = self.router.route(message.topic)
        if route.problem:
            return _refuse(message, message.topic, RejectReason.TOPIC, route.problem)
        if not message.payload and message.retained:
            return Kept()
        if route.kind is Kind.STATUS:
            return self._presence(message, route)
        if route.kind is Kind.ARRIVED:
            return _noted(message, route.sensor)
        return self._readings(message, route)

    def ahead(self, message: Message) -> bool:
        """Tell whether a message seems to come from the future; changes nothing."""
        route = self.router.route(message.topic or "")
        if route.problem or route.kind not in {Kind.READINGS, Kind.SOURCE}:
            return False
        return any(map(is_ahead, _read(message, route, message.received_ms).rejects))

    def _readings(self, message: Message, route: Route) -> Kept:
        decoded = _read(message, route, message.received_ms)
        if not decoded.readings:
            return Kept((), decoded.rejects)
        if not self.admits(route.sensor):
            return _too_many(message)
        by_arrival = decoded.by_arrival
        if by_arrival:
            decoded = self._dated(message, route, decoded)
        return self._paced(message, route.sensor, decoded, by_arrival=by_arrival)

    def _paced(self, message: Message, sensor: str, decoded: Decoded, *, by_arrival: bool) -> Kept:
        """Leave out what comes faster than air can change, and say so once a minute."""
        at_ms = message.received_ms
        kept = self._pacer.within(sensor, decoded.readings, at_ms, by_arrival=by_arrival)
        left_out = self._pacer.left_out(sensor, at_ms)
        if not left_out:
            return Kept(kept, decoded.rejects)
        words = too_often(left_out)
        told = _refuse(message, message.topic or "", RejectReason.TOO_OFTEN, words, sensor)
        return Kept(kept, (*decoded.rejects, *told.rejects))

    def _presence(self, message: Message, route: Route) -> Kept:
        said = message.payload[:16].strip().lower()
        if not said:  # a retained status that was taken back
            return Kept()
        if said not in {b"online", b"offline"}:
            detail = "A status must be “online” or “offline”."
            return _refuse(message, message.topic or "", RejectReason.SHAPE, detail, route.sensor)
        if not self.admits(route.sensor):
            return _too_many(message)
        return Kept(presence=Presence(route.sensor, said == b"online", message.received_ms))

    def _dated(self, message: Message, route: Route, decoded: Decoded) -> Decoded:
        """Give readings without a clock of their own times that do not collide.

        Temperature and humidity that arrive in two messages belong to one moment if they arrive
        within half a minute. What comes in a burst, after the service was away, is spread by a
        millisecond each: when it was measured is unknown, but none of it is lost. If this machine's
        clock was put back, arrivals go by the new time.
        """
        base_ms, last = self._stamps.get(route.sensor, (0, None))
        if base_ms - message.received_ms > BURST_MS:
            base_ms, last = 0, None
        if last is not None and len(decoded.readings) == 1:
            [reading] = decoded.readings
            if _completes(reading, last):
                self._stamps[route.sensor] = (max(base_ms, message.received_ms), None)
                return replace(decoded, readings=(replace(reading, time_ms=last.time_ms),))
        arrival_ms = max(message.received_ms, base_ms + 1)
        if arrival_ms != message.received_ms:
            decoded = _read(message, route, arrival_ms)
        if len(self._stamps) < STAMPS_KEPT or route.sensor in self._stamps:
            self._stamps[route.sensor] = (arrival_ms, decoded.readings[-1])
        return decoded


def _noted(message: Message, site: str) -> Kept:
    try:
        note = read_note(site, message.payload)
    except ValueError:
        words = "This is not what a worker of Hilum says."
        return _refuse(message, message.topic or "", RejectReason.SHAPE, words)
    return Kept((), note.rejects, arrivals=note.arrivals)


def _completes(reading: Reading, last: Reading) -> bool:
    if abs(reading.time_ms - last.time_ms) > PAIR_MS:
        return False
    mine = (reading.temp_c is None, reading.rh_pct is None)
    return True in mine and mine == (last.temp_c is not None, last.rh_pct is not None)


def _read(message: Message, route: Route, arrival_ms: int) -> Decoded:
    topic = message.topic or ""
    if route.source is not None:
        return route.source.decode(
            message.payload, route.sensor, arrival_ms, origin=topic, retained=message.retained
        )
    return decode_senml(
        message.payload, route.sensor, arrival_ms, origin=topic, retained=message.retained
    )


def _refuse(
    message: Message, topic: str, reason: RejectReason, detail: str, sensor: str | None = None
) -> Kept:
    collector = Collector(sensor, topic, message.received_ms, message.payload)
    collector.refuse(reason, detail)
    return Kept((), collector.rejects())


def _too_many(message: Message) -> Kept:
    return _refuse(
        message,
        message.topic or "",
        RejectReason.TOO_MANY_SENSORS,
        "More unknown sensors have spoken than are taken in. Claim those that are yours, or raise "
        "max_new_sensors.",
    )
