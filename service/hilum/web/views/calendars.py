"""The last twelve months of a box as a calendar: each day's mean humidity, beside its band."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from hilum.domain.model import MS_PER_DAY, Box, Ints
from hilum.domain.ports import Store
from hilum.keeping.overview import box_history
from hilum.science.seedmodel import WET_ERH_PCT
from hilum.web.views.format import UNKNOWN, Style, count, pct, span_pct
from hilum.web.views.picturecontexts import Calendar, CalendarDay, CalendarKey, CalendarMonth

DAYS = 365
FAR_ABOVE_PCT = 10.0
"""A day this far above the band is told apart from one just above it. Our choice."""

KINDS = {
    "dry": "drier than the band",
    "in": "in the band",
    "above": "above the band",
    "far": f"more than {FAR_ABOVE_PCT:.0f} % above",
    "wet": "too wet",
    "none": "no readings",
}
"""Every kind of day has its own pattern, so that colour is never needed to read it."""


@dataclass(frozen=True, slots=True)
class Day:
    """One day's hourly humidity: lowest, mean and highest [% eRH]."""

    on: date
    low: float
    mean: float
    high: float


def calendar(store: Store, box: Box, now_ms: int, style: Style) -> Calendar | None:
    """Draw the last twelve months; ``None`` where nothing was measured in them."""
    last = style.local(now_ms).date()
    first = last - timedelta(days=DAYS - 1)
    days = [day for day in _days(store, box, now_ms, style) if first <= day.on <= last]
    if not days:
        return None
    known = {day.on: day for day in days}
    months = [_month(start, first, last, known, box) for start in _months(first, last)]
    used = {day.kind for month in months for day in month.days}
    return Calendar(
        summary=_summary(days, last, first, box),
        months=tuple(months),
        keys=tuple(CalendarKey(kind, words) for kind, words in KINDS.items() if kind in used),
    )


def _days(store: Store, box: Box, now_ms: int, style: Style) -> Iterator[Day]:
    """Days with readings, by the hours of the local day."""
    history = box_history(store, box, now_ms - DAYS * MS_PER_DAY, now_ms)
    heard = np.flatnonzero(~np.isnan(history.erh_mid))
    if not len(heard):
        return
    numbers = _local_days(history.time_ms[heard], style)
    starts = np.flatnonzero(np.append(True, np.diff(numbers) > 0))
    for start, end in zip(starts, np.append(starts[1:], len(numbers)), strict=True):
        part = heard[start:end]
        yield Day(
            date.fromordinal(int(numbers[start])),
            float(history.erh_lo[part].min()),
            float(history.erh_mid[part].mean()),
            float(history.erh_hi[part].max()),
        )


def _local_days(time_ms: Ints, style: Style) -> Ints:
    """Days since year 1 in the zone of the settings, whose offset is asked for once a day."""
    days = time_ms // MS_PER_DAY
    asked = {
        day: style.local(day * MS_PER_DAY + MS_PER_DAY // 2).utcoffset() or timedelta()
        for day in np.unique(days).tolist()
    }
    offset_ms = np.array([asked[day] // timedelta(milliseconds=1) for day in days.tolist()])
    found: Ints = (time_ms + offset_ms) // MS_PER_DAY + date(1970, 1, 1).toordinal()
    return found


def _months(first: date, last: date) -> Iterator[date]:
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = (month + timedelta(days=32)).replace(day=1)


def _month(start: date, first: date, last: date, known: dict[date, Day], box: Box) -> CalendarMonth:
    ends = (start + timedelta(days=32)).replace(day=1)
    on = [start + timedelta(days=k) for k in range((ends - start).days)]
    on = [day for day in on if first <= day <= last]
    heard = [known[day] for day in on if day in known]
    kinds = [_kind(day, box) for day in heard]
    return CalendarMonth(
        name=f"{start:%Y-%m}",
        days=tuple(_cell(day, known.get(day), box) for day in on),
        mean=pct(float(np.mean([day.mean for day in heard]))) if heard else UNKNOWN,
        spread=span_pct(min(d.mean for d in heard), max(d.mean for d in heard))
        if heard
        else UNKNOWN,
        above=str(sum(kind in {"above", "far", "wet"} for kind in kinds)) if heard else UNKNOWN,
        missing=str(len(on) - len(heard)),
    )


def _cell(on: date, day: Day | None, box: Box) -> CalendarDay:
    kind = "none" if day is None else _kind(day, box)
    figures = "" if day is None else f"{pct(day.mean)} ({span_pct(day.low, day.high)}), "
    return CalendarDay(
        left=round((on.day - 1) / 31 * 100, 2), kind=kind, words=f"{on}: {figures}{KINDS[kind]}"
    )


def _kind(day: Day, box: Box) -> str:
    if day.mean > WET_ERH_PCT:
        return "wet"
    if day.mean > box.target_high_pct + FAR_ABOVE_PCT:
        return "far"
    if day.mean > box.target_high_pct:
        return "above"
    return "dry" if day.mean < box.target_low_pct else "in"


def _summary(days: list[Day], last: date, first: date, box: Box) -> str:
    above = sum(day.mean > box.target_high_pct for day in days)
    missing = (last - first).days + 1 - len(days)
    worst = max(days, key=lambda day: day.mean)
    parts = [
        f"{above} of {len(days)} days above the band" if above else "No day above the band",
        f"the dampest was {worst.on} with {pct(worst.mean)}",
    ]
    if missing:
        parts.append(f"{count(missing, 'day')} without readings")
    return "; ".join(parts) + "."
