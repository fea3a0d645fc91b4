"""How a box kept its seed over a season, to look at and to print."""

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.model import MS_PER_DAY
from hilum.keeping.seasons.review import (
    LOSS_UNIT,
    MOST_EVENTS,
    Change,
    Review,
    Week,
    beside,
    review_box,
)
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.views.format import NBSP, UNKNOWN, Style, count, number, pct
from hilum.web.views.pieces import Fact, Link
from hilum.web.views.seasoncontexts import ReviewPage

SEASON = timedelta(days=182)
"""Length of the season that is shown at first: half a year."""


def review(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """A season of a box, beside the same days a year before."""

    def page(
        request: Request,
        slug: str,
        first: Annotated[str, Query(alias="from")] = "",
        last: Annotated[str, Query(alias="to")] = "",
    ) -> Response:
        def make(now_ms: int) -> ReviewPage:
            return reviewed(parts, slug, (first, last), now_ms)

        noted = tuple(parts.store.events(box=slug, limit=MOST_EVENTS))
        context = parts.kept(("review", slug, first, last), make, about=noted)
        return render(request, "review.html", context)

    return page


def reviewed(parts: WebParts, slug: str, typed: tuple[str, str], now_ms: int) -> ReviewPage:
    """Review a box over days that were typed, or over the last half year."""
    style = parts.style
    days, wrong = _days(*typed, style.local(now_ms).date())
    span = tuple(min(_ms(day, style), now_ms) for day in (days[0], days[1] + timedelta(1)))
    found = review_box(parts.store, slug, *span)
    before = review_box(parts.store, slug, *(_year_before(ms, style) for ms in span))
    return review_page(found, before, days, style, wrong)


def _days(first: str, last: str, today: date) -> tuple[tuple[date, date], str]:
    """Give the days that are asked for; where they cannot be reviewed, the last half year."""
    usual = (today - SEASON, today)
    try:
        start = date.fromisoformat(first) if first else usual[0]
        end = date.fromisoformat(last) if last else usual[1]
    except ValueError:
        return usual, "Write dates like 2026-03-01. This is the last half year."
    if not date(1980, 1, 1) <= start <= min(end, today) or end.year > today.year + 1:
        return usual, "The first day must lie before the last, and in the past."
    return (start, end), ""


def _ms(day: date, style: Style) -> int:
    return round(datetime.combine(day, time(), style.zone).timestamp() * 1000)


def _year_before(at_ms: int, style: Style) -> int:
    """Give the same moment a year before; 29 February becomes the 28th."""
    when = style.local(at_ms)
    leap_day = (when.month, when.day) == (2, 29)
    earlier = when.replace(year=when.year - 1, day=28 if leap_day else when.day)
    return round(earlier.timestamp() * 1000)


def review_page(
    found: Review, before: Review, days: tuple[date, date], style: Style, wrong: str
) -> ReviewPage:
    """Give the review of a box."""
    return ReviewPage(
        title=f"{found.box.name}, a season",
        about=Link(found.box.name, f"/boxes/{found.box.slug}"),
        span=f"{days[0]} to {days[1]}",
        first_day=days[0].isoformat(),
        last_day=days[1].isoformat(),
        wrong=wrong,
        facts=tuple(_facts(found, style)) if found.hours_read else (),
        losses=tuple(loss.words for loss in found.losses),
        changes=tuple(_change(each) for each in beside(found, before)) if before.hours_read else (),
        notes=found.notes,
    )


def _facts(found: Review, style: Style) -> list[Fact]:
    read = found.hours_read

    def share(hours: int) -> str:
        return f"{pct(100 * hours / read)} of what was read"

    facts = [
        Fact("Hours", f"{read:,} of {found.hours:,}", "hours with readings"),
        Fact("In its band", count(found.in_band, "hour"), share(found.in_band)),
        Fact("Drier than its band", count(found.below, "hour"), share(found.below)),
        Fact("Above its band", count(found.damp, "hour"), share(found.damp)),
        Fact("Too wet", count(found.wet, "hour"), share(found.wet)),
        Fact("Humidity", pct(found.erh_median_pct), "half of the time below"),
        Fact("Temperature", style.temp(found.temp_median_c), "half of the time below"),
    ]
    if found.best is not None and found.worst is not None:
        facts += [
            Fact("Best week", _week(found.best, style)),
            Fact("Worst week", _week(found.worst, style)),
        ]
    longest = max((gap.to_ms - gap.from_ms for gap in found.gaps), default=0)
    note = f"the longest {number(longest / MS_PER_DAY, 1)}{NBSP}days" if found.gaps else ""
    return [
        *facts,
        Fact("Silences", count(len(found.gaps), "time"), note),
        Fact("Opened", count(found.openings, "time"), "as far as it was noted"),
        Fact("Fresh desiccant", count(found.swaps, "time")),
        Fact("Alerts", f"{found.alerts}"),
    ]


def _week(week: Week, style: Style) -> str:
    return (
        f"from {style.day(week.start_ms)}: {pct(100 * week.in_band_share)} in band, "
        f"{pct(week.erh_mean_pct)} eRH, {style.temp(week.temp_mean_c)}"
    )


def _change(change: Change) -> Fact:
    if change.unit == LOSS_UNIT:
        return Fact(change.what.capitalize(), *times_words(change.now, change.before))
    unit = f"{NBSP}{change.unit}" if change.unit else ""
    now, before = (
        UNKNOWN if value is None else f"{value:.3g}{unit}" for value in (change.now, change.before)
    )
    return Fact(change.what.capitalize(), now, f"the year before: {before}")


def times_words(now: float | None, before: float | None) -> tuple[str, str]:
    """Say how many times faster seed aged than a year before; its unit would tell nobody much."""
    if now is None or not before:
        return UNKNOWN, "the year before is not known"
    times = now / before
    if 0.95 <= times <= 1.05:
        return "about the same", "as the year before"
    return f"{times:.0f} times" if times >= 10 else f"{times:.2g} times", "that of the year before"
