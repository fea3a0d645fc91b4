"""The threads that watch the boxes and tell about them, apart from those that keep readings."""

import logging
import threading
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from hilum.bootstrap.channels import mqtt_way, publisher, telling_of, ways_to_people
from hilum.config import Settings
from hilum.domain.alerts import Alert, AlertState
from hilum.domain.errors import HilumError
from hilum.domain.model import MS_PER_DAY
from hilum.domain.ports import Clock, Store
from hilum.keeping.desiccant.desiccant_watch import days_to_swap
from hilum.keeping.overview import newest_conditions
from hilum.keeping.watching.alerts import AlertEngine, see
from hilum.keeping.watching.telling import iso
from hilum.keeping.watching.tellingtimes import TellingTimes
from hilum.keeping.watching.watch import Watch
from hilum.notify.channel import ChannelError
from hilum.notify.mqtt import MqttChannel
from hilum.notify.sender import ChannelWorker, Sender, forget_old, give_up_unknown

if TYPE_CHECKING:
    from collections.abc import Mapping

log = logging.getLogger(__name__)

ROUND_S = 60.0
PAUSE_S = 10.0  # least time between two rounds, however many readings come


class Watching:
    """Runs the rules every minute and after new readings, and the sender beside them.

    Parameters
    ----------
    settings : Settings
        All settings.
    store : Store
        The open database.
    clock : Clock
        Tells the time.

    Raises
    ------
    SettingsError
        A channel's settings cannot be used.
    """

    def __init__(
        self,
        settings: Settings,
        store: Store,
        clock: Clock,
    ) -> None:
        self._store = store
        self._clock = clock
        self._link = publisher(settings)
        self._mqtt = MqttChannel(self._link.publish, settings.site) if self._link else None
        ways = ways_to_people(settings, clock)
        if self._mqtt is not None:
            ways.insert(0, mqtt_way(self._mqtt))
        self.plans = tuple(way.plan for way in ways)
        zone = ZoneInfo(settings.time_zone)
        self._times = times = TellingTimes(store, telling_of(settings), zone)
        watch = Watch(store, zone, days_to_swap)
        self._engine = AlertEngine(store, clock, watch, self.plans, times)
        workers = [
            ChannelWorker(store, way.channel, clock, None if way.plan.machine else times.due_ms)
            for way in ways
        ]
        self._sender = Sender(store, workers)
        self._said: dict[str, object] = {}
        self._swept_ms: int | None = None
        self._after_s = 0.0
        self._wake = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hilum-watch", daemon=True)

    def start(self, after_s: float = 0.0) -> None:
        """Start telling at once, and watching so many seconds later."""
        self._after_s = after_s
        give_up_unknown(self._store, [plan.name for plan in self.plans])
        self._sender.start()
        self._thread.start()

    def wake(self) -> None:
        """Say that there are new readings. May be called from any thread."""
        self._wake.set()

    def stop(self) -> None:
        """Finish the present round and stop; what is not told yet is told after the next start."""
        self._stop.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(timeout=30)
        self._sender.stop()
        if self._link is not None:
            self._link.close()

    def see(self, alert_id: str) -> Alert:
        """Take note of an alert, for the pages; see :func:`hilum.keeping.watching.alerts.see`."""
        seen = see(self._store, alert_id, self._clock.now_ms(), self.plans)
        self._sender.wake()
        return seen

    def round(self) -> None:
        """Look at everything once, make the digest if its time has come, publish the boxes."""
        done = self._engine.round()
        for box, reason in done.problems.items():
            log.warning("Box %s could not be watched: %s", box, reason)
        if self._digest() or done.steps:
            self._sender.wake()
        self._publish_boxes()
        self._sweep()

    def _digest(self) -> int:
        notices = self._times.digests(self.plans, self._clock.now_ms())
        return self._store.add_notices(notices) if notices else 0

    def _sweep(self) -> None:
        """Once a day, forget notices of long ago."""
        now_ms = self._clock.now_ms()
        if self._swept_ms is None or now_ms - self._swept_ms >= MS_PER_DAY:
            forget_old(self._store, now_ms)
            self._swept_ms = now_ms

    def _publish_boxes(self) -> None:
        """Publish what changed; a broker that is away gets it when it is back."""
        if self._mqtt is None:
            return
        told: dict[str | None, list[str]] = {}
        for alert in self._store.alerts(open_only=True):
            if alert.state is not AlertState.WAITING:
                told.setdefault(alert.box, []).append(alert.id)
        for box in self._store.boxes():
            state = self._state(box.slug, sorted(told.get(box.slug, [])))
            if self._said.get(box.slug) == state or box.archived:
                continue
            try:
                self._mqtt.box_state(box.slug, state)
            except ChannelError as error:
                log.debug("Boxes are not published: %s", error)
                return
            self._said[box.slug] = state

    def _state(self, slug: str, alerts: list[str]) -> "Mapping[str, object]":
        box = self._store.box(slug)
        newest = newest_conditions(self._store, box, self._clock.now_ms())
        return {
            "box": slug,
            "name": box.name,
            "reading_time": iso(newest.time_ms) if newest else None,
            "temperature_c": newest.temp_c if newest else None,
            "erh_percent": newest.erh_pct if newest else None,
            "target_low_percent": box.target_low_pct,
            "target_high_percent": box.target_high_pct,
            "alerts": alerts,
        }

    def _run(self) -> None:
        self._stop.wait(self._after_s)
        while not self._stop.is_set():
            try:
                self.round()
            except HilumError as error:
                log.warning("The boxes could not be watched, will try again: %s", error)
            except Exception:
                log.exception("The boxes could not be watched, will try again")
            self._stop.wait(PAUSE_S)
            self._wake.wait(ROUND_S - PAUSE_S)
            self._wake.clear()
