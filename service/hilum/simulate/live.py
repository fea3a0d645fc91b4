"""The demo goes on: the same sensors, from the same physics, at the pace of the clock.

Nothing here knows MQTT: messages are handed to a function.
"""

import threading
from collections.abc import Callable

import numpy as np

from hilum.domain.model import MS_PER_HOUR
from hilum.domain.ports import Clock
from hilum.simulate.box import BoxTruth
from hilum.simulate.scenery import ROOM
from hilum.simulate.sensor import measure, senml
from hilum.simulate.weather import Climate
from hilum.simulate.world import World

Publish = Callable[[str, bytes], None]

AHEAD_MS = 6 * MS_PER_HOUR  # simulated at a time


class LiveSensors:
    """The sensors of the demo world, still measuring.

    Parameters
    ----------
    world : World
        The world so far. Its scenery is carried on, so make one of these for each world; its
        readings are not held on to.
    publish : callable
        Takes topic and payload. Topics that end in ``/status`` (presence) should be retained,
        readings should not.
    clock : Clock
        Tells the time; must not run backwards.
    period_s : float
        Seconds from message to message of each sensor.
    seed : int
        Of the measuring noise.
    """

    def __init__(
        self, world: World, publish: Publish, clock: Clock, period_s: float = 5.0, *, seed: int = 0
    ) -> None:
        self._specs, self._scenery = world.specs, world.scenery
        self._publish = publish
        self._clock = clock
        self._period_s = period_s
        self._rng = np.random.default_rng((seed, 999))
        self._last_ms = world.story.now_ms
        self._air = _last_air(world)

    @property
    def names(self) -> list[str]:
        """The sensors, as ``<site>/<name>``."""
        return list(self._specs)

    def announce(self, *, online: bool) -> None:
        """Publish the presence of every sensor."""
        for name in self.names:
            self._publish(f"hilum/{name}/status", b"online" if online else b"offline")

    def step(self) -> int:
        """Measure now and publish one message a sensor; give the time of the messages.

        Nothing is published (and the last time given) while the clock has not moved on.
        """
        now_ms = max(self._clock.now_ms(), self._last_ms)
        if now_ms == self._last_ms:
            return now_ms
        self._last_ms = now_ms
        self._go_on(now_ms)
        at = np.array([now_ms], dtype=np.int64)
        for name, spec in self._specs.items():
            good, _ = measure(spec, self._air[name], at, self._rng)
            if len(good):
                values = good.temp_c[0], good.rh_pct[0], good.battery_pct[0]
                payload = senml(now_ms, *(float(v) for v in values))
                self._publish(f"hilum/{name}/readings", payload)
        return now_ms

    def run(self, stop: threading.Event) -> None:
        """Announce, then measure every period until told to stop."""
        self.announce(online=True)
        while not stop.wait(self._period_s):
            self.step()
        self.announce(online=False)

    def _go_on(self, now_ms: int) -> None:
        """Carry the scenery on until it covers now, and forget what is past."""
        if now_ms <= self._scenery.now_ms:
            return
        room, boxes = self._scenery.advance(now_ms + AHEAD_MS)
        news: dict[str, Climate | BoxTruth] = {ROOM: room, **boxes}
        for name, new in news.items():
            old = self._air[name]
            keep = slice(-2, None)
            self._air[name] = Climate(
                np.concatenate((old.time_ms[keep], new.time_ms)),
                np.concatenate((old.temp_c[keep], new.temp_c)),
                np.concatenate((old.rh_pct[keep], new.rh_pct)),
            )


def _last_air(world: World) -> dict[str, Climate]:
    """The last simulated air at each sensor, so that the first message joins on."""
    last = slice(-2, None)
    air: dict[str, Climate | BoxTruth] = {ROOM: world.room, **world.truth}
    return {
        name: Climate(a.time_ms[last].copy(), a.temp_c[last].copy(), a.rh_pct[last].copy())
        for name, a in air.items()
    }
