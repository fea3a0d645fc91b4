"""Two years of healthy boxes, from the box simulator, for the watch to look at."""

from dataclasses import dataclass

import numpy as np

from hilum.domain.model import Box, BoxType, Lot, Placement, Reading, Role, Sensor, Stay, Wrap
from hilum.keeping.watching.alerts import AlertEngine
from hilum.keeping.watching.telling import ChannelPlan
from hilum.keeping.watching.watch import Watch
from hilum.simulate.box import BoxEvent, BoxSpec, BoxTruth, Opening, SeedMass, Swap, simulate_box
from hilum.simulate.sensor import SensorSpec, measure
from hilum.simulate.weather import FREEZER, Climate, ClimateSpec, ColdSpec, RoomSpec
from hilum.stores.memory import MemoryStore
from keeping.watching import DAY, HOUR, MINUTE, T0, ManualClock

STEP = 10 * MINUTE
SEED = (SeedMass(200.0, 0.25, 4.0), SeedMass(150.0, 0.03, 16.0))


@dataclass(frozen=True)
class Healthy:
    """A box that is as it should be, and how it is used."""

    box: Box
    spec: BoxSpec
    room: ClimateSpec
    openings_per_week: float = 2.0
    swap_days: int = 0

    def events(self, days: int, seed: int) -> list[BoxEvent]:
        """Openings in the daytime, and fresh desiccant now and then."""
        rng = np.random.default_rng((seed, 7))
        chance = self.openings_per_week / 7
        found: list[BoxEvent] = [
            Opening(T0 + day * DAY + round(rng.uniform(8, 21) * HOUR), rng.uniform(0.5, 1.0))
            for day in range(days)
            if rng.random() < chance
        ]
        if self.swap_days:
            found += [Swap(T0 + day * DAY) for day in range(self.swap_days, days, self.swap_days)]
        return found

    def truth(self, days: int, seed: int, events: list[BoxEvent] | None = None) -> BoxTruth:
        """What really happens in it."""
        happens = self.events(days, seed) if events is None else events
        return simulate_box(self.spec, self.room, T0, T0 + days * DAY, happens, seed=seed)


GEL = BoxSpec(
    volume_l=23.0,
    air_changes_per_day=0.3,
    wall_area_m2=0.5,
    gel_g=300.0,
    gel_start=0.06,
    seeds=SEED,
)
JAR = BoxSpec(
    volume_l=1.6, air_changes_per_day=0.04, thermal_tau_h=1.5, start_rh_pct=25.0, mixing_min=60.0,
    seeds=(SeedMass(40.0, 0.2, 4.0),),
)  # fmt: skip
DRAWER = BoxSpec(volume_l=14.0, air_changes_per_day=24.0, thermal_tau_h=1.5, seeds=SEED)

HEALTHY = {
    "tub": Healthy(Box("tub", "Tub", BoxType.TUB), GEL, RoomSpec(), swap_days=150),
    "jar": Healthy(Box("jar", "Jar", BoxType.JAR), JAR, RoomSpec(), openings_per_week=0.2),
    "fridge": Healthy(
        Box("fridge", "Jar in the fridge", BoxType.FRIDGE), JAR, ColdSpec(), openings_per_week=0.2
    ),
    "freezer": Healthy(
        Box("freezer", "Freezer", BoxType.FREEZER), JAR, FREEZER, openings_per_week=0.0
    ),
    "drawer": Healthy(
        Box("drawer", "Drawer", BoxType.DRAWER), DRAWER, RoomSpec(), openings_per_week=0.0
    ),
}


class Seen:
    """A box with a sensor that reports every ten minutes, and a watch that looks.

    Parameters
    ----------
    box : Box
        The box.
    truth : BoxTruth
        What happens in it.
    seed : int
        Of the sensor's noise.
    """

    def __init__(self, box: Box, truth: BoxTruth, seed: int) -> None:
        self.store, self.clock = MemoryStore(), ManualClock()
        self._truth = truth
        name = f"home/{box.slug}"
        self.store.save_box(box)
        self.store.save_sensor(Sensor(name, 0))
        self.store.add_placement(Placement(0, name, box.slug, Role.INSIDE, 0))
        self.store.save_lot(Lot("A1", "onion", label_pct=92.0))
        self.store.add_stay(Stay(0, "A1", box.slug, Wrap.FOIL, T0, None, 5.0))
        spec = SensorSpec(name, lost_share=0.002)
        climate = Climate(truth.time_ms, truth.temp_c, truth.rh_pct)
        rng = np.random.default_rng((seed, 3))
        good, _ = measure(spec, climate, truth.time_ms, rng)
        self._readings = [
            Reading(name, *row)
            for row in zip(
                good.time_ms.tolist(), good.temp_c.tolist(), good.rh_pct.tolist(), strict=True
            )
        ]
        watch = Watch(self.store, pause_ms=3 * HOUR)
        self.engine = AlertEngine(self.store, self.clock, watch, (ChannelPlan("mail"),))

    def run(self, every: int) -> None:
        """Let all readings come, and look so often."""
        at, name = 0, self._readings[0].sensor
        end_ms = self._readings[-1].time_ms
        for now_ms in range(T0 + every, end_ms + 1, every):
            until = at
            while until < len(self._readings) and self._readings[until].time_ms <= now_ms:
                until += 1
            self.store.add(self._readings[at:until], now_ms)
            at = until
            if now_ms % (6 * HOUR) == 0:
                self.store.refresh_tiers({name: now_ms - 7 * HOUR})
            self.clock.time_ms = now_ms
            self.engine.round()

    def false(self) -> list[tuple[str, float]]:
        """What was raised although the box itself (not the sensor) was not past the limit."""
        found = []
        for alert in self.store.alerts():
            if alert.raised_ms is None:
                continue
            span = (self._truth.time_ms >= alert.since_ms) & (self._truth.time_ms < alert.raised_ms)
            rh_pct = self._truth.rh_pct[span]
            damp = alert.rule in {"damp", "mould"} and alert.limit is not None
            if not damp or not rh_pct.size or rh_pct.mean() <= (alert.limit or 0.0):
                found.append((alert.rule, round((alert.raised_ms - T0) / DAY, 2)))
        return found

    def raised(self) -> list[tuple[str, float]]:
        """Rule and day of everything that was raised."""
        return [
            (alert.rule, round((alert.raised_ms - T0) / DAY, 2))
            for alert in reversed(self.store.alerts())
            if alert.raised_ms is not None
        ]
