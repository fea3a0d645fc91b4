"""How a box kept its seed over a season: one record to print and to set beside another year's.

Hours are those of the hour summaries: an hour counts by its mean humidity. What no sensor saw is
counted apart, never as good.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    CurveKey,
    Event,
    EventType,
    Floats,
    HourTier,
    Ints,
    LedgerRows,
    Lot,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.keeping.lots.snapshot import Snapshot
from hilum.keeping.reckoning import corrected
from hilum.keeping.reckoning.conditions import inside
from hilum.keeping.reckoning.course import courses
from hilum.keeping.reckoning.kernel import SECONDS_PER_DAY
from hilum.science.errors import UnknownNameError
from hilum.science.kinds import kind
from hilum.science.normal import ned, viability_fraction
from hilum.science.seedmodel import WET_ERH_PCT

MONDAY_MS = 4 * MS_PER_DAY  # 5 January 1970
WEEK_MS = 7 * MS_PER_DAY
LEAST_WEEK_HOURS = 84
"""A week with readings in fewer hours is neither best nor worst. Our choice: half of it."""

EXAMPLE_PCT = 90.0
"""Loss is also told as what becomes of seed that germinates so well."""

IN_WRAP = {
    Wrap.OPEN: "lying open",
    Wrap.PAPER: "in paper",
    Wrap.POLY: "in a poly bag",
    Wrap.FOIL: "in foil",
    Wrap.JAR: "in a jar",
}

LOSS_UNIT = "probits in 30 days"
MOST_EVENTS = 100_000


@dataclass(frozen=True, slots=True)
class Week:
    """One week from Monday 0:00 UTC: share of its hours in the target band [1], and means."""

    start_ms: int
    hours: int
    in_band_share: float
    erh_mean_pct: float
    temp_mean_c: float


@dataclass(frozen=True, slots=True)
class Gap:
    """A silence longer than the box's limit."""

    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class KindLoss:
    """What the season cost seed of one kind in one wrap.

    ``loss_probit`` is with loss multiplier 1; ``days`` is the time it covers. For ``wet_hours`` of
    it the seed was too wet for the equation. ``after_pct`` is what became of seed that germinated
    ``EXAMPLE_PCT`` before [%].
    """

    kind: str
    common: str
    wrap: str
    lots: int
    days: float
    loss_probit: float
    wet_hours: float
    after_pct: float
    words: str


@dataclass(frozen=True, slots=True)
class Review:
    """A season of a box.

    Attributes
    ----------
    box : Box
        The box.
    start_ms, end_ms : int
        The season, start <= time < end.
    hours, hours_read : int
        Hours of the season, and those that have readings.
    in_band, below, damp : int
        Hours in, below and above the target band.
    wet : int
        Damp hours above 85 % humidity, where the equation fails.
    erh_median_pct, temp_median_c : float or None
        Medians of the hours.
    best, worst : Week or None
        Weeks with most and fewest hours in the band.
    gaps : tuple of Gap
        Silences longer than the box's limit.
    losses : tuple of KindLoss
        By kind and wrap, the largest first.
    openings, swaps, alerts : int
        From the journal; alerts that were raised.
    notes : tuple of str
        What to say beside it.
    """

    box: Box
    start_ms: int
    end_ms: int
    hours: int
    hours_read: int
    in_band: int
    below: int
    damp: int
    wet: int
    erh_median_pct: float | None
    temp_median_c: float | None
    best: Week | None
    worst: Week | None
    gaps: tuple[Gap, ...]
    losses: tuple[KindLoss, ...]
    openings: int
    swaps: int
    alerts: int
    notes: tuple[str, ...] = ()

    @property
    def coverage(self) -> float:
        """Share of the hours that have readings [1]."""
        return self.hours_read / self.hours if self.hours else 0.0

    @property
    def in_band_share(self) -> float | None:
        """Share of the hours with readings that were in the band [1]; ``None`` without any."""
        return self.in_band / self.hours_read if self.hours_read else None


@dataclass(frozen=True, slots=True)
class Change:
    """One figure of a season beside that of another; ``None``: not known."""

    what: str
    unit: str
    now: float | None
    before: float | None


def review_box(store: Store, slug: str, start_ms: int, end_ms: int) -> Review:
    """Review a season of a box.

    Parameters
    ----------
    store : Store
        Readings, ledger and journal.
    slug : str
        The box.
    start_ms, end_ms : int
        The season, start <= time < end; hours that begin in it count.

    Returns
    -------
    Review
        Figures; zeros and ``None`` where there are no readings.

    Raises
    ------
    NotFoundError
        There is no such box.
    InvalidInputError
        The season ends before it begins.
    """
    if end_ms <= start_ms:
        raise InvalidInputError("The season must end after it begins.", "to")
    shelf = Snapshot(store)
    box = shelf.box(slug)
    tier = _hours(store, slug, start_ms, end_ms)
    erh = tier.rh_mean
    low, high = box.target_low_pct, box.target_high_pct
    weeks = _weeks(tier, low, high)
    events = _events(store, slug, start_ms, end_ms)
    losses = _losses(shelf, slug, start_ms, end_ms)
    return Review(
        box=box,
        start_ms=start_ms,
        end_ms=end_ms,
        hours=len(range(-(-start_ms // MS_PER_HOUR), -(-end_ms // MS_PER_HOUR))),
        hours_read=int(np.count_nonzero(~np.isnan(erh))),
        in_band=int(np.count_nonzero((erh >= low) & (erh <= high))),
        below=int(np.count_nonzero(erh < low)),
        damp=int(np.count_nonzero(erh > high)),
        wet=int(np.count_nonzero(erh > WET_ERH_PCT)),
        erh_median_pct=_median(erh),
        temp_median_c=_median(tier.temp_mean),
        best=max(weeks, key=_goodness, default=None),
        worst=min(weeks, key=_goodness, default=None),
        gaps=_gaps(tier.start_ms[~np.isnan(erh)], box, start_ms, end_ms),
        losses=losses,
        openings=_count(events, EventType.OPENED),
        swaps=_count(events, EventType.SWAP),
        alerts=_raised(events),
        notes=_notes(tier, losses),
    )


def beside(now: Review, before: Review) -> tuple[Change, ...]:
    """Set the figures of a season beside those of another: hours as shares, loss for 30 days."""
    rows = [
        Change("hours in the target band", "%", _share(now, "in_band"), _share(before, "in_band")),
        Change("damp hours", "%", _share(now, "damp"), _share(before, "damp")),
        Change("wet hours", "%", _share(now, "wet"), _share(before, "wet")),
        Change("hours with readings", "%", 100.0 * now.coverage, 100.0 * before.coverage),
        Change("humidity, median", "%", now.erh_median_pct, before.erh_median_pct),
        Change("temperature, median", "°C", now.temp_median_c, before.temp_median_c),
        Change("openings", "", now.openings, before.openings),
        Change("fresh desiccant", "", now.swaps, before.swaps),
        Change("alerts", "", now.alerts, before.alerts),
    ]
    earlier = {(loss.kind, loss.wrap): loss for loss in before.losses}
    for loss in now.losses:
        other = earlier.get((loss.kind, loss.wrap))
        what = f"loss of {loss.common} {IN_WRAP[Wrap(loss.wrap)]}"
        was = None if other is None else _monthly(other)
        rows.append(Change(what, LOSS_UNIT, _monthly(loss), was))
    return tuple(rows)


def _monthly(loss: KindLoss) -> float | None:
    return 30.0 * loss.loss_probit / loss.days if loss.days > 0.0 else None


def _share(review: Review, name: str) -> float | None:
    return 100.0 * getattr(review, name) / review.hours_read if review.hours_read else None


def _hours(store: Store, slug: str, start_ms: int, end_ms: int) -> HourTier:
    """Hour summaries of the sensors inside, in order; of two for one hour the later sensor's."""
    found: dict[int, tuple[float, float]] = {}
    for placement in inside(store.placements(box=slug)):
        first = max(start_ms, placement.from_ms // MS_PER_HOUR * MS_PER_HOUR)
        last = end_ms if placement.to_ms is None else min(end_ms, placement.to_ms)
        if first < last:
            tier = corrected.hours(store, placement.sensor, first, last)
            values = zip(tier.rh_mean.tolist(), tier.temp_mean.tolist(), strict=True)
            found.update(zip(tier.start_ms.tolist(), values, strict=True))
    hours = sorted(found)
    erh = np.array([found[hour][0] for hour in hours])
    temp = np.array([found[hour][1] for hour in hours])
    none = np.full(len(hours), np.nan)
    start = np.array(hours, dtype=np.int64)
    return HourTier(start, np.ones(len(hours), np.int64), none, temp, none, none, erh, none)


def _median(values: Floats) -> float | None:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if known.size else None


def _weeks(tier: HourTier, low: float, high: float) -> list[Week]:
    known = ~np.isnan(tier.rh_mean)
    week = (tier.start_ms[known] - MONDAY_MS) // WEEK_MS
    erh, temp = tier.rh_mean[known], tier.temp_mean[known]
    found = []
    for number in np.unique(week):
        here = week == number
        if np.count_nonzero(here) < LEAST_WEEK_HOURS:
            continue
        share = float(np.mean((erh[here] >= low) & (erh[here] <= high)))
        start_ms = int(number) * WEEK_MS + MONDAY_MS
        count = int(np.count_nonzero(here))
        temp_mean = float(np.nanmean(temp[here])) if not np.isnan(temp[here]).all() else np.nan
        found.append(Week(start_ms, count, share, float(erh[here].mean()), temp_mean))
    return found


def _goodness(week: Week) -> tuple[float, float]:
    """Most hours in the band first; of equals the drier."""
    return week.in_band_share, -week.erh_mean_pct


def _gaps(read_ms: Ints, box: Box, start_ms: int, end_ms: int) -> tuple[Gap, ...]:
    """Find stretches of hours without readings that are longer than the box's limit."""
    ends = np.concatenate(([start_ms], read_ms + MS_PER_HOUR))
    starts = np.concatenate((read_ms, [end_ms]))
    long = starts - ends > box.gap_limit_s * 1000
    return tuple(
        Gap(int(begin), int(end)) for begin, end in zip(ends[long], starts[long], strict=True)
    )


def _events(store: Store, slug: str, start_ms: int, end_ms: int) -> list[Event]:
    found = store.events(box=slug, start_ms=start_ms, limit=MOST_EVENTS)
    return [event for event in found if event.time_ms < end_ms and not event.struck]


def _count(events: Sequence[Event], of: EventType) -> int:
    return sum(event.type is of for event in events)


def _raised(events: Sequence[Event]) -> int:
    """Count alerts that were raised: each has a line in the journal for every step of its life."""
    steps = [dict(event.data).get("step") for event in events if event.type is EventType.ALERT]
    return sum(step in {None, "raised"} for step in steps)


def _losses(shelf: Snapshot, slug: str, start_ms: int, end_ms: int) -> tuple[KindLoss, ...]:
    """What the season cost each kind that lay in the box, by the curves all its lots share."""
    lots: dict[tuple[str, str], list[Lot]] = defaultdict(list)
    curves: dict[tuple[str, str], CurveKey] = {}
    here = [shelf.lot(code) for code in dict.fromkeys(stay.lot for stay in shelf.stays(box=slug))]
    stays = [shelf.stays(lot=lot.code) for lot in here]
    for lot, theirs in zip(here, courses(shelf.store, here, stays), strict=True):
        for course in theirs:
            stay = course.stay
            ends = end_ms if stay.to_ms is None else stay.to_ms
            if stay.box == slug and stay.from_ms < end_ms and ends > start_ms:
                lots[lot.kind, stay.wrap].append(lot)
                curves.setdefault((lot.kind, stay.wrap), course.shared)
    found = []
    for name, curve in curves.items():
        first, last = (
            shelf.store.rows_at([(curve, time_ms)])[1] for time_ms in (start_ms, end_ms - 1)
        )
        if len(first) and len(last) and int(last.last_ms[0]) > int(first.last_ms[0]):
            found.append(_kind_loss(name, len(lots[name]), first, last))
    return tuple(sorted(found, key=lambda loss: -loss.loss_probit))


def _kind_loss(name: tuple[str, str], lots: int, first: LedgerRows, last: LedgerRows) -> KindLoss:
    """Give the difference of two rows; the first may be the first row there is."""
    days = (int(last.last_ms[0]) - int(first.last_ms[0])) / MS_PER_DAY
    loss = float(last.loss_probit[0] - first.loss_probit[0])
    wet = float(last.wet_s[0] - first.wet_s[0]) / SECONDS_PER_DAY * 24.0
    after = 100.0 * float(viability_fraction(ned(EXAMPLE_PCT / 100.0) - loss))
    try:
        common = kind(name[0]).common
    except UnknownNameError:
        common = name[0]
    words = (
        f"{common} {IN_WRAP[Wrap(name[1])]}: seed that germinated {EXAMPLE_PCT:.0f} % would "
        f"germinate about {after:.0f} % after it"
    )
    if wet >= 0.5:
        words += (
            f"; for {wet:.0f} hours it was too wet for the equation, and the real loss in them is "
            "not known"
        )
    return KindLoss(name[0], common, name[1], lots, days, loss, wet, after, f"{words}.")


def _notes(tier: HourTier, losses: Sequence[KindLoss]) -> tuple[str, ...]:
    if not len(tier):
        return ("There are no readings from this time.",)
    if not losses:
        return ("No loss is worked out for this time: no lots lay here, or none can be modelled.",)
    return (
        "Loss by kind is that of seed settled in the box; single lots differ by how they came.",
    )
