"""What the rules about sensors see.

Whether values stand still or jump is told by what the sensor itself sent; two sensors are compared
as corrected.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    Placement,
    Reading,
    Reject,
    RejectReason,
    Role,
    Sensor,
    Series,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning import corrected
from hilum.keeping.watching.judging import Sign, single, span
from hilum.keeping.watching.rules import RULES
from hilum.keeping.watching.scene import NOTHING, Scene

SLOW_EVERY_MS = MS_PER_HOUR
STUCK_LEAST = 24  # readings that must agree
JUMP_PCT, JUMP_TEMP_C, JUMP_MS = 10.0, 0.2, 120_000
DRIFT_DAYS, DRIFT_HOURS = 7, 48
BATTERY_MS = 6 * MS_PER_HOUR
REJECTS_READ = 1000
LEAST_SILENT_S = 15 * 60
NETWORK_LEAST = 3
NETWORK_NEAR = 0.8
"""Share of its limit from which on a sensor counts as silent with the others: they do not all pass
their limits in one minute."""

CELLS = ((1.7, 1.0), (3.5, 2.4), (4.4, 3.4))
"""Voltage a battery has at most when good, and voltage at which it is low [V]: one 1.5 V cell, two
of them or a 3 V lithium cell, a 3.7 V lithium cell. Common practice, no source."""

EARLIER_DAYS = (1, 7, 30, 90)
"""Days back at which the battery is looked up, to know what it was when it was good."""


@dataclass(frozen=True, slots=True)
class Watched:
    """A sensor that stands somewhere now."""

    sensor: Sensor
    placement: Placement
    box: Box

    @property
    def words(self) -> dict[str, str]:
        """Names for sentences."""
        beside = "beside " if self.placement.role is Role.OUTSIDE else ""
        name = f"the sensor {self.sensor.name} ({beside}{self.box.name})"
        return {"name": name, "place": self.box.name}


def watched(store: Store, boxes: Mapping[str, Box], now_ms: int) -> list[Watched]:
    """Sensors that stand in or beside a box that is in use."""
    known = {sensor.name: sensor for sensor in store.sensors()}
    return [
        Watched(known[p.sensor], p, boxes[p.box])
        for p in store.placements()
        if p.from_ms <= now_ms and (p.to_ms is None or now_ms < p.to_ms) and p.box in boxes
    ]


def silence_sign(scene: Scene, item: Watched, pace_s: float, listening_ms: int) -> Sign | None:
    """Time since a sensor spoke, against its own pace.

    What was sent while Hilum was not listening may still come: until it is known to be silent,
    silence counts from when listening began.
    """
    own_limit = max(2 * pace_s, LEAST_SILENT_S) / 60
    limits = scene.limits("silent", item.box, own_limit)
    if limits is None:
        return None
    heard_ms = last_heard_ms(scene.store, item)
    if not scene.is_told(RULES["silent"], item.box.slug, item.sensor.name):
        heard_ms = max(heard_ms, listening_ms)
    silent_s = max(scene.now_ms - heard_ms, 0) / 1000
    words = {**item.words, "age": span(silent_s), "pace": span(pace_s)}
    series = single(scene.now_ms, silent_s / 60)
    return Sign(
        RULES["silent"], limits, *series, words, box=item.box.slug, sensor=item.sensor.name,
        since_ms=heard_ms,
    )  # fmt: skip


def last_heard_ms(store: Store, item: Watched) -> int:
    """When a sensor last spoke, or came to where it is."""
    newest = store.newest(item.sensor.name)
    times = [item.placement.from_ms, item.sensor.last_seen_ms or 0]
    return max([*times, newest.time_ms] if newest else times)


def gathered(scene: Scene, silences: Sequence[Sign]) -> list[Sign]:
    """Put one sign in the place of many when most sensors fall silent together.

    While that lasts, single sensors are neither said to be silent nor to speak again.
    """
    limits = scene.limits("network", None)
    if limits is None or len(silences) < NETWORK_LEAST:
        return list(silences)
    shares = [float(sign.values[-1]) / sign.limits.limit for sign in silences]
    quiet = sum(share > NETWORK_NEAR for share in shares)
    share_pct = 100.0 * quiet / len(silences) if max(shares) > 1.0 else 0.0
    words = {"count": str(quiet), "of": str(len(silences))}
    series = single(scene.now_ms, share_pct)
    network = Sign(RULES["network"], limits, *series, words)
    if not limits.past(share_pct):
        return [*silences, network]
    held = [
        replace(sign, time_ms=NOTHING[0], values=NOTHING[1]) if share > NETWORK_NEAR else sign
        for sign, share in zip(silences, shares, strict=True)
    ]
    return [*held, network]


class SensorSigns:
    """Signs of a sensor's health; looked at once an hour.

    Parameters
    ----------
    scene : Scene
        The round.
    item : Watched
        The sensor.
    rejects : sequence of Reject
        The newest rejects of all sensors.
    partner : Watched or None
        The main sensor of the same box, where this one stands there for comparison.
    """

    def __init__(
        self, scene: Scene, item: Watched, rejects: Sequence[Reject], partner: Watched | None
    ) -> None:
        self._scene = scene
        self._item = item
        self._rejects = [reject for reject in rejects if reject.sensor == item.sensor.name]
        self._partner = partner

    def signs(self) -> list[Sign]:
        """Everything the rules can say about the sensor's health."""
        store, name, now_ms = self._scene.store, self._item.sensor.name, self._scene.now_ms
        day = store.series(name, now_ms - 25 * MS_PER_HOUR, now_ms + MS_PER_HOUR)
        return [*self._values(day), *self._refused(), *self._battery(), *self._drift()]

    def _sign(
        self, key: str, value: float | None, own_limit: float | None = None, **words: str
    ) -> Iterator[Sign]:
        limits = self._scene.limits(key, self._item.box, own_limit)
        if limits is not None:
            series = NOTHING if value is None else single(self._scene.now_ms, value)
            yield Sign(
                RULES[key], limits, *series, {**self._item.words, **words},
                box=self._item.box.slug, sensor=self._item.sensor.name,
            )  # fmt: skip

    def _values(self, day: Series) -> Iterator[Sign]:
        start_ms = max(self._scene.now_ms - MS_PER_DAY, self._item.placement.from_ms)
        recent = day.time_ms >= start_ms
        jumps = _jumps(day, recent) if recent.any() else None
        yield from self._sign("jumps", jumps)
        yield from self._sign("stuck", self._stuck_hours(day))

    def _stuck_hours(self, day: Series) -> float | None:
        """Hours in which nothing changed; looks further back only if a whole day agrees."""
        hours = stuck_hours(day)
        if hours is None or hours < 24.0 or len(day) < STUCK_LEAST:
            return hours
        now_ms = self._scene.now_ms
        return stuck_hours(
            self._scene.store.series(self._item.sensor.name, now_ms - 30 * MS_PER_DAY, now_ms + 1)
        )

    def _refused(self) -> Iterator[Sign]:
        since_ms = self._scene.now_ms - MS_PER_DAY
        for key, reason in (("faulty", RejectReason.FAULT), ("clock", RejectReason.TIME)):
            count = sum(r.reason is reason and r.received_ms > since_ms for r in self._rejects)
            yield from self._sign(key, float(count))

    def _battery(self) -> Iterator[Sign]:
        now_ms, name = self._scene.now_ms, self._item.sensor.name
        store = self._scene.store
        newest = store.newest(name)
        if newest is None:
            return
        pages = store.pages(name, newest.time_ms - BATTERY_MS, newest.time_ms + 1, 1000)
        recent = [reading for page in pages for reading in page]
        pct = _middle(recent, lambda reading: reading.battery_pct)
        if pct is not None:
            yield from self._sign("battery", pct)
        volts = _middle(recent, lambda reading: reading.battery_v)
        if volts is not None:
            earlier = (store.before(name, now_ms - days * MS_PER_DAY) for days in EARLIER_DAYS)
            good = max([volts, *(r.battery_v for r in earlier if r and r.battery_v is not None)])
            low = next((low for full, low in CELLS if good <= full), None)
            if low is not None:
                yield from self._sign("voltage", volts, low)

    def _drift(self) -> Iterator[Sign]:
        if self._partner is None:
            return
        end_ms = self._scene.now_ms
        start_ms = max(
            end_ms - DRIFT_DAYS * MS_PER_DAY,
            self._item.placement.from_ms,
            self._partner.placement.from_ms,
        )
        ours, theirs = (
            corrected.hours(self._scene.store, each.sensor.name, start_ms, end_ms)
            for each in (self._item, self._partner)
        )
        _, here, there = np.intersect1d(ours.start_ms, theirs.start_ms, return_indices=True)
        apart = ours.rh_mean[here] - theirs.rh_mean[there]
        apart = apart[~np.isnan(apart)]
        value = abs(float(np.median(apart))) if len(apart) >= DRIFT_HOURS else None
        yield from self._sign("drift", value, other=self._partner.sensor.name)


def stuck_hours(series: Series) -> float | None:
    """Hours for which the newest values have not changed at all.

    Temperature and humidity must both stand still; humidity alone counts at the ends of its scale
    (0 and 100 %). ``None`` if that cannot be told: humidity alone may well stand still in a jar.
    """
    if len(series) < 2:
        return None
    temp, rh = series.temp_c, series.rh_pct
    at_end = rh[-1] in {0.0, 100.0}
    if np.isnan(temp[-1]) and not at_end:
        return None
    same = (rh == rh[-1]) | (np.isnan(rh) & np.isnan(rh[-1]))
    if not at_end:
        same &= temp == temp[-1]
    others = np.flatnonzero(~same)
    first = int(others[-1]) + 1 if len(others) else 0
    if len(series) - first < min(STUCK_LEAST, len(series)):
        return 0.0
    return float(series.time_ms[-1] - series.time_ms[first]) / MS_PER_HOUR


def _jumps(day: Series, recent: np.ndarray) -> float:
    """Count steps of humidity that no change of air explains."""
    near = np.diff(day.time_ms) <= JUMP_MS
    far = np.abs(np.diff(day.rh_pct)) > JUMP_PCT
    still = ~(np.abs(np.diff(day.temp_c)) > JUMP_TEMP_C)  # true where it is not measured
    return float(np.count_nonzero(near & far & still & recent[1:]))


def _middle(readings: Sequence[Reading], pick: Callable[[Reading], float | None]) -> float | None:
    values = [value for reading in readings if (value := pick(reading)) is not None]
    return float(np.median(values)) if values else None
