"""Sensor measurement lists in JSON (SenML, RFC 8428) to readings. Pure.

Of the RFC: base fields and their order (4.1), the value fields (4.2), names and times (4.5), fields
that must be understood (4.4), units from the registry (12.1). The topic or the address names the
sensor; a name in the message only says which quantity a record holds: ``temperature``,
``humidity`` or ``battery``, alone or behind a prefix that ends in ``:`` or ``/`` (or ``_`` in a
``urn:dev:`` name). Other names are passed over, since devices may report more than Hilum needs.
The section numbers are from memory.
"""

import json
import re
from functools import lru_cache
from math import isfinite
from typing import Any

from hilum.domain.model import RejectReason
from hilum.ingest.screen import MAX_PAYLOAD, Collector, Decoded, Slot, printable

VERSION = 10
ABSOLUTE = 2**28  # smaller times count from now
BASE = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
FIELDS = BASE | {"n", "u", "v", "vs", "vb", "vd", "t", "ut", "s"}
VALUES = frozenset({"v", "vs", "vb", "vd"})
MAX_NAME = 256  # longer names are none of ours
NAMES = frozenset({"temperature", "humidity", "battery"})
NAME = re.compile(
    r"((?:[A-Za-z0-9][-A-Za-z0-9:./_]*[:/]|urn:dev:[-A-Za-z0-9:./_]*_)?)"
    r"(temperature|humidity|battery)"
)
# quantity and registered unit -> column, factor, offset
UNITS: dict[tuple[str, object], tuple[Slot, float, float]] = {
    ("temperature", "Cel"): (Slot.TEMPERATURE, 1.0, 0.0),
    ("temperature", "K"): (Slot.TEMPERATURE, 1.0, -273.15),
    ("humidity", "%RH"): (Slot.HUMIDITY, 1.0, 0.0),
    ("humidity", "/"): (Slot.HUMIDITY, 100.0, 0.0),
    ("battery", "%EL"): (Slot.BATTERY_PCT, 1.0, 0.0),
    ("battery", "V"): (Slot.BATTERY_V, 1.0, 0.0),
}
EXPECTED = {
    "temperature": "Cel or K",
    "humidity": "%RH or / (a ratio)",
    "battery": "%EL or V",
}


class PackError(Exception):
    """The message as a whole cannot be used."""

    def __init__(self, reason: RejectReason, detail: str) -> None:
        self.reason = reason
        super().__init__(detail)


class RecordError(Exception):
    """One record cannot be used; those before and after it can."""

    def __init__(self, reason: RejectReason, detail: str) -> None:
        self.reason = reason
        super().__init__(detail)


def decode_senml(
    payload: bytes,
    sensor: str,
    arrival_ms: int,
    *,
    origin: str = "",
    retained: bool = False,
    most: int = MAX_PAYLOAD,
) -> Decoded:
    """Read a SenML pack.

    Parameters
    ----------
    payload : bytes
        ``application/senml+json``.
    sensor : str
        ``<site>/<name>`` of the sensor that sent it.
    arrival_ms : int
        When it arrived [ms since 1970 UTC]: stands in for the time where there is none, and is what
        relative times count from.
    origin : str
        Topic or address it came to; kept with a reject.
    retained : bool
        The broker kept it from before, so that its arrival says nothing about its time.
    most : int
        Bytes it may have.

    Returns
    -------
    Decoded
        Readings and rejects; whatever the bytes are, nothing is raised.
    """
    collector = Collector(sensor, origin, arrival_ms, payload)
    try:
        pack = Pack(collector, retained=retained)
        for record in parse_json(payload, list, most):
            pack.read(record)
    except PackError as error:
        collector.moments.clear()
        collector.refuse(error.reason, str(error))
    return collector.finish()


def parse_json(payload: bytes, shape: type, most: int = MAX_PAYLOAD) -> Any:  # noqa: ANN401 - JSON can be anything
    """Read JSON in UTF-8 whose root is a list or an object.

    Raises
    ------
    PackError
        Too large, no JSON, a name twice in one object, or another shape.
    """
    check_size(payload, most)
    try:
        root = _DECODER.decode(payload.decode())
    except (ValueError, RecursionError) as error:
        raise PackError(RejectReason.NOT_JSON, _no_json(error)) from error
    if type(root) is not shape:
        wanted = "a list of records" if shape is list else "an object"
        raise PackError(RejectReason.SHAPE, f"The message is JSON, but not {wanted}.")
    return root


def check_size(payload: bytes, most: int = MAX_PAYLOAD) -> None:
    """Raise PackError if a message is too large to be read."""
    if len(payload) > most:
        raise PackError(
            RejectReason.TOO_LARGE,
            f"The message is larger than {most:,} bytes, which is too large to be read.",
        )


def _no_json(error: Exception) -> str:
    if isinstance(error, json.JSONDecodeError):
        return f"The message is not JSON: at character {error.pos + 1}, {error.msg.lower()}."
    if isinstance(error, UnicodeDecodeError):
        return "The message is not JSON: it is not text in UTF-8."
    if isinstance(error, RecursionError):
        return "The message is not JSON that can be read: it is nested too deeply."
    return "The message is not JSON that can be read: a number in it is too long."


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise PackError(RejectReason.SHAPE, "A field stands twice in one record.")
    return found


_DECODER = json.JSONDecoder(object_pairs_hook=_object)


def number(record: dict[str, Any], key: str) -> float:
    """Give a field that must be a number; one that is missing is zero.

    Raises
    ------
    RecordError
        It is something else (true and false are no numbers), or not finite.
    """
    value = record.get(key, 0.0)
    if type(value) is int:
        try:
            value = float(value)
        except OverflowError:
            value = float("inf")
    if type(value) is not float:
        raise RecordError(RejectReason.SHAPE, f"The field “{key}” is not a number.")
    if not isfinite(value):
        raise RecordError(RejectReason.NOT_A_NUMBER, f"The field “{key}” is not a finite number.")
    return value


@lru_cache(maxsize=1024)
def quantity_of(name: str) -> tuple[str, str] | None:
    """Split a resolved name into its prefix and the quantity it ends in, if it is one of ours."""
    match = NAME.fullmatch(name)
    return (match[1], match[2]) if match else None


class Pack:
    """The state of a pack while its records are read in order: the base fields."""

    def __init__(self, collector: Collector, *, retained: bool = False) -> None:
        self.collector = collector
        self.retained = retained
        self.base_name = ""
        self.base_unit: object = None
        self.base_time = self.base_value = 0.0
        self.device: str | None = None

    def read(self, record: object) -> None:
        """Read the next record; what is wrong with it alone goes to the rejects."""
        try:
            self._read_record(record)
        except RecordError as error:
            self.collector.refuse(error.reason, str(error))

    def _read_record(self, record: object) -> None:
        if type(record) is not dict:
            raise RecordError(RejectReason.SHAPE, "A record of the list is not an object.")
        if not record.keys() <= FIELDS:
            self._refuse_unknown(record)
        if not BASE.isdisjoint(record):
            self._set_bases(record)
        self._read_value(record)

    def _refuse_unknown(self, record: dict[str, Any]) -> None:
        for key in record:
            if key.endswith("_"):
                raise PackError(
                    RejectReason.SHAPE,
                    f"The field “{printable(key)}” must be understood, and is not.",
                )

    def _set_bases(self, record: dict[str, Any]) -> None:
        """Take over base fields; a bad one spoils all that follows, so the pack is refused."""
        try:
            if record.get("bver", VERSION) != VERSION:
                self._check_version(record["bver"])
            if "bt" in record:
                self.base_time = number(record, "bt")
            if "bv" in record:
                self.base_value = number(record, "bv")
            if "bs" in record:
                number(record, "bs")
        except RecordError as error:
            raise PackError(error.reason, str(error)) from error
        self.base_name = record.get("bn", self.base_name)
        self.base_unit = record.get("bu", self.base_unit)
        if type(self.base_name) is not str:
            raise PackError(RejectReason.SHAPE, "The field “bn” is not text.")

    def _check_version(self, version: object) -> None:
        if type(version) is not int or version < 1:
            raise PackError(RejectReason.SHAPE, "The field “bver” is not a version number.")
        if version > VERSION:
            raise PackError(
                RejectReason.SHAPE,
                f"The message is in SenML version {version}; version {VERSION} is understood.",
            )

    def _read_value(self, record: dict[str, Any]) -> None:
        name = record.get("n", "")
        if type(name) is not str:
            raise RecordError(RejectReason.SHAPE, "The field “n” is not text.")
        found = (self.base_name, name) if name in NAMES else self._resolve(name)
        if found is None or (not name and VALUES.isdisjoint(record)):
            return
        device, quantity = found
        slot, factor, offset = self._unit(quantity, record)
        value = self._value(quantity, record)
        if factor != 1.0 or offset != 0.0:
            value = round(value * factor + offset, 6)
        if self.device is None:
            self.device = device
        elif self.device != device:
            raise RecordError(
                RejectReason.SHAPE,
                "The message speaks for more than one device; each needs a topic of its own.",
            )
        self.collector.take(slot, value, self._time(record))

    def _resolve(self, name: str) -> tuple[str, str] | None:
        full = self.base_name + name
        return quantity_of(full) if len(full) <= MAX_NAME else None

    def _unit(self, quantity: str, record: dict[str, Any]) -> tuple[Slot, float, float]:
        unit = record.get("u", self.base_unit)
        column = UNITS.get((quantity, unit)) if type(unit) is str else None
        if column is None:
            said = f"“{printable(unit)}”" if type(unit) is str else "missing"
            raise RecordError(
                RejectReason.UNIT,
                f"The unit of the {quantity} is {said}; it must be {EXPECTED[quantity]}.",
            )
        return column

    def _value(self, quantity: str, record: dict[str, Any]) -> float:
        if VALUES & record.keys() != {"v"}:
            raise RecordError(
                RejectReason.SHAPE, f"The {quantity} needs one value, as a number in “v”."
            )
        return self.base_value + number(record, "v")

    def _time(self, record: dict[str, Any]) -> int:
        seconds = self.base_time + number(record, "t")
        if seconds >= ABSOLUTE:
            return round(min(seconds, 1e12) * 1000)
        if seconds > 0:
            raise RecordError(
                RejectReason.TIME,
                f"The sensor's clock was never set: it counts {seconds:g} s from its start.",
            )
        if self.retained:
            raise RecordError(
                RejectReason.TIME,
                "This value was kept from before, and it does not say when it was measured.",
            )
        self.collector.by_arrival = True
        return self.collector.arrival_ms + round(max(seconds, -1e12) * 1000)
