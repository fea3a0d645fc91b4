"""A small world for tests of the watch: a clock to set, a box, and what is told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from hilum.domain.alerts import Alert, AlertState
from hilum.domain.model import Box, BoxType, Placement, Reading, Role, Sensor
from hilum.keeping.watching.alerts import AlertEngine
from hilum.keeping.watching.boxsigns import Desiccant
from hilum.keeping.watching.judging import Sign
from hilum.keeping.watching.quiet import QuietHours
from hilum.keeping.watching.scene import About
from hilum.keeping.watching.telling import ChannelPlan
from hilum.keeping.watching.watch import View, Watch
from hilum.stores.memory import MemoryStore

T0 = 1_735_689_600_000  # 2025-01-01, a Wednesday
MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
MAIL = ChannelPlan("mail")
SENSOR = "home/tub"


@dataclass
class ManualClock:
    """Tells the time it was set to."""

    time_ms: int = T0

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return self.time_ms


@dataclass
class StubWatch:
    """Sees what it is given."""

    signs: Sequence[Sign] = ()
    problems: Mapping[str, str] = field(default_factory=dict)

    def look(self, now_ms: int, open_alerts: Mapping[About, Alert]) -> View:
        """Give what was put here."""
        del now_ms, open_alerts
        return View(self.signs, self.problems)


class Small:
    """One box with a sensor that reports every ten minutes.

    Parameters
    ----------
    box_type : BoxType
        What kind of box.
    quiet : QuietHours, optional
        When people sleep.
    desiccant : callable, optional
        Tells when the desiccant is due.
    pause_ms : int
        See ``Watch``.
    """

    def __init__(
        self,
        box_type: BoxType = BoxType.TUB,
        *,
        quiet: QuietHours | None = None,
        desiccant: Desiccant | None = None,
        pause_ms: int = 2 * HOUR,
    ) -> None:
        self.store = MemoryStore()
        self.clock = ManualClock()
        self.box = Box("tub", "Blue tub", box_type)
        self.store.save_box(self.box)
        self.watch = Watch(self.store, desiccant=desiccant, pause_ms=pause_ms)
        self.engine = AlertEngine(self.store, self.clock, self.watch, (MAIL,), quiet)

    def place(self, sensor: str = SENSOR, role: Role = Role.INSIDE, from_ms: int = 0) -> None:
        """Let a sensor stand in the box."""
        self.store.save_sensor(Sensor(sensor, 0))
        self.store.add_placement(Placement(0, sensor, "tub", role, from_ms))

    def report(
        self,
        temp_c: float | None = 18.0,
        rh_pct: float | None = 25.0,
        *,
        battery_pct: float | None = None,
        battery_v: float | None = None,
        sensor: str = SENSOR,
    ) -> None:
        """Let a sensor speak now."""
        now_ms = self.clock.time_ms
        self.store.add([Reading(sensor, now_ms, temp_c, rh_pct, battery_pct, battery_v)], now_ms)

    def report_at(self, time_ms: int, temp_c: float, rh_pct: float) -> None:
        """Let the sensor speak at a time."""
        self.store.add([Reading(SENSOR, time_ms, temp_c, rh_pct)], time_ms)

    def run(
        self,
        minutes: float,
        temp_c: float | None = 18.0,
        rh_pct: float | None = 25.0,
        *,
        every: int = 10,
        sensor: str = SENSOR,
    ) -> None:
        """Go on for a while with steady values, a round after each reading."""
        end_ms = self.clock.time_ms + round(minutes * MINUTE)
        while self.clock.time_ms < end_ms:
            self.clock.time_ms += every * MINUTE
            wobble = 0.01 * (self.clock.time_ms // (every * MINUTE) % 2)  # it is not stuck
            self.report(None if temp_c is None else temp_c + wobble, rh_pct, sensor=sensor)
            self.engine.round()

    def refresh(self) -> None:
        """Bring the hourly summaries up to date, as the ledger keeper does."""
        for sensor in self.store.sensors():
            self.store.refresh_tiers({sensor.name: 0})

    def told(self) -> list[tuple[str, str]]:
        """Rule and step of everything told, in order."""
        return [
            ((notice.alert or "").rsplit("-", 1)[0], notice.step)
            for notice in reversed(self.store.notices(limit=10_000))
        ]

    def open(self, rule: str) -> Alert | None:
        """Give the open alert of a rule."""
        found = [alert for alert in self.store.alerts(open_only=True) if alert.rule == rule]
        return found[0] if found else None

    def state(self, rule: str) -> AlertState | None:
        """Give the state of the open alert of a rule."""
        alert = self.open(rule)
        return None if alert is None else alert.state
