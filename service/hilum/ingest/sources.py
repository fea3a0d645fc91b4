"""Messages of any other device, by settings: which topics, and where in the payload values stand.

A source is a topic filter in which one level is written ``{sensor}``; that level of a topic names
the sensor, ``+`` stands for any other. The payload is a plain number, or JSON in which a JSON
Pointer (RFC 6901) leads to each quantity. Pure.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Any

from hilum.domain.errors import SettingsError
from hilum.domain.model import RejectReason
from hilum.ingest.screen import Collector, Decoded, Slot, printable
from hilum.ingest.senml import PackError, RecordError, check_size, number, parse_json

MARK = "{sensor}"
EPOCH_MS = 1e11  # larger numbers count milliseconds: 1e11 s would be the year 5138
PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
NOT_NUMBERS = {"nan", "inf", "+inf", "-inf", "infinity", "-infinity"}
INDEX = re.compile(r"0|[1-9]\d{0,8}", re.ASCII)
# quantity and unit -> column, factor, offset
UNITS = {
    ("temperature", "degC"): (Slot.TEMPERATURE, 1.0, 0.0),
    ("temperature", "degF"): (Slot.TEMPERATURE, 1.0 / 1.8, -32.0 / 1.8),
    ("temperature", "K"): (Slot.TEMPERATURE, 1.0, -273.15),
    ("humidity", "%"): (Slot.HUMIDITY, 1.0, 0.0),
    ("humidity", "fraction"): (Slot.HUMIDITY, 100.0, 0.0),
    ("battery", "%"): (Slot.BATTERY_PCT, 1.0, 0.0),
    ("battery", "fraction"): (Slot.BATTERY_PCT, 100.0, 0.0),
    ("battery", "V"): (Slot.BATTERY_V, 1.0, 0.0),
}


@dataclass(frozen=True, slots=True)
class Place:
    """Where one quantity stands in a payload, and in which unit.

    ``pointer`` is a JSON Pointer (RFC 6901); ``None``: the payload is the number itself.
    """

    unit: str
    pointer: str | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """How to read a kind of device that has its own messages.

    Parameters
    ----------
    topic : str
        Topic filter with one level ``{sensor}`` and any number of ``+``.
    site : str
        First half of the names of its sensors.
    places : mapping of str to Place
        For ``temperature``, ``humidity`` and ``battery``, as far as the device has them.
    time_pointer : str, optional
        Where the time of measurement stands: seconds or milliseconds since 1970 UTC, or ISO 8601
        with an offset. Without it, a message is dated by its arrival.

    Raises
    ------
    SettingsError
        The filter, a unit or a pointer cannot be used; says which.
    """

    topic: str
    site: str
    places: Mapping[str, Place]
    time_pointer: str | None = None
    _tokens: Mapping[str, tuple[str, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        levels = self.topic.split("/")
        if levels.count(MARK) != 1 or any(
            level not in {MARK, "+"} and set(level) & set("+#{}") for level in levels
        ):
            raise SettingsError(
                f"The source topic “{self.topic}” needs one level written {MARK}; "
                "other levels are a name or +."
            )
        if not {"temperature", "humidity"} & self.places.keys():
            raise SettingsError(f"The source “{self.topic}” has no temperature and no humidity.")
        pointers = {name: place.pointer for name, place in self.places.items()}
        if None in pointers.values() and (len(pointers) > 1 or self.time_pointer is not None):
            raise SettingsError(
                f"The source “{self.topic}” reads more than one value from a message, so each "
                "needs a JSON Pointer, such as /temperature."
            )
        for name, place in self.places.items():
            if (name, place.unit) not in UNITS:
                known = ", ".join(unit for quantity, unit in UNITS if quantity == name)
                raise SettingsError(
                    f"The source “{self.topic}” cannot have a {name} in “{place.unit}”; "
                    f"known units: {known or 'none'}."
                )
        if self.time_pointer is not None:
            pointers["time"] = self.time_pointer
        tokens = {name: pointer_tokens(p) for name, p in pointers.items() if p is not None}
        object.__setattr__(self, "_tokens", MappingProxyType(tokens))

    @property
    def filter(self) -> str:
        """The topic filter as a broker takes it."""
        return self.topic.replace(MARK, "+")

    def sensor_level(self, levels: list[str]) -> str | None:
        """Give the level of a topic that names the sensor; ``None`` if the topic is another's."""
        own = self.topic.split("/")
        if len(own) != len(levels):
            return None
        name = None
        for mine, theirs in zip(own, levels, strict=True):
            if mine == MARK:
                name = theirs
            elif mine not in {"+", theirs}:
                return None
        return name

    def decode(
        self, payload: bytes, sensor: str, arrival_ms: int, *, origin: str, retained: bool = False
    ) -> Decoded:
        """Read one message.

        Parameters
        ----------
        payload : bytes
            The message.
        sensor : str
            ``<site>/<name>``.
        arrival_ms : int
            When it arrived [ms since 1970 UTC].
        origin : str
            Its topic.
        retained : bool
            The broker kept it from before, so that its arrival says nothing about its time.

        Returns
        -------
        Decoded
            At most one reading, and the rejects.
        """
        collector = Collector(sensor, origin, arrival_ms, payload)
        try:
            if self._tokens:
                self._read_json(parse_json(payload, dict), collector, retained=retained)
            else:
                check_size(payload)
                self._refuse_undated(retained)
                [(quantity, place)] = self.places.items()
                value = text_number(payload[:100].decode("utf-8", "replace"), "payload")
                self._take(collector, quantity, place.unit, value, self._now(collector))
        except (PackError, RecordError) as error:
            collector.refuse(error.reason, str(error))
        return collector.finish()

    def _read_json(self, root: object, collector: Collector, *, retained: bool) -> None:
        said = resolve(root, self._tokens.get("time", ("",))) if self.time_pointer else None
        if said is None:
            self._refuse_undated(retained)
        time_ms = self._now(collector) if said is None else read_time(said)
        for quantity, place in self.places.items():
            found = resolve(root, self._tokens[quantity])
            if found is None:
                continue
            try:
                value = json_number(found, quantity)
                self._take(collector, quantity, place.unit, value, time_ms)
            except RecordError as error:
                collector.refuse(error.reason, str(error))

    @staticmethod
    def _refuse_undated(retained: bool) -> None:
        if retained:
            raise RecordError(
                RejectReason.TIME,
                "The broker kept this value from before, and it does not say when it was measured.",
            )

    @staticmethod
    def _now(collector: Collector) -> int:
        collector.by_arrival = True
        return collector.arrival_ms

    @staticmethod
    def _take(collector: Collector, quantity: str, unit: str, value: float, time_ms: int) -> None:
        slot, factor, offset = UNITS[(quantity, unit)]
        if factor != 1.0 or offset != 0.0:
            value = round(value * factor + offset, 6)
        collector.take(slot, value, time_ms)


def pointer_tokens(pointer: str) -> tuple[str, ...]:
    """Split a JSON Pointer into its reference tokens (RFC 6901, sections 3 and 4).

    Raises
    ------
    SettingsError
        It does not begin with ``/``, or a ``~`` is not followed by 0 or 1.
    """
    if pointer and not pointer.startswith("/"):
        raise SettingsError(f"The JSON Pointer “{pointer}” must begin with /.")
    if re.search(r"~(?![01])", pointer):
        raise SettingsError(f"In the JSON Pointer “{pointer}”, ~ is written ~0 and / is ~1.")
    parts = pointer.split("/")[1:]
    return tuple(part.replace("~1", "/").replace("~0", "~") for part in parts)


def resolve(root: object, tokens: tuple[str, ...]) -> object:
    """Follow a JSON Pointer; ``None`` where it leads nowhere (RFC 6901, section 4)."""
    here: Any = root
    for token in tokens:
        if isinstance(here, dict):
            here = here.get(token)
        elif isinstance(here, list) and INDEX.fullmatch(token) and int(token) < len(here):
            here = here[int(token)]
        else:
            return None
    found: object = here
    return found


def text_number(text: str, name: str) -> float:
    """Read a plain decimal number.

    Raises
    ------
    RecordError
        It is something else, or not finite.
    """
    plain = text.strip()
    if PLAIN.fullmatch(plain):
        return number({name: float(plain)}, name)
    if plain.lower() in NOT_NUMBERS:
        raise RecordError(RejectReason.NOT_A_NUMBER, f"The {name} is not a number ({plain}).")
    raise RecordError(
        RejectReason.SHAPE, f"The {name} should be a number, but is “{printable(plain)}”."
    )


def json_number(value: object, name: str) -> float:
    """Read a number of a JSON message; a text that holds a plain number will do."""
    return text_number(value, name) if isinstance(value, str) else number({name: value}, name)


def read_time(value: object) -> int:
    """Read a time: seconds or milliseconds since 1970 UTC, or ISO 8601 with an offset.

    Returns
    -------
    int
        Milliseconds since 1970 UTC.

    Raises
    ------
    PackError
        It cannot be read, or does not say its time zone.
    """
    try:
        if isinstance(value, str) and not PLAIN.fullmatch(value.strip()):
            when = datetime.fromisoformat(value.strip())
            if when.tzinfo is None:
                raise PackError(
                    RejectReason.TIME,
                    f"The time “{printable(value)}” does not say its time zone (Z or +01:00).",
                )
            return round(when.timestamp() * 1000)
        stamp = json_number(value, "time")
    except (ValueError, OverflowError, RecordError) as error:
        raise PackError(
            RejectReason.TIME, f"The time “{printable(str(value))}” cannot be read."
        ) from error
    return round(max(min(stamp, 1e15), -1e15) * (1.0 if abs(stamp) >= EPOCH_MS else 1000.0))
