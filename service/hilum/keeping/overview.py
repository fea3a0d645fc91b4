"""What a box is like now, and how it has been: pure queries, nothing is kept.

Everything here reads the hour tier or a few raw readings, so a page of many boxes stays quick.
The loss of lots is not computed here (see ``ledger`` and ``outlook``).
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    Floats,
    HourTier,
    Ints,
    Placement,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning import corrected
from hilum.keeping.reckoning.conditions import COMPLETE_MS, box_conditions, inside
from hilum.science.isotherms import GeneralIsotherm, wet_from_dry_pct
from hilum.science.lag import relax_ramp, tau_days
from hilum.science.seedmodel import WET_ERH_PCT

FRESH_MS = MS_PER_HOUR
"""A value older than this is called late. Our choice: battery sensors report every few minutes."""

DAMP_HOURS = 6
"""A box is damp once this many hours in a row lie above its band, so that an open lid is not."""

STARCHY_OIL, OILY_OIL = 0.02, 0.40
"""Oil fractions, dry basis, between which most vegetable and flower seed lies: wheat .02, flax .40
(derived from the fits of the general isotherm to tables at 25 °C)."""

SETTLE_DAYS = 21
"""Readings from this long before are followed so that the moisture's start no longer matters: about
five time constants of small seed in paper."""

RAW_DAYS, WIDE = 8, 800
"""Longest span drawn from raw readings, and pixels beyond which nothing is drawn more finely."""


class Freshness(StrEnum):
    """How far the newest value of a box can be taken as "now"."""

    FRESH = "fresh"
    LATE = "late"  # older than FRESH_MS
    SILENT = "silent"  # older than the box's gap limit
    NO_READING = "no-reading"  # a sensor stands there, but said nothing yet
    NO_SENSOR = "no-sensor"


class Need(StrEnum):
    """Something about a box that asks for a person, the most pressing first.

    A box without a sensor asks for nobody: it may be meant so.
    """

    WET = "wet"
    DAMP = "damp"
    SILENT = "silent"
    NO_READING = "no-reading"


@dataclass(frozen=True, slots=True)
class Conditions:
    """One moment in a box. ``None``: not reported."""

    time_ms: int
    temp_c: float | None
    erh_pct: float | None


@dataclass(frozen=True, slots=True)
class Spread:
    """Where the hourly means of eRH lay, in %: 5th, 25th, 50th, 75th and 95th percentile."""

    p5: float
    p25: float
    p50: float
    p75: float
    p95: float
    hours: int  # hours that have readings


@dataclass(frozen=True, slots=True)
class SeedMoisture:
    """Moisture of typical small seed in paper, % wet basis, by the general isotherm (±1 %)."""

    oily_pct: float
    starchy_pct: float


@dataclass(frozen=True, slots=True)
class BoxOverview:
    """One box at one moment."""

    box: Box
    sensor: str | None
    newest: Conditions | None
    freshness: Freshness
    age_ms: int | None
    week: Spread | None
    moisture: SeedMoisture | None
    wet_hours: int  # of the last 24 hours
    lots: int
    need: Need | None


class Tier(StrEnum):
    """How fine a history is."""

    RAW = "raw"
    HOUR = "hour"
    DAY = "day"


@dataclass(frozen=True, slots=True)
class History:
    """Conditions in a box over time; all arrays have one length, NaN where nothing is known.

    Raw readings have equal lowest, middle and highest values. ``time_ms`` is the moment of a
    reading, or the middle of an hour or day. Moisture is that of typical small seed in paper,
    % wet basis.
    """

    tier: Tier
    step_ms: int  # silences longer than this are gaps
    time_ms: Ints
    temp_lo: Floats
    temp_mid: Floats
    temp_hi: Floats
    erh_lo: Floats
    erh_mid: Floats
    erh_hi: Floats
    mc_starchy_pct: Floats
    mc_oily_pct: Floats

    def __len__(self) -> int:
        return len(self.time_ms)


def current_sensor(placements: Sequence[Placement], now_ms: int) -> Placement | None:
    """Give the placement that is in force at a time."""
    for placement in reversed(placements):
        if placement.from_ms <= now_ms and (placement.to_ms is None or now_ms < placement.to_ms):
            return placement
    return None


def newest_conditions(store: Store, box: Box, now_ms: int) -> Conditions | None:
    """Give the newest reading of the sensor that stands in a box, if it was taken there."""
    placements = store.placements(box=box.slug)
    placement = current_sensor(inside(placements), now_ms)
    reading = corrected.newest(store, placement.sensor) if placement else None
    if placement is None or reading is None or reading.time_ms < placement.from_ms:
        return None
    if reading.temp_c is None or reading.rh_pct is None:  # perhaps the other half came just before
        end_ms = reading.time_ms + 1
        whole = box_conditions(store, placements, end_ms - COMPLETE_MS, end_ms)
        if len(whole) and whole.time_ms[-1] == reading.time_ms:
            return Conditions(reading.time_ms, float(whole.temp_c[-1]), float(whole.rh_pct[-1]))
    return Conditions(reading.time_ms, reading.temp_c, reading.rh_pct)


def freshness(
    newest: Conditions | None, box: Box, now_ms: int, *, has_sensor: bool
) -> tuple[Freshness, int | None]:
    """Say how far a newest value can be taken as now, with its age in ms."""
    if newest is None:
        return (Freshness.NO_READING if has_sensor else Freshness.NO_SENSOR), None
    age_ms = max(0, now_ms - newest.time_ms)
    if age_ms <= FRESH_MS:
        return Freshness.FRESH, age_ms
    return (Freshness.LATE if age_ms <= box.gap_limit_s * 1000 else Freshness.SILENT), age_ms


def box_overview(store: Store, box: Box, now_ms: int, *, lots: int | None = None) -> BoxOverview:
    """Gather what a page says about a box now.

    Parameters
    ----------
    store : Store
        Where readings, placements and stays are kept.
    box : Box
        The box.
    now_ms : int
        The moment, milliseconds since 1970 UTC.
    lots : int, optional
        How many lots lie in it, where that is known already.
    """
    if lots is None:
        lots = lots_inside(store, now_ms, box.slug)[box.slug]
    placement = current_sensor(inside(store.placements(box=box.slug)), now_ms)
    newest = newest_conditions(store, box, now_ms)
    state, age_ms = freshness(newest, box, now_ms, has_sensor=placement is not None)
    hours = _hours(store, box.slug, now_ms - SETTLE_DAYS * MS_PER_DAY, now_ms + MS_PER_HOUR)
    recent = hours.rh_mean[hours.start_ms > now_ms - MS_PER_DAY - MS_PER_HOUR]
    wet_hours = int(np.count_nonzero(recent > WET_ERH_PCT))
    damp = is_damp(hours, newest, box, now_ms)
    return BoxOverview(
        box=box,
        sensor=placement.sensor if placement else None,
        newest=newest,
        freshness=state,
        age_ms=age_ms,
        week=_spread(hours.rh_mean[hours.start_ms >= now_ms - 7 * MS_PER_DAY]),
        moisture=_moisture_at_end(hours),
        wet_hours=wet_hours,
        lots=lots,
        need=_need(state, damp=damp, wet=wet_hours > 0),
    )


def lots_inside(store: Store, now_ms: int, box: str | None = None) -> Counter[str]:
    """Count the lots that lie in each box, or in one."""
    return Counter(stay.box for stay in store.stays(box=box) if _is_open(stay.to_ms, now_ms))


def is_damp(hours: HourTier, newest: Conditions | None, box: Box, now_ms: int) -> bool:
    """Tell whether eRH is above the band now and in every hour of the last ``DAMP_HOURS``."""
    if newest is None or newest.erh_pct is None or newest.erh_pct <= box.target_high_pct:
        return False
    if now_ms - newest.time_ms > box.gap_limit_s * 1000:
        return False
    held = hours.rh_mean[hours.start_ms >= newest.time_ms - DAMP_HOURS * MS_PER_HOUR]
    held = held[~np.isnan(held)]
    return held.size > 0 and bool(np.all(held > box.target_high_pct))


def box_extent(store: Store, box: Box, now_ms: int) -> tuple[int, int] | None:
    """Give the first and last moment of the readings that were taken inside a box."""
    bounds = []
    for placement in inside(store.placements(box=box.slug)):
        extent = store.extent(placement.sensor)
        if extent is None:
            continue
        first = max(placement.from_ms, extent[1])
        last = min(placement.to_ms if placement.to_ms is not None else now_ms, extent[2])
        if first <= last:
            bounds.append((first, last))
    if not bounds:
        return None
    return min(first for first, _ in bounds), max(last for _, last in bounds)


def tier_for(span_ms: int, width: int = WIDE) -> Tier:
    """Choose how fine a history of this length is read: days, once they fill half the pixels."""
    if span_ms <= RAW_DAYS * MS_PER_DAY:
        return Tier.RAW
    return Tier.HOUR if 2 * span_ms <= min(width, WIDE) * MS_PER_DAY else Tier.DAY


def box_history(store: Store, box: Box, start_ms: int, end_ms: int, width: int = WIDE) -> History:
    """Give conditions in a box over a span, as fine as the span deserves.

    Parameters
    ----------
    store : Store
        Where readings and placements are kept.
    box : Box
        The box.
    start_ms, end_ms : int
        The span, start <= time < end.
    width : int
        Pixels it is drawn on.
    """
    tier = tier_for(end_ms - start_ms, width)
    settle_ms = start_ms - SETTLE_DAYS * MS_PER_DAY
    by_day = tier is Tier.DAY
    summary = _hours(store, box.slug, settle_ms, end_ms, by_day=by_day)
    starchy, oily = _moisture(summary, _length_ms(by_day=by_day))
    middle = summary.start_ms + _length_ms(by_day=by_day) // 2
    gap_ms = box.gap_limit_s * 1000
    if tier is Tier.RAW:
        series = box_conditions(store, store.placements(box=box.slug), start_ms, end_ms)
        return History(
            tier, gap_ms, series.time_ms,
            series.temp_c, series.temp_c, series.temp_c,
            series.rh_pct, series.rh_pct, series.rh_pct,
            _at(series.time_ms, middle, starchy), _at(series.time_ms, middle, oily),
        )  # fmt: skip
    part = summary.start_ms >= start_ms
    return History(
        tier, max(gap_ms, 2 * _length_ms(by_day=by_day) - 1), middle[part],
        summary.temp_min[part], summary.temp_mean[part], summary.temp_max[part],
        summary.rh_min[part], summary.rh_mean[part], summary.rh_max[part],
        starchy[part], oily[part],
    )  # fmt: skip


def _need(state: Freshness, *, damp: bool, wet: bool) -> Need | None:
    if wet:
        return Need.WET
    if damp:
        return Need.DAMP
    return {
        Freshness.SILENT: Need.SILENT,
        Freshness.NO_READING: Need.NO_READING,
    }.get(state)


def _is_open(to_ms: int | None, now_ms: int) -> bool:
    return to_ms is None or to_ms > now_ms


def _length_ms(*, by_day: bool) -> int:
    return MS_PER_DAY if by_day else MS_PER_HOUR


def _spread(erh_pct: Floats) -> Spread | None:
    known = erh_pct[~np.isnan(erh_pct)]
    if not known.size:
        return None
    p5, p25, p50, p75, p95 = (float(q) for q in np.percentile(known, (5, 25, 50, 75, 95)))
    return Spread(p5, p25, p50, p75, p95, int(known.size))


def _spans(store: Store, box: str, start_ms: int, end_ms: int) -> list[tuple[str, int, int]]:
    """Sensor and span of each inside placement, cut to what is asked for."""
    spans = []
    for placement in inside(store.placements(box=box)):
        first = max(start_ms, placement.from_ms)
        last = end_ms if placement.to_ms is None else min(end_ms, placement.to_ms)
        if first < last:
            spans.append((placement.sensor, first, last))
    return spans


def _hours(store: Store, box: str, start_ms: int, end_ms: int, *, by_day: bool = False) -> HourTier:
    """Summaries of a box by hour or day; a period cut by a move belongs to the later sensor."""
    read = corrected.days if by_day else corrected.hours
    length = _length_ms(by_day=by_day)
    parts = [
        read(store, sensor, first // length * length, last)
        for sensor, first, last in _spans(store, box, start_ms, end_ms)
    ]
    if len(parts) == 1:
        return parts[0]
    names = HourTier.__dataclass_fields__
    if not parts:
        empty = {name: np.empty(0) for name in names}
        return HourTier(**{**empty, "start_ms": np.empty(0, np.int64)})  # type: ignore[arg-type]
    joined = {name: np.concatenate([getattr(p, name) for p in parts]) for name in names}
    keep = np.append(np.diff(joined["start_ms"]) > 0, True)
    return HourTier(**{name: column[keep] for name, column in joined.items()})


def _moisture(summary: HourTier, length_ms: int) -> tuple[Floats, Floats]:
    """Moisture of starchy and oily small seed in paper, % wet basis, at the end of each period.

    Not stated below 0 °C, where the isotherm has no published support.
    """
    starchy = np.full(len(summary), np.nan)
    oily = np.full(len(summary), np.nan)
    known = ~(np.isnan(summary.rh_mean) | np.isnan(summary.temp_mean))
    if not known.any():
        return starchy, oily
    temp_c = np.clip(summary.temp_mean[known], 0.0, 50.0)
    erh_pct = np.clip(summary.rh_mean[known], 0.0, 99.0)
    days = (summary.start_ms[known] + length_ms) / MS_PER_DAY
    without_oil = _follow(days, GeneralIsotherm(0.0).mc_dry_pct(erh_pct, temp_c), temp_c)
    frozen = summary.temp_mean[known] < 0
    for out, oil in ((starchy, STARCHY_OIL), (oily, OILY_OIL)):
        # dry-basis moisture is proportional to the oil-free share in this isotherm
        out[known] = np.where(frozen, np.nan, wet_from_dry_pct(without_oil * (1 - oil)))
    return starchy, oily


def _follow(days: Floats, target: Floats, temp_c: Floats) -> Floats:
    """Moisture that follows its target as small seed in paper does, from equilibrium on.

    The exact step is linear in the moisture before it, so its two factors are computed at once.
    """
    tau, step = tau_days("paper", "small", temp_c[1:]), np.diff(days)
    nothing = np.zeros(len(step))
    keep = relax_ramp(1.0, nothing, nothing, step, tau)
    gain = relax_ramp(0.0, target[:-1], target[1:], step, tau)
    followed = [float(target[0])]
    for share, more in zip(keep.tolist(), gain.tolist(), strict=True):
        followed.append(followed[-1] * share + more)
    return np.array(followed)


def _moisture_at_end(hours: HourTier) -> SeedMoisture | None:
    starchy, oily = _moisture(hours, MS_PER_HOUR)
    if not len(hours) or np.isnan(starchy[-1]):
        return None
    return SeedMoisture(oily_pct=float(oily[-1]), starchy_pct=float(starchy[-1]))


def _at(time_ms: Ints, known_ms: Ints, values: Floats) -> Floats:
    """Values between known ones; nothing where nothing is known."""
    if not len(known_ms):
        return np.full(len(time_ms), np.nan)
    return np.interp(time_ms, known_ms, values)
