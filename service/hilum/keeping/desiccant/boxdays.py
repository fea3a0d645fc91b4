"""What a box and the room around it were like, day by day up to now.

Days are counted back from now, so that the last one is whole. A day counts when at least half of
its hours have readings; where it does not, its values are drawn in between and marked unknown.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Floats, HourTier, Ints, Placement, Role
from hilum.domain.ports import Store
from hilum.keeping.reckoning import corrected
from hilum.science.psychrometrics import vapour_pressure_pa

LEAST_HOURS = 12
HISTORY_DAYS = 400

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class HourSeries:
    """Hourly means of temperature and humidity, in order; hours without both are left out."""

    start_ms: Ints
    temp_c: Floats
    rh_pct: Floats

    def __len__(self) -> int:
        return len(self.start_ms)


@dataclass(frozen=True, slots=True)
class BoxDays:
    """Daily values; ``day`` is the middle of each day in days from now, so below 0.

    ``rh_held_pct`` is the highest humidity that was held for 24 hours ending in that day.
    ``outside_pa`` is ``None`` without a sensor outside.
    """

    day: Floats
    temp_c: Floats
    rh_pct: Floats
    rh_held_pct: Floats
    inside_pa: Floats
    known: Flags
    outside_pa: Floats | None = None
    outside_known: Flags | None = None

    def __len__(self) -> int:
        return len(self.day)


def hour_series(
    store: Store, placements: Sequence[Placement], role: Role, start_ms: int, end_ms: int
) -> HourSeries:
    """Join the hours of a box's sensors of one role, each over its own period.

    Parameters
    ----------
    store : Store
        Where the readings are.
    placements : sequence of Placement
        All placements of the box.
    role : Role
        Inside or outside.
    start_ms, end_ms : int
        Hours that start in start <= hour < end.
    """
    parts = []
    for placement in placements:
        first = max(start_ms, placement.from_ms)
        last = end_ms if placement.to_ms is None else min(end_ms, placement.to_ms)
        if placement.role is role and first < last:
            first = -(-first // MS_PER_HOUR) * MS_PER_HOUR  # a first part of an hour is left out
            parts.append(_whole(corrected.hours(store, placement.sensor, first, last)))
    if not parts:
        return HourSeries(np.empty(0, np.int64), np.empty(0), np.empty(0))
    time = np.concatenate([part.start_ms for part in parts])
    _, order = np.unique(time, return_index=True)  # rooms may have two sensors: the first counts
    return HourSeries(
        time[order],
        np.concatenate([part.temp_c for part in parts])[order],
        np.concatenate([part.rh_pct for part in parts])[order],
    )


def _whole(tier: HourTier) -> HourSeries:
    known = ~(np.isnan(tier.temp_mean) | np.isnan(tier.rh_mean))
    return HourSeries(tier.start_ms[known], tier.temp_mean[known], tier.rh_mean[known])


def box_days(inside: HourSeries, outside: HourSeries, now_ms: int) -> BoxDays | None:
    """Gather hours into days back from now; ``None`` if no day is known."""
    count = _day_of(inside.start_ms, now_ms)
    if not len(count):
        return None
    days = min(int(count.max()) + 1, HISTORY_DAYS)
    pressure = _pressure(inside)
    temp_c, known = _daily(count, inside.temp_c, days)
    if not known.any():
        return None
    day = np.arange(-days, 0, dtype=np.float64) + 0.5
    out_pa = out_known = None
    if len(outside):
        out_pa, out_known = _daily(_day_of(outside.start_ms, now_ms), _pressure(outside), days)
        out_pa = _filled(day, out_pa, out_known) if out_known.any() else None
    first = int(np.argmax(known))  # days before the first known one say nothing

    def kept(values: Floats) -> Floats:
        return _filled(day, values, known)[first:]

    return BoxDays(
        day=day[first:],
        temp_c=kept(temp_c),
        rh_pct=kept(_daily(count, inside.rh_pct, days)[0]),
        rh_held_pct=kept(_held(inside, days, now_ms)),
        inside_pa=kept(_daily(count, pressure, days)[0]),
        known=known[first:],
        outside_pa=None if out_pa is None else out_pa[first:],
        outside_known=None if out_pa is None or out_known is None else out_known[first:],
    )


def _pressure(series: HourSeries) -> Floats:
    return vapour_pressure_pa(np.clip(series.temp_c, -40, 60), np.clip(series.rh_pct, 0, 100))


def _day_of(start_ms: Ints, now_ms: int) -> Ints:
    """Days before now in which each hour lies, 0 the last; hours not over yet count as over."""
    middle = start_ms + MS_PER_HOUR // 2
    return np.asarray(np.maximum((now_ms - middle) // MS_PER_DAY, 0), dtype=np.int64)


def _daily(count: Ints, values: Floats, days: int) -> tuple[Floats, Flags]:
    """Mean of each day, the oldest first, and whether enough hours stand behind it."""
    inside = count < days
    number = np.bincount(count[inside], minlength=days)[::-1]
    total = np.bincount(count[inside], values[inside], minlength=days)[::-1]
    return total / np.maximum(number, 1), number >= LEAST_HOURS


def _held(inside: HourSeries, days: int, now_ms: int) -> Floats:
    """Highest of the lowest hourly means of all 24 hours that end in each day."""
    ago = (now_ms - inside.start_ms - MS_PER_HOUR // 2) / MS_PER_HOUR
    hours = np.arange(-(days + 1) * 24, 0, dtype=np.float64) + 0.5
    series = np.interp(hours, -ago, inside.rh_pct)
    lowest = np.lib.stride_tricks.sliding_window_view(series, 24).min(axis=1)[1:]
    return np.asarray(lowest.reshape(days, 24).max(axis=1))


def _filled(day: Floats, values: Floats, known: Flags) -> Floats:
    return np.interp(day, day[known], values[known])
