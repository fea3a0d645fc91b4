"""Places on an axis of time where a round date or hour lies, with its words."""

from datetime import datetime, timedelta

from hilum.domain.model import MS_PER_HOUR
from hilum.web.views.format import Style

HOURS = (1, 2, 3, 6, 12)
DAYS = (1, 2, 4, 7, 14)
MONTHS = (1, 2, 3, 6)
YEARS = (1, 2, 5, 10, 20, 50)
DAY_H, MONTH_H, YEAR_H = 24.0, 30.44 * 24, 8766.0

EDGE_PCT = 5.0
"""A label nearer to an end than this would be cut off; there is none."""


def time_ticks(
    first_ms: int, last_ms: int, most: int, style: Style
) -> tuple[tuple[float, str], ...]:
    """Give round moments within a span: their place from the left in %, and their words.

    Parameters
    ----------
    first_ms, last_ms : int
        The span, first < last.
    most : int
        How many there may be.
    style : Style
        Zone of the dates.
    """
    hours = (last_ms - first_ms) / MS_PER_HOUR
    steps = (
        *((step, step, "%H:%M") for step in HOURS),
        *((DAY_H * step, step, "%m-%d") for step in DAYS),
        *((MONTH_H * step, step, "%Y-%m") for step in MONTHS),
        *((YEAR_H * step, step, "%Y") for step in YEARS),
    )
    length_h, step, written = next((s for s in steps if hours / s[0] <= most), steps[-1])
    found = []
    moment = _first(style.local(first_ms), length_h, step)
    while (time_ms := round(moment.timestamp() * 1000)) <= last_ms:
        place = round((time_ms - first_ms) / (last_ms - first_ms) * 100, 2)
        if EDGE_PCT <= place <= 100 - EDGE_PCT:
            found.append((place, f"{moment:{written}}"))
        moment = _next(moment, length_h, step)
    return tuple(found)


def _first(moment: datetime, length_h: float, step: int) -> datetime:
    """Round a moment down to a step; days go on from there."""
    day = moment.replace(hour=0, minute=0, second=0, microsecond=0)
    if length_h < DAY_H:
        return day + timedelta(hours=moment.hour // step * step)
    if length_h < MONTH_H:
        return day
    if length_h < YEAR_H:
        return day.replace(month=(day.month - 1) // step * step + 1, day=1)
    return day.replace(year=day.year // step * step, month=1, day=1)


def _next(moment: datetime, length_h: float, step: int) -> datetime:
    if length_h < DAY_H:
        return moment + timedelta(hours=step)
    if length_h < MONTH_H:
        return moment + timedelta(days=step)
    if length_h < YEAR_H:
        months = moment.month - 1 + step
        return moment.replace(year=moment.year + months // 12, month=months % 12 + 1)
    return moment.replace(year=moment.year + step)
