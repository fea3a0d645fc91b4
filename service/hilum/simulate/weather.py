"""Air around the boxes: a room through the seasons, a fridge, a freezer.

Every process draws one number a step from a stream of its own, so that a world simulated in pieces
is the same as one simulated at once. All amplitudes are chosen to look like a plausible house; none
has a source.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints
from hilum.simulate.physics import saturation_pa

STEP_S = 600
YEAR_MS = 365.25 * MS_PER_DAY
WARMEST_MS = 204 * MS_PER_DAY  # late July, counted from new year: northern half of the earth


@dataclass(frozen=True, slots=True)
class Climate:
    """Air at the end of each step."""

    time_ms: Ints
    temp_c: Floats
    rh_pct: Floats


class Surroundings(Protocol):
    """Air that goes on as long as it is asked for."""

    step_s: int

    def advance(self, count: int) -> Climate:
        """Give the next ``count`` steps."""
        ...


@dataclass(frozen=True, slots=True)
class SteadySpec:
    """Air that never changes."""

    temp_c: float = 20.0
    rh_pct: float = 60.0


@dataclass(frozen=True, slots=True)
class RoomSpec:
    """A lived-in room: mean, seasonal and daily half-swings, °C; ``weather`` scales the noise."""

    temp_mean_c: float = 16.8
    temp_season_c: float = 3.0
    temp_day_c: float = 0.9
    dew_mean_c: float = 6.8
    dew_season_c: float = 4.0
    weather: float = 1.0


@dataclass(frozen=True, slots=True)
class ColdSpec:
    """A fridge; with other figures a freezer."""

    set_c: float = 4.6
    cycle_c: float = 1.1  # half-swing of the compressor cycle
    cycle_min: float = 70.0
    doors_per_day: float = 14.0
    door_c: float = 1.6  # warming by one opening
    defrost_c: float = 1.5  # warming by the daily defrost
    rh_mean_pct: float = 58.0


FREEZER = ColdSpec(set_c=-18.0, cycle_c=1.5, doors_per_day=3.0, defrost_c=4.0, rh_mean_pct=70.0)

ClimateSpec = SteadySpec | RoomSpec | ColdSpec


def follow(target: Floats, start: float, share: float) -> Floats:
    """First-order lag: each step closes ``share`` of the distance to the target."""
    out = np.empty(len(target))
    value = start
    for i, goal in enumerate(target.tolist()):
        value += share * (goal - value)
        out[i] = value
    return out


def share_of(step_s: float, tau_s: float) -> float:
    """Share of a distance that a first-order lag closes in one step (all of it when tau is 0)."""
    return 1.0 if tau_s <= 0 else -math.expm1(-step_s / tau_s)


class Drift:
    """Noise with a memory: zero mean, given standard deviation and time constant."""

    def __init__(self, sd: float, tau_h: float, step_s: int, seed: tuple[int, ...]) -> None:
        self._rng = np.random.default_rng(seed)
        self._share = share_of(step_s, tau_h * 3600)
        self._value = sd * float(self._rng.standard_normal())
        # scaled so that the lagged noise has the standard deviation asked for
        self._kick = sd * math.sqrt((2 - self._share) / self._share)

    def advance(self, count: int) -> Floats:
        """Give the next values."""
        noise = self._kick * self._rng.standard_normal(count)
        out = follow(noise, self._value, self._share)
        if count:
            self._value = float(out[-1])
        return out


class _Timed:
    """Keeps the time of the next step."""

    def __init__(self, start_ms: int, step_s: int) -> None:
        self.step_s = step_s
        self._now_ms = start_ms

    def _times(self, count: int) -> Ints:
        steps = np.arange(1, count + 1, dtype=np.int64)
        times = self._now_ms + steps * self.step_s * 1000
        self._now_ms += count * self.step_s * 1000
        return times


class _Steady(_Timed):
    def __init__(self, spec: SteadySpec, start_ms: int, step_s: int) -> None:
        super().__init__(start_ms, step_s)
        self._spec = spec

    def advance(self, count: int) -> Climate:
        return Climate(
            self._times(count),
            np.full(count, self._spec.temp_c),
            np.full(count, self._spec.rh_pct),
        )


class _Room(_Timed):
    def __init__(self, spec: RoomSpec, start_ms: int, step_s: int, seed: int) -> None:
        super().__init__(start_ms, step_s)
        self._spec = spec
        k = spec.weather
        self._fronts = Drift(0.9 * k, 50.0, step_s, (seed, 1))  # weather, felt indoors
        self._heating = Drift(0.25 * k, 1.5, step_s, (seed, 2))  # doors, sun, stove
        self._air_mass = Drift(2.0 * k, 60.0, step_s, (seed, 3))  # dew point of the weather
        self._living = Drift(0.5 * k, 3.0, step_s, (seed, 4))  # cooking, breath, wet coats

    def advance(self, count: int) -> Climate:
        spec, time_ms = self._spec, self._times(count)
        season = np.cos(2 * np.pi * (time_ms - WARMEST_MS) / YEAR_MS)
        day = np.cos(
            2 * np.pi * (time_ms / MS_PER_DAY - 16 / 24)
        )  # warmest at four in the afternoon
        temp = spec.temp_mean_c + spec.temp_season_c * season + spec.temp_day_c * day
        temp += self._fronts.advance(count) + self._heating.advance(count)
        dew = spec.dew_mean_c + spec.dew_season_c * season
        dew += self._air_mass.advance(count) + self._living.advance(count)
        rh = 100.0 * saturation_pa(dew) / saturation_pa(temp)
        return Climate(time_ms, temp, np.clip(rh, 15.0, 96.0))


class _Cold(_Timed):
    def __init__(self, spec: ColdSpec, start_ms: int, step_s: int, seed: int) -> None:
        super().__init__(start_ms, step_s)
        self._spec = spec
        self._doors = np.random.default_rng((seed, 1))
        self._rh = Drift(7.0, 12.0, step_s, (seed, 2))
        self._slow = Drift(0.3, 80.0, step_s, (seed, 3))  # how full it stands, who set the knob
        self._warmth = 0.0  # what doors and defrost left behind

    def advance(self, count: int) -> Climate:
        spec, time_ms = self._spec, self._times(count)
        hour = (time_ms / 3_600_000) % 24
        awake = np.where((hour > 6.5) & (hour < 23.0), 24 / 16.5, 0.0)
        chance = spec.doors_per_day * awake * self.step_s / 86_400
        kicks = spec.door_c * (self._doors.random(count) < chance)
        kicks = kicks + np.where(
            (hour >= 3.0) & (hour < 3.0 + self.step_s / 3600), spec.defrost_c, 0.0
        )
        keep = 1.0 - share_of(self.step_s, 25 * 60)
        warm = np.empty(count)
        for i, kick in enumerate(kicks.tolist()):
            self._warmth = self._warmth * keep + kick
            warm[i] = self._warmth
        phase = (time_ms / 60_000) % spec.cycle_min / spec.cycle_min
        saw = spec.cycle_c * np.where(phase < 0.35, 1 - phase / 0.175, (phase - 0.35) / 0.325 - 1)
        temp = spec.set_c + saw + warm + self._slow.advance(count)
        rh = spec.rh_mean_pct + 3.0 * saw + 4.0 * warm + self._rh.advance(count)
        return Climate(time_ms, temp, np.clip(rh, 20.0, 95.0))


def surroundings(spec: ClimateSpec, start_ms: int, seed: int, step_s: int = STEP_S) -> Surroundings:
    """Begin a climate.

    Parameters
    ----------
    spec : SteadySpec, RoomSpec or ColdSpec
        What kind of air.
    start_ms : int
        Its first step ends one step later.
    seed : int
        Same seed, same weather.
    step_s : int
        Seconds a step.
    """
    if isinstance(spec, SteadySpec):
        return _Steady(spec, start_ms, step_s)
    if isinstance(spec, RoomSpec):
        return _Room(spec, start_ms, step_s, seed)
    return _Cold(spec, start_ms, step_s, seed)
