"""Tell readings from faults: what a sensor says about air, checked before it is kept.

Pure. Values are refused one by one: a bad temperature does not cost the humidity of the same
moment, and a bad moment does not cost the rest of a batch.

Where the limits come from:

* Temperature −40 to 85 °C: the range that sensors for air share ("derived": outside it no sensor of
  this trade measures air).
* 85.0 °C exactly (raw 0x0550) is what a DS18B20 probe answers before its first conversion, and
  127.94 °C (raw 0x07FF) is a conversion that failed (both "read", probe data sheet); −127 °C stands
  for a probe that is not connected in a common driver library ("memory, high"). They are refused
  with or without a humidity beside them: no seed box is at exactly 85.0 °C, and a true one costs a
  sample of 1/16 °C.
* Humidity: the SHT4x conversion RH = −6 + 125 h/65535 leaves 0 to 100 % by itself and its data
  sheet has it clipped ("read"). A device that leaves the clipping out reports saturated air as 101
  to 104 %: refusing that would hide the wettest boxes. So up to 104.5 % (±4.5 % at 0 and 100 %, the
  widest error a data sheet of the table states, SHT30: "read") counts as 100 %. Below zero the
  usual error of ±2 % is allowed, since a very dry box that goes unseen harms nothing.
* Time: not before 2010 (no clock that is set says so) and at most one hour ahead of its arrival
  ("common practice, no source").
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import IntEnum
from math import isfinite

from hilum.domain.model import Reading, Reject, RejectReason


class Slot(IntEnum):
    """The columns of a reading, and so the quantities that can be taken in."""

    TEMPERATURE = 0
    HUMIDITY = 1
    BATTERY_PCT = 2
    BATTERY_V = 3


QUANTITIES = ("temperature", "humidity", "battery", "battery")
UNIT_NAMES = ("°C", "%", "%", "V")
LOWEST = (-40.0, 0.0, 0.0, 0.0)
HIGHEST = (85.0, 100.0, 100.0, 60.0)  # 60 V: no battery of a sensor has more ("derived")
CLIP_LOW = (-40.0, -2.0, 0.0, 0.0)
CLIP_HIGH = (85.0, 104.5, 104.5, 60.0)
FAULTS = {
    85.0: "is what a probe says when it has just been switched on and has not measured yet",
    127.94: "is what a probe says when a measurement failed",
    127.9375: "is what a probe says when a measurement failed",
    -127.0: "stands for a probe that is not connected",
}
EARLIEST_MS = 1_262_304_000_000  # 2010-01-01T00:00Z
AHEAD_MS = 3_600_000
AHEAD = "in the future"
MAX_PAYLOAD = 256 * 1024
KEPT_PAYLOAD = 2_000
MAX_REJECTS = 20  # of one message; further ones are counted in one line


@dataclass(frozen=True, slots=True)
class Flaw:
    """Why something is not kept, with a sentence for a person."""

    reason: RejectReason
    detail: str


@dataclass(frozen=True, slots=True)
class Decoded:
    """What a message held. ``by_arrival``: its times rest on when it arrived, wholly or partly."""

    readings: tuple[Reading, ...] = ()
    rejects: tuple[Reject, ...] = ()
    by_arrival: bool = False


def printable(text: str) -> str:
    """Give a text without anything that cannot be stored or shown: escapes for the rest."""
    short = text if len(text) <= 80 else text[:79] + "…"
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in short)


def screened(slot: Slot, value: float) -> float | Flaw:
    """Check one value.

    Parameters
    ----------
    slot : Slot
        The quantity.
    value : float
        In the unit of the reading's column: °C, %, %, V.

    Returns
    -------
    float or Flaw
        The value to keep (clipped by at most the error of the sensor), or why it is not kept.
    """
    if not isfinite(value):
        name = QUANTITIES[slot]
        return Flaw(RejectReason.NOT_A_NUMBER, f"The {name} is not a number ({value}).")
    if slot is Slot.TEMPERATURE and value in FAULTS:
        return Flaw(RejectReason.FAULT, f"A temperature of {value:g} °C {FAULTS[value]}.")
    low, high = LOWEST[slot], HIGHEST[slot]
    if low <= value <= high:
        return value
    if CLIP_LOW[slot] <= value <= CLIP_HIGH[slot]:
        return low if value < low else high
    name, unit = QUANTITIES[slot], UNIT_NAMES[slot]
    return Flaw(
        RejectReason.RANGE,
        f"A {name} of {value:g} {unit} cannot be: {low:g} to {high:g} {unit} are possible.",
    )


def time_flaw(time_ms: int, arrival_ms: int) -> Flaw | None:
    """Say what is wrong with the time of a reading, if anything.

    Parameters
    ----------
    time_ms, arrival_ms : int
        When it was measured, by the sensor, and when it arrived [ms since 1970 UTC].
    """
    if EARLIEST_MS <= time_ms <= arrival_ms + AHEAD_MS:
        return None
    try:
        said = f"{datetime.fromtimestamp(time_ms / 1000, UTC):%Y-%m-%d %H:%M}"
    except (OverflowError, OSError, ValueError):
        said = "a time no calendar has"
    words = f"The sensor's clock is wrong: it said {said} UTC, which lies "
    if time_ms < EARLIEST_MS:
        return Flaw(RejectReason.TIME, f"{words}before 2010.")
    here = f"{datetime.fromtimestamp(arrival_ms / 1000, UTC):%Y-%m-%d %H:%M}"
    slow = f"Or the clock of this machine is slow: it said {here} UTC."
    return Flaw(RejectReason.TIME, f"{words}{AHEAD}. {slow}")


def is_ahead(reject: Reject) -> bool:
    """Tell whether something was set aside because it seemed to come from the future."""
    return reject.reason is RejectReason.TIME and AHEAD in reject.detail


@dataclass(slots=True)
class Collector:
    """Gathers the values of one message by moment, and what was refused.

    Parameters
    ----------
    sensor : str or None
        ``<site>/<name>``; ``None`` if the topic does not say.
    topic : str
        Where the message came from, for the list of rejects.
    arrival_ms : int
        When it arrived [ms since 1970 UTC].
    payload : bytes
        The message, kept with a reject.
    """

    sensor: str | None
    topic: str
    arrival_ms: int
    payload: bytes
    by_arrival: bool = False
    moments: dict[int, list[float | None]] = field(default_factory=dict)
    flaws: dict[Flaw, None] = field(default_factory=dict)
    left_out: int = 0

    def refuse(self, reason: RejectReason, detail: str) -> None:
        """Note why something is not kept; the same words count once in a message."""
        flaw = Flaw(reason, detail)
        if len(self.flaws) < MAX_REJECTS or flaw in self.flaws:
            self.flaws[flaw] = None
        else:
            self.left_out += 1

    def take(self, slot: Slot, value: float, time_ms: int) -> None:
        """Take in one value of one moment, or note why not."""
        flaw = time_flaw(time_ms, self.arrival_ms)
        checked = screened(slot, value)
        if flaw is None and isinstance(checked, Flaw):
            flaw = checked
        if flaw is not None:
            self.refuse(flaw.reason, flaw.detail)
            return
        moment = self.moments.get(time_ms)
        if moment is None:
            moment = self.moments[time_ms] = [None, None, None, None]
        kept = moment[slot]
        if kept is None:
            moment[slot] = checked  # type: ignore[assignment]  # a Flaw was refused above
        elif kept != checked:
            self.refuse(
                RejectReason.CONFLICT,
                f"Two values for the {QUANTITIES[slot]} of one moment: {kept:g} was kept, "
                f"{value:g} was not.",
            )

    def finish(self) -> Decoded:
        """Give what was gathered; a message that held nothing of use is a reject."""
        readings = []
        for time_ms, (temp_c, rh_pct, battery_pct, battery_v) in self.moments.items():
            if temp_c is None and rh_pct is None:
                if not self.flaws:
                    self.refuse(
                        RejectReason.NO_VALUE, "A battery without a temperature or a humidity."
                    )
            else:
                readings.append(
                    Reading(self.sensor or "", time_ms, temp_c, rh_pct, battery_pct, battery_v)
                )
        if not readings and not self.flaws:
            self.refuse(RejectReason.NO_VALUE, "Neither a temperature nor a humidity was in it.")
        return Decoded(tuple(readings), self.rejects(), self.by_arrival)

    def rejects(self) -> tuple[Reject, ...]:
        """Give what was refused so far as records."""
        if not self.flaws:
            return ()
        flaws = list(self.flaws)
        if self.left_out:
            more = f"{self.left_out} further parts of this message could not be used either."
            flaws.append(Flaw(flaws[-1].reason, more))
        topic, kept = printable(self.topic), self.payload[:KEPT_PAYLOAD]
        return tuple(
            Reject(self.arrival_ms, topic, flaw.reason, flaw.detail, kept, self.sensor)
            for flaw in flaws
        )


def screen_reading(reading: Reading, origin: str, arrival_ms: int) -> Decoded:
    """Check a reading that was read from a file.

    Parameters
    ----------
    reading : Reading
        As it stands in the file.
    origin : str
        Where it came from, in words; kept with a reject.
    arrival_ms : int
        Now [ms since 1970 UTC].

    Returns
    -------
    Decoded
        The reading with what can be kept of it, and the rejects.
    """
    collector = Collector(reading.sensor, origin, arrival_ms, b"")
    values = (reading.temp_c, reading.rh_pct, reading.battery_pct, reading.battery_v)
    for slot, value in zip(Slot, values, strict=True):
        if value is not None:
            collector.take(slot, value, reading.time_ms)
    return collector.finish()
