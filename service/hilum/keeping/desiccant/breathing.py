"""How fast the air in a box follows the air around it, and whether desiccant in it can pay.

With a sensor outside there are two ways. A box with little in it is fitted as a first-order lag of
its absolute humidity behind that outside. In a box with desiccant or seed the air's own water says
little: there the gain of water is set against the force that drives it in.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Floats, Role
from hilum.domain.ports import Store
from hilum.keeping.desiccant.boxdays import BoxDays, HourSeries, hour_series
from hilum.keeping.desiccant.boxforecast import LEAST_DAYS as WATCH_DAYS
from hilum.keeping.desiccant.boxforecast import (
    BoxRecord,
    Forecast,
    conductance,
    forecast,
    usable_days,
    water_g,
)
from hilum.keeping.desiccant.boxwater import balance_g
from hilum.keeping.desiccant.desiccant_watch import Gathered, gather, record_of
from hilum.keeping.desiccant.durations import range_words, span_words
from hilum.science.desiccant import FRESH_LOAD_PCT, UNKNOWN_GEL_SPREAD_PCT, gel_load_pct
from hilum.science.lag import relax_ramp
from hilum.science.psychrometrics import (
    GAS_CONSTANT_WATER,
    ZERO_C_K,
    absolute_humidity_g_m3,
    saturation_pressure_water_pa,
)

FIT_DAYS = 42
MONTH_DAYS = 30.44
LEAST_DAYS = 7
LEAST_HOURS = 100
TAU_DAYS = np.geomspace(0.02, 400.0, 100)
SENSORS_APART = 0.03  # by how much two sensors may disagree, of the humidity; our choice
EMPTY_RATIO = 1.0
"""Contents that would take up less water than this times the air's own, for the same rise of
humidity, do not matter."""

ASSUMED_L = 10.0
"""Free air of a box whose volume is not noted. Our choice; only the order of size matters."""

DRY_RH_PCT, USED_RH_PCT = 15.0, 30.0  # gel works from dry to 30 %: 15 % stands for the way

PAYS_DAYS, HARDLY_DAYS = 60.0, 14.0
"""How long 100 g of gel must last, from dry to 30 %, to be worth its oven. Our choice."""


class BreathingState(StrEnum):
    """How much can be said."""

    NO_RECORD = "no-record"
    NO_OUTSIDE = "no-outside"  # without a sensor outside, and no trend of water either
    UNCLEAR = "unclear"  # the record does not tell
    FITTED = "fitted"


@dataclass(frozen=True, slots=True)
class Exchange:
    """Time in which the air's difference to outside falls to a third (1/e), days: with interval."""

    days: float
    low_days: float
    high_days: float


@dataclass(frozen=True, slots=True)
class BreathingOutlook:
    """How a box breathes. Intervals are 90 %; ``None`` where a figure cannot be told.

    ``gain_g_per_month`` is water that comes in now, low, middle and high. ``gel_days`` is how long
    100 g of gel would last in this box, from dry to 30 %.
    """

    state: BreathingState
    box: str
    words: str
    exchange: Exchange | None = None
    gain_g_per_month: tuple[float, float, float] | None = None
    gel_days: float | None = None
    pays: bool | None = None
    notes: tuple[str, ...] = ()


def breathing_outlook(store: Store, box_slug: str, now_ms: int) -> BreathingOutlook:
    """Say how fast a box exchanges its air with the room.

    Parameters
    ----------
    store : Store
        Readings, journal and lots.
    box_slug : str
        The box.
    now_ms : int
        The moment, ms since 1970 UTC; nothing later is looked at.

    Returns
    -------
    BreathingOutlook
        Exchange time, water that comes in, and in words whether desiccant pays.

    Raises
    ------
    NotFoundError
        There is no such box.
    """
    box = store.box(box_slug)
    found = gather(store, box, now_ms)
    if found.days is None or len(found.days) < LEAST_DAYS:
        words = f"At least {LEAST_DAYS} days of readings are needed."
        return BreathingOutlook(BreathingState.NO_RECORD, box_slug, words)
    if found.days.outside_pa is None:
        return _without_outside(found, found.days)
    start_ms = now_ms - FIT_DAYS * MS_PER_DAY
    placements = store.placements(box=box_slug)
    inside, outside = (
        hour_series(store, placements, role, start_ms, now_ms - MS_PER_HOUR + 1)
        for role in (Role.INSIDE, Role.OUTSIDE)
    )
    return _with_outside(found, found.days, inside, outside)


def fit_exchange(inside: HourSeries, outside: HourSeries) -> Exchange | None:
    """Fit the exchange time of a box with little in it.

    The inside absolute humidity is modelled as lagging behind the outside one, for 100 times
    between half an hour and a year, each with the best start and a small difference between the
    sensors; the interval holds all times whose misfit is not worse than chance makes likely.

    Parameters
    ----------
    inside, outside : HourSeries
        The same span; hours that only one of them has are left out.

    Returns
    -------
    Exchange or None
        ``None``: too few hours in common, or the air outside hardly moved.
    """
    _, i, j = np.intersect1d(inside.start_ms, outside.start_ms, return_indices=True)
    if len(i) < LEAST_HOURS:
        return None
    held, around = _absolute(inside)[i], _absolute(outside)[j]
    told = SENSORS_APART * around.mean()
    if np.ptp(around) < told and np.abs(held - around).max() < told:
        return None
    day = inside.start_ms[i] / MS_PER_DAY
    misfit = np.array([_misfit(day, held, around, tau) for tau in TAU_DAYS])
    errors, worth = misfit[:, 0], misfit[:, 1]
    best = int(np.argmin(errors))
    allowed = errors[best] * np.exp(2.71 / worth[best])  # chi-square, one parameter, 90 %
    fits = TAU_DAYS[errors <= allowed]
    if fits[0] == TAU_DAYS[0] and fits[-1] == TAU_DAYS[-1]:
        return None
    return Exchange(float(TAU_DAYS[best]), float(fits[0]), float(fits[-1]))


def _absolute(series: HourSeries) -> Floats:
    temp_c = np.clip(series.temp_c, -40.0, 60.0)
    return absolute_humidity_g_m3(temp_c, np.clip(series.rh_pct, 0.0, 100.0))


def _misfit(day: Floats, held: Floats, around: Floats, tau: float) -> tuple[float, float]:
    """Mean square of what a lag leaves unexplained, and how many hours of it are independent."""
    step = np.diff(day)
    keep = np.exp(-step / tau)
    zero = np.zeros(len(step))
    gain = relax_ramp(0.0, around[:-1], around[1:], step, zero + tau)
    course, fading = np.empty(len(day)), np.exp(-(day - day[0]) / tau)
    course[0] = value = 0.0
    for k, (share, more) in enumerate(zip(keep.tolist(), gain.tolist(), strict=True), 1):
        course[k] = value = value * share + more
    parts = np.stack([fading, 1.0 - fading], axis=1)  # start, and the sensors' difference
    doubt = (SENSORS_APART * around.mean()) ** -2
    wanted = held - course
    noise = max(float(np.var(np.diff(held))) / 2.0, 1e-6)
    normal = parts.T @ parts / noise + np.diag([0.0, doubt])
    left = wanted - parts @ np.linalg.solve(normal, parts.T @ wanted / noise)
    before, after = left[:-1], left[1:]
    r = float((before * after).sum() / max(float((left**2).sum()), 1e-12))
    independent = len(left) * (1.0 - min(max(r, 0.0), 0.99)) / (1.0 + min(max(r, 0.0), 0.99))
    return float(np.mean(left**2)), max(independent, 4.0)


def buffer_ratio(record: BoxRecord, litres: float) -> float:
    """How much more water desiccant and seed take up than the air, for a rise from 30 to 40 %."""
    temp_c = float(record.days.temp_c.mean())
    ends = np.array([30.0, 40.0])
    held = balance_g(record.charge, record.scale, record.seeds, ends, temp_c)
    in_air = absolute_humidity_g_m3(temp_c, ends) * litres / 1000.0
    return float((held[1] - held[0]) / (in_air[1] - in_air[0]))


def _with_outside(
    found: Gathered, days: BoxDays, inside: HourSeries, outside: HourSeries
) -> BreathingOutlook:
    litres = found.box.volume_l or ASSUMED_L
    record = record_of(found, days)
    kelvin = float(days.temp_c.mean()) + ZERO_C_K
    whole = litres / (GAS_CONSTANT_WATER * kelvin)  # water of its air, g for each Pa
    if buffer_ratio(record, litres) < EMPTY_RATIO:
        exchange = fit_exchange(inside, outside)
    else:
        exchange = _by_gain(record, whole)
    if exchange is None:
        words = "The record does not tell yet how fast this box breathes: wait for other weather."
        return BreathingOutlook(BreathingState.UNCLEAR, found.box.slug, words)
    return _told(found, days, exchange, whole)


def _by_gain(record: BoxRecord, whole: float) -> Exchange | None:
    """Exchange time of a box with desiccant or seed, by its gain of water; ``whole`` in g/Pa."""
    days = record.days
    usable = days.known & (days.day > max(-FIT_DAYS, float(days.day[0]) + 1.0))
    usable &= record.charge_numbers(days.day) == record.charge_numbers(days.day[-1:])[0]
    if days.outside_pa is None or days.outside_known is None:
        return None
    usable &= days.outside_known
    if usable.sum() < LEAST_DAYS:
        return None
    force = days.outside_pa - days.inside_pa
    slope = conductance(water_g(record), force, usable, block_days=1)
    if slope.slope <= 0.0:
        return None
    spread = UNKNOWN_GEL_SPREAD_PCT.value / 100.0  # the gain is as sure as the contents are known
    least = max(slope.low, slope.slope / 100.0) * (1.0 - spread)
    return Exchange(whole / slope.slope, whole / (slope.high * (1.0 + spread)), whole / least)


def _told(found: Gathered, days: BoxDays, exchange: Exchange, whole: float) -> BreathingOutlook:
    """Put exchange time, gain and what gel would do into words."""
    week = slice(-7, None)
    outside = days.inside_pa[week] if days.outside_pa is None else days.outside_pa[week]
    force = float(np.mean(outside - days.inside_pa[week]))
    full_pa = float(saturation_pressure_water_pa(float(np.mean(days.temp_c[week]))))
    drying = max(float(np.mean(outside)) - DRY_RH_PCT / 100.0 * full_pa, 0.0)
    times = (exchange.high_days, exchange.days, exchange.low_days)
    low, middle, high = (MONTH_DAYS * force * whole / time for time in times)
    gel_days = _gel_days(float(days.temp_c[-1]), drying * whole / exchange.days)
    span = range_words(max(exchange.low_days, 1.0 / 24.0), exchange.high_days)
    words = f"The air in this box follows the room within {span_words(exchange.days)} ({span})."
    notes = []
    if found.box.volume_l is None:
        notes.append(f"The box's volume is not noted; {ASSUMED_L:g} L is assumed.")
    return BreathingOutlook(
        BreathingState.FITTED, found.box.slug, f"{words} {_pay_words(gel_days)}", exchange,
        (min(low, high), middle, max(low, high)), gel_days, gel_days >= HARDLY_DAYS, tuple(notes),
    )  # fmt: skip


def _without_outside(found: Gathered, days: BoxDays) -> BreathingOutlook:
    """What the gain of a box with desiccant allows; without it, the advice to measure outside."""
    record = record_of(found, days)
    answer: Forecast | None = None
    if record.charge is not None and usable_days(record).sum() >= WATCH_DAYS:
        answer = forecast(record, found.box.target_high_pct)
    if answer is None or answer.gain_g <= 0.0:
        words = "To tell how fast this box breathes, put a second sensor beside it for ten days."
        return BreathingOutlook(BreathingState.NO_OUTSIDE, found.box.slug, words)
    gains = [MONTH_DAYS * each for each in (answer.gain_low_g, answer.gain_g, answer.gain_high_g)]
    gel_days = _gel_days(float(days.temp_c[-1]), answer.gain_g)
    words = (
        f"About {gains[1]:.1f} g of water come in each month ({gains[0]:.1f} to {gains[2]:.1f}). "
        f"{_pay_words(gel_days)}"
    )
    note = "With a sensor outside it could be told how fast the air follows the room."
    return BreathingOutlook(
        BreathingState.FITTED, found.box.slug, words, None, (gains[0], gains[1], gains[2]),
        gel_days, gel_days >= HARDLY_DAYS, (note,),
    )  # fmt: skip


def _gel_days(temp_c: float, gain_g_per_day: float) -> float:
    """Days that 100 g of fresh gel take to be no longer able to hold 30 %."""
    room = gel_load_pct("silica-gel", USED_RH_PCT, temp_c) - FRESH_LOAD_PCT.value
    return room / gain_g_per_day if gain_g_per_day > 0.0 else np.inf


def _pay_words(gel_days: float) -> str:
    lasts = f"100 g of gel would last about {span_words(gel_days)}"
    if gel_days < HARDLY_DAYS:
        return f"Desiccant cannot pay here: {lasts}."
    if gel_days < PAYS_DAYS:
        return f"Desiccant pays only with much work: {lasts}."
    return f"Desiccant pays: {lasts}."
