"""When a box will be as damp as its limit: how fast it takes up water now, carried on.

The water of the box (not its humidity, which moves with temperature at constant water) is set
against the force that drives water in: the vapour pressure outside less that inside, added up over
time. The robust slope of the one over the other is the conductance of the box. From it 240 futures
are drawn, each with a conductance from the slope's interval, a course of the year that the record
allows, days like those that were, and a sensor that is off by as much as it may be. The force falls
as the inside gets damper: each future takes that into account day by day.

Without a sensor outside, the air there is worked back from the box's own gain, for a range of rooms
that could be.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints
from hilum.keeping.desiccant.boxdays import BoxDays, Flags
from hilum.keeping.desiccant.boxwater import Balance, Charge, SeedShare, gel_water_g, held_g
from hilum.keeping.desiccant.yearcourse import Season, fit_season, redrawn, weekly
from hilum.science.psychrometrics import saturation_pressure_water_pa
from hilum.science.trend import Z_90, Trend, theil_sen

# How far back and how much: our choices, tried on simulated boxes; see
# service/docs/desiccant-watch.md.
WINDOW_DAYS = 42
NOW_DAYS = 8  # over which the humidity of now is taken
SETTLE_DAYS = 14  # after the first reading, or when much seed came or went
SWAP_DAYS = 5  # after fresh desiccant, whose share of the water is known
LEAST_DAYS = 14
SMOOTH_DAYS = 31  # ups and downs quicker than this are left to chance
BLOCK_DAYS = 3  # points of the slope: the median of so many days
IMPLIED_DAYS = 14  # over which the air outside is worked back from the gain
HORIZON_DAYS = 400
AHEAD_STEP_DAYS = 5
FUTURES = 240
SEED_OF_CHANCE = 20_240

# What a year and its weather do to a room; none has a source.
TEMP_SWING_C, TEMP_NOISE_C = 2.5, 0.6
AIR_SWING, AIR_NOISE = 0.35, 0.12  # of the vapour pressure, as a share
WEATHER, WEATHER_DAYS = 0.12, 2.5
LEAST_PA, MOST_LOG_PA = 50.0, 9.0  # air outside is neither bone dry nor steam
SENSOR_PCT = 0.4  # how far a sensor checked over salts is off, one standard deviation
STATED_PCT = 2.0
"""Accuracy of humidity sensors by their makers' data sheets, ± % RH, typical (read for two makes;
others say 1.5 to 3)."""

UNCHECKED_PCT = float(np.hypot(SENSOR_PCT, STATED_PCT / np.sqrt(3.0)))
"""How far a sensor may be off that nobody checked, one standard deviation: anywhere within its
data sheet (even distribution: Guide to the Expression of Uncertainty in Measurement 2008, 4.3.7,
memory)."""
PER_DEGREE = 0.065  # rise of saturation pressure by 1 °C: in a season a room keeps its humidity


@dataclass(frozen=True, slots=True)
class Room:
    """Relative humidity of the air outside where no sensor stands there: mean and deviation, %."""

    rh_pct: float = 50.0
    spread_pct: float = 6.0


LIVED_IN = Room()
COLD_PLACE = Room(58.0, 12.0)
"""Rooms assumed without a sensor outside. Our choice: heated houses of a temperate climate lie
between 40 and 60 %; fridges anywhere."""


@dataclass(frozen=True, slots=True)
class BoxRecord:
    """A box as the forecast sees it.

    ``charges`` are all that are known, in order, the last one in the box now, all put in before
    ``now_ms``. ``changed_ms`` is when seed last came or went in quantity; ``scale`` as a weighing
    of the desiccant made it; ``sensor_pct`` how far the sensor may be off [% RH, one standard
    deviation].
    """

    days: BoxDays
    now_ms: int
    charges: Sequence[Charge]
    seeds: Sequence[SeedShare]
    scale: float = 1.0
    changed_ms: int | None = None
    room: Room = LIVED_IN
    sensor_pct: float = SENSOR_PCT

    @property
    def charge(self) -> Charge | None:
        """The charge in the box now."""
        return self.charges[-1] if self.charges else None

    def day_of(self, time_ms: int) -> float:
        """Days from now, below 0."""
        return (time_ms - self.now_ms) / MS_PER_DAY

    @property
    def settled_day(self) -> float:
        """From when on its seed is known to have come to rest with the box."""
        settled = float(self.days.day[0]) + SETTLE_DAYS
        if self.changed_ms is None:
            return settled
        return max(settled, self.day_of(self.changed_ms) + SETTLE_DAYS)

    def charge_numbers(self, day: Floats) -> Ints:
        """Which charge was in the box on each day; -1 before the first and in the days after.

        A box without any counts as one charge all along.
        """
        if not self.charges:
            return np.zeros(len(day), dtype=np.int64)
        put_in = np.array([self.day_of(charge.charged_ms) for charge in self.charges])
        number = np.searchsorted(put_in, day + 0.5, side="right") - 1
        return np.where(day > put_in[number] + SWAP_DAYS, number, -1)


@dataclass(frozen=True, slots=True)
class Gain:
    """Conductance [g/(d Pa)] with interval, and the air outside that goes with it.

    The air is the logarithm of its vapour pressure [Pa]: the dew point goes through the year in a
    plain swing, and pressure with its exponential.
    """

    conductance: Trend
    air: Season
    weight: float


@dataclass(frozen=True, slots=True)
class Ahead:
    """Humidity to come if nothing is done [% eRH]: 5th, 50th and 95th of a hundred, by day."""

    days: tuple[float, ...]  # from now
    low_pct: tuple[float, ...]
    middle_pct: tuple[float, ...]
    high_pct: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Forecast:
    """Days from now to the limit: 5th, 50th and 95th of a hundred; infinite beyond the horizon.

    Gains are water entering now [g/d]. ``days_per_pct`` is by how many days a sensor that is 1 %
    off moves the date. ``ahead`` is the course of humidity, without the swings of single days.
    """

    low_days: float
    days: float
    high_days: float
    gain_g: float
    gain_low_g: float
    gain_high_g: float
    days_per_pct: float
    ahead: Ahead | None = None


def usable_days(record: BoxRecord) -> Flags:
    """Days of the current charge that may tell a trend: start-up and distant past left out."""
    days = record.days
    start = max(record.settled_day, -float(WINDOW_DAYS))
    mine = record.charge_numbers(days.day) == max(len(record.charges) - 1, 0)
    return np.asarray(days.known & mine & (days.day > start))


def forecast(record: BoxRecord, limit_pct: float) -> Forecast | None:
    """Forecast when a box reaches its limit.

    Parameters
    ----------
    record : BoxRecord
        The box, with at least ``LEAST_DAYS`` usable days.
    limit_pct : float
        Equilibrium humidity at which the desiccant is exhausted.

    Returns
    -------
    Forecast or None
        ``None``: the box gains no water.
    """
    futures = _futures(record)
    if futures is None:
        return None
    days = record.days
    balance = Balance(record.charge, record.scale, record.seeds, futures.typical_c)
    now = days.known & (days.day > -NOW_DAYS)
    if not now.any():
        now = days.day > days.day[days.known][-1] - NOW_DAYS
    level = days.rh_pct - balance.per_degree(days.rh_pct) * (days.temp_c - futures.typical_c)
    middle = float(np.median(level[now]))
    return _told(record, futures, balance, (middle, NOW_DAYS / 2.0), limit_pct)


def forecast_fresh(before: BoxRecord, charge: Charge, limit_pct: float) -> Forecast | None:
    """Forecast how long a charge will hold a box, before its own record can tell.

    The water of the box is what its seed held when the charge went in, and what the charge held by
    itself; the box lets water in as it did before.

    Parameters
    ----------
    before : BoxRecord
        The box up to the moment the charge went in, with at least ``LEAST_DAYS`` usable days.
    charge : Charge
        The charge; days count from when it went in.
    limit_pct : float
        Equilibrium humidity at which it is exhausted.

    Returns
    -------
    Forecast or None
        ``None``: the box gained no water before.
    """
    futures = _futures(before)
    if futures is None:
        return None
    days = before.days
    balance = Balance(charge, 1.0, before.seeds, futures.typical_c)
    seed_g = held_g(before.seeds, days.day, days.temp_c, days.rh_pct)[-1]
    water = np.array([seed_g + charge.grams * charge.initial_load_pct / 100.0])
    return _told(before, futures, balance, (float(balance.rh_pct(water)[0]), 0.0), limit_pct)


@dataclass(frozen=True, slots=True)
class _Futures:
    """Futures of a box, one a row: temperature, conductance and air outside, day by day."""

    temp_c: Floats
    typical_c: float
    gains: Sequence[Gain]
    conductance: Floats
    outside_pa: Floats
    rng: np.random.Generator


def _futures(record: BoxRecord) -> _Futures | None:
    """Draw the futures that a record allows; ``None`` if the box gains no water."""
    days = record.days
    rng = np.random.default_rng(SEED_OF_CHANCE)
    climate = fit_season(
        weekly(days.day), weekly(days.temp_c), swing=TEMP_SWING_C, noise=TEMP_NOISE_C
    )
    ahead = np.arange(HORIZON_DAYS, dtype=np.float64) + 0.5
    temp_c = np.clip(climate.draws(ahead, rng, FUTURES), -30.0, 50.0)
    gains = _gains(record, climate)
    if not gains:
        return None
    conductance, outside_pa = _drawn(gains, days, ahead, rng)
    typical_c = float(climate.at(days.day[-1:])[0])
    return _Futures(temp_c, typical_c, gains, conductance, outside_pa, rng)


def _told(
    record: BoxRecord,
    futures: _Futures,
    balance: Balance,
    level: tuple[float, float],
    limit_pct: float,
) -> Forecast:
    """Let every future run up to the limit; ``level`` is a humidity [%] and how old it is [d]."""
    rng = futures.rng
    start = level[0] + record.sensor_pct * rng.standard_normal(FUTURES)
    paths = _paths(balance, (start, level[1]), futures)
    ahead = _ahead(paths)
    paths += redrawn(_held(record), rng, FUTURES, HORIZON_DAYS)
    hits = _first_above(paths, limit_pct)
    low, middle, high = (float(q) for q in np.percentile(hits, (5, 50, 95), method="nearest"))
    told = _result(record, futures.gains, balance, level[0], (low, middle, high))
    return replace(told, ahead=ahead)


def _ahead(paths: Floats) -> Ahead:
    """Course of humidity over all futures, every few days."""
    days = np.arange(0, paths.shape[1], AHEAD_STEP_DAYS)
    low, middle, high = np.percentile(paths[:, days], (5, 50, 95), axis=0).tolist()
    return Ahead(tuple((days + 0.5).tolist()), tuple(low), tuple(middle), tuple(high))


def water_g(record: BoxRecord) -> Floats:
    """Water of a box on each day: what its charge and its seed hold [g]."""
    days = record.days
    water = held_g(record.seeds, days.day, days.temp_c, days.rh_pct)
    number = np.maximum(record.charge_numbers(days.day), 0)
    for i, charge in enumerate(record.charges):
        here = number == i
        water[here] += gel_water_g(charge, record.scale, days.rh_pct[here], days.temp_c[here])
    return water


def _gains(record: BoxRecord, climate: Season) -> list[Gain]:
    """Conductance and outside air that explain the record; several where no sensor is outside."""
    days, water = record.days, water_g(record)
    usable = usable_days(record)
    swing = PER_DEGREE * climate.mean[1:]
    if days.outside_pa is not None and days.outside_known is not None:
        usable &= days.outside_known
        slope = conductance(water, days.outside_pa - days.inside_pa, usable)
        if slope.high <= 0.0:
            return []
        log_pa = np.log(np.maximum(days.outside_pa, LEAST_PA))
        return [Gain(slope, _air(weekly(days.day), weekly(log_pa), AIR_NOISE, swing), 1.0)]
    full_pa = saturation_pressure_water_pa(np.clip(climate.at(days.day), -30.0, 50.0))
    room, found = record.room, []
    for rh_pct in np.linspace(
        room.rh_pct - 2 * room.spread_pct, room.rh_pct + 2 * room.spread_pct, 13
    ):
        slope = conductance(water, rh_pct / 100.0 * full_pa - days.inside_pa, usable)
        if slope.slope > 0.0:
            mean = float(rh_pct / 100.0 * full_pa.mean())
            air, doubt = _implied(record, water, slope.slope, mean, swing)
            odds = -0.5 * ((rh_pct - room.rh_pct) / room.spread_pct) ** 2 - doubt
            found.append(Gain(slope, air, odds))
    best = max((gain.weight for gain in found), default=0.0)
    return [replace(gain, weight=float(np.exp(gain.weight - best))) for gain in found]


def conductance(
    water: Floats, force_pa: Floats, usable: Flags, block_days: int = BLOCK_DAYS
) -> Trend:
    """Robust slope of water over the force added up, by blocks of days [g/(d Pa)]."""
    pushed = np.cumsum(force_pa)[usable]
    count = len(pushed) // block_days
    blocks = (part[-count * block_days :].reshape(count, -1) for part in (pushed, water[usable]))
    x, y = blocks
    return theil_sen(x.mean(axis=1), np.median(y, axis=1))


def _implied(
    record: BoxRecord, water: Floats, slope: float, mean: float, swing: Floats
) -> tuple[Season, float]:
    """Air outside, worked back from the gain of water; and how badly it fits a season."""
    days = record.days
    steps = np.arange(len(days) - 1, -1, -IMPLIED_DAYS)[::-1]
    first, last = steps[:-1], steps[1:]
    number = record.charge_numbers(days.day)
    good = days.known[first] & days.known[last] & (days.day[first] > record.settled_day)
    good &= (number[first] >= 0) & (number[first] == number[last])
    if good.sum() < 1:
        day, air = np.zeros(1), np.array([mean])
    else:
        first, last = first[good], last[good]
        added = np.concatenate([[0.0], np.cumsum(days.inside_pa)])
        inside = (added[last] - added[first]) / IMPLIED_DAYS
        air = inside + (water[last] - water[first]) / (slope * IMPLIED_DAYS)
        day = (days.day[first] + days.day[last]) / 2.0
    log_pa = np.log(np.maximum(air, LEAST_PA))
    jumps = np.abs(np.diff(log_pa)) if len(log_pa) > 1 else np.zeros(1)
    noise = max(AIR_NOISE, 1.05 * float(np.median(jumps)))  # 1.48 times the median, over root 2
    return _air(day, log_pa, noise, swing), 0.5 * len(air) * float(np.log(noise))


def _air(day: Floats, log_pa: Floats, noise: float, swing: Floats) -> Season:
    """Course of the year of the air outside, as the logarithm of its vapour pressure."""
    expected = (float(swing[0]), float(swing[1]))
    return fit_season(day, log_pa, swing=AIR_SWING, noise=noise, expected=expected)


def _drawn(
    gains: Sequence[Gain], days: BoxDays, ahead: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Conductances and courses of the air outside, one a future."""
    weights = np.array([gain.weight for gain in gains])
    chosen = rng.choice(len(gains), FUTURES, p=weights / weights.sum())
    slopes, air = np.empty(FUTURES), np.empty((FUTURES, len(ahead)))
    for i, gain in enumerate(gains):
        mine = chosen == i
        z = rng.standard_normal(mine.sum()) / Z_90
        mid, low, high = gain.conductance.slope, gain.conductance.low, gain.conductance.high
        slopes[mine] = mid + z * np.where(z > 0.0, high - mid, mid - low)
        air[mine] = gain.air.draws(ahead, rng, int(mine.sum()))
    if days.outside_pa is not None:
        log_pa = np.log(np.maximum(days.outside_pa, LEAST_PA))
        air += redrawn(log_pa - gains[0].air.at(days.day), rng, *air.shape)
    else:
        air += WEATHER * _weather(rng, *air.shape)
    return np.maximum(slopes, 1e-9), np.exp(np.clip(air, 0.0, MOST_LOG_PA))


def _weather(rng: np.random.Generator, count: int, days: int) -> Floats:
    """Noise with a memory, standard deviation 1, one course a row."""
    keep = float(np.exp(-1.0 / WEATHER_DAYS))
    kicks = np.sqrt(1.0 - keep**2) * rng.standard_normal((days, count))
    value, course = rng.standard_normal(count), np.empty((days, count))
    for day in range(days):
        value = keep * value + kicks[day]
        course[day] = value
    return course.T


def _paths(balance: Balance, start: tuple[Floats, float], futures: _Futures) -> Floats:
    """Humidity of the box day by day in each future, from a humidity so many days ago."""
    outside_pa, temp_c, slopes = futures.outside_pa, futures.temp_c, futures.conductance
    full_pa = saturation_pressure_water_pa(temp_c)
    level, age_days = start
    force = outside_pa[:, 0] - level / 100.0 * full_pa[:, 0]
    water = balance.water_g(level) + slopes * force * age_days
    paths = np.empty_like(temp_c)
    for day in range(temp_c.shape[1]):
        level = balance.rh_pct(water)
        warm = temp_c[:, day] - balance.temp_c
        paths[:, day] = level + balance.per_degree(level) * warm
        inside_pa = np.clip(paths[:, day], 0.0, 100.0) / 100.0 * full_pa[:, day]
        water = water + slopes * (outside_pa[:, day] - inside_pa)
    return paths


def _held(record: BoxRecord) -> Floats:
    """Humidity held for 24 hours against the mean of weeks around: warm spells, weather, openings.

    A box counts as past its limit when it stays above it for a whole day.
    """
    days = record.days
    half = min(SMOOTH_DAYS // 2, (len(days) - 1) // 2)
    width = 2 * half + 1
    smooth = np.convolve(days.rh_pct, np.ones(width) / width, mode="valid")
    middle = slice(half, len(days) - half)
    least = days.rh_held_pct[middle] - smooth
    day = days.day[middle]
    since = np.inf if record.charge is None else record.day_of(record.charge.charged_ms)
    apart = (day < since - 12.0) | (day > since + 15.0)
    calm = least[apart & days.known[middle]][-90:]
    return calm if len(calm) >= LEAST_DAYS // 2 else np.zeros(1)


def _first_above(paths: Floats, limit_pct: float) -> Floats:
    """Days until each path first lies above the limit; infinite if it never does."""
    above = paths > limit_pct
    return np.where(above.any(axis=1), above.argmax(axis=1).astype(np.float64), np.inf)


def _result(
    record: BoxRecord,
    gains: Sequence[Gain],
    balance: Balance,
    level_pct: float,
    quantiles: tuple[float, float, float],
) -> Forecast:
    """Put the answer together, with the gain of now and what a sensor's error does."""
    days = record.days
    best = max(gains, key=lambda gain: gain.weight)
    week = slice(-7, None)
    outside = (
        np.exp(best.air.at(days.day[week])) if days.outside_pa is None else days.outside_pa[week]
    )
    force = float(np.mean(outside - days.inside_pa[week]))
    slope = best.conductance
    gain = slope.slope * force
    low, high = sorted((slope.low * force, slope.high * force))
    step = balance.water_g(np.array([level_pct, level_pct + 1.0]))
    per_pct = float(step[1] - step[0]) / gain if gain > 0.0 else np.inf
    return Forecast(*quantiles, gain, low, high, per_pct)
