"""What a cheap sensor makes of the truth: noise, offset, rounding, silence, a wrong clock."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hilum.domain.model import Floats, Ints
from hilum.simulate.weather import Climate

MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class WrongClock:
    """From one time to another the sensor believes it is ``shift_ms`` later than it is."""

    from_ms: int
    to_ms: int
    shift_ms: int


@dataclass(frozen=True, slots=True)
class SensorSpec:
    """A sensor's faults. None of the figures has a source; they are those of ordinary parts.

    ``battery`` are points (time, percent) of the battery's story, joined by straight lines.
    """

    name: str  # <site>/<name>
    offset_temp_c: float = 0.0
    offset_rh_pct: float = 0.0
    noise_temp_c: float = 0.02
    noise_rh_pct: float = 0.08
    step_temp_c: float = 0.01
    step_rh_pct: float = 0.01
    lost_share: float = 0.001  # messages that never arrive
    second: int = 0  # of the minute at which it measures
    battery: tuple[tuple[int, float], ...] = ((0, 100.0),)
    silent: tuple[tuple[int, int], ...] = ()
    wrong_clock: tuple[WrongClock, ...] = ()


@dataclass(frozen=True, slots=True)
class Record:
    """What one sensor sent, in order of true time; the battery in whole percent."""

    sensor: str
    time_ms: Ints
    temp_c: Floats
    rh_pct: Floats
    battery_pct: Floats

    def __len__(self) -> int:
        return len(self.time_ms)

    def part(self, start_ms: int, end_ms: int) -> "Record":
        """Readings with start <= time < end."""
        i, j = np.searchsorted(self.time_ms, (start_ms, end_ms))
        return self.where(slice(int(i), int(j)))

    def where(self, rows: slice | np.ndarray) -> "Record":
        """Chosen readings."""
        return Record(
            self.sensor,
            self.time_ms[rows],
            self.temp_c[rows],
            self.rh_pct[rows],
            self.battery_pct[rows],
        )


def _within(time_ms: Ints, spans: Sequence[tuple[int, int]]) -> np.ndarray:
    inside = np.zeros(len(time_ms), dtype=bool)
    for start, end in spans:
        inside |= (time_ms >= start) & (time_ms < end)
    return inside


def _rounded(values: Floats, step: float) -> Floats:
    """Round to the sensor's resolution; exact decimals, not what is nearest in binary steps."""
    return np.round(np.round(values / step) * step, 6)


def measure(
    spec: SensorSpec, truth: Climate, time_ms: Ints, rng: np.random.Generator
) -> tuple[Record, Record]:
    """Measure at given times.

    Parameters
    ----------
    spec : SensorSpec
        The sensor.
    truth : Climate
        The air at the sensor; in between, straight lines.
    time_ms : ndarray
        True times of the measurements.
    rng : numpy.random.Generator
        Source of the noise.

    Returns
    -------
    good, mistimed : Record
        What arrives with its right time, and what was sent while the clock was wrong (true times).
    """
    count = len(time_ms)
    temp = np.interp(time_ms, truth.time_ms, truth.temp_c) + spec.offset_temp_c
    temp += spec.noise_temp_c * rng.standard_normal(count)
    rh = np.interp(time_ms, truth.time_ms, truth.rh_pct) + spec.offset_rh_pct
    rh += spec.noise_rh_pct * rng.standard_normal(count)
    knots = np.array(spec.battery, dtype=np.float64)
    everything = Record(
        spec.name,
        time_ms,
        _rounded(temp, spec.step_temp_c),
        _rounded(np.clip(rh, 0.0, 100.0), spec.step_rh_pct),
        np.round(np.interp(time_ms, knots[:, 0], knots[:, 1])),
    )
    sent = (rng.random(count) >= spec.lost_share) & ~_within(time_ms, spec.silent)
    wrong = _within(time_ms, [(w.from_ms, w.to_ms) for w in spec.wrong_clock])
    return everything.where(sent & ~wrong), everything.where(sent & wrong)


def senml(time_ms: int, temp_c: float, rh_pct: float, battery_pct: float) -> bytes:
    """One moment as SenML JSON (RFC 8428), as the sensors of the demo send it."""
    records = [
        {"bt": time_ms / 1000, "n": "temperature", "u": "Cel", "v": temp_c},
        {"n": "humidity", "u": "%RH", "v": rh_pct},
        {"n": "battery", "u": "%EL", "v": battery_pct},
    ]
    return json.dumps(records, separators=(",", ":")).encode()


def minutes(spec: SensorSpec, start_ms: int, end_ms: int) -> Ints:
    """The moments in start <= time < end at which the sensor measures: once a minute."""
    first = -(-start_ms // MINUTE_MS) * MINUTE_MS + spec.second * 1000
    return np.arange(first, end_ms, MINUTE_MS, dtype=np.int64)
