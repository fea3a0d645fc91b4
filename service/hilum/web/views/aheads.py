"""Humidity of a box ahead of today, as the desiccant watch foretells it, to be drawn."""

from dataclasses import dataclass

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints
from hilum.keeping.desiccant.desiccant_watch import DesiccantOutlook
from hilum.web.views.charts import PATH_HEIGHT, PATH_WIDTH, Scale, area_path, line_path
from hilum.web.views.format import Style, span_pct
from hilum.web.views.picturecontexts import AheadDrawn

LEAST_PAST_MS = 20 * MS_PER_DAY
"""A shorter history is shown alone: days ahead say nothing of desiccant."""

SHARE_AHEAD = 0.5
"""So much of what lies behind is shown ahead. Our choice."""


@dataclass(frozen=True, slots=True)
class Future:
    """What is to come if nothing is done [% eRH]: the middle, and what nine in ten lie in.

    ``due_ms``: when fresh desiccant is due, low, middle and high; ``None`` beyond the horizon.
    """

    time_ms: Ints
    low_pct: Floats
    middle_pct: Floats
    high_pct: Floats
    limit_pct: float
    due_ms: tuple[int | None, int | None, int | None]

    def until(self, end_ms: int) -> "Future":
        """Cut off what lies beyond a time."""
        part = self.time_ms <= end_ms
        values = (self.low_pct[part], self.middle_pct[part], self.high_pct[part])
        return Future(self.time_ms[part], *values, self.limit_pct, self.due_ms)


def future(outlook: DesiccantOutlook) -> Future | None:
    """Give the course of humidity that an outlook foretells; ``None`` if it foretells none."""
    ahead = outlook.ahead
    if ahead is None:
        return None
    return Future(
        outlook.now_ms + (np.array(ahead.days) * MS_PER_DAY).astype(np.int64),
        np.array(ahead.low_pct),
        np.array(ahead.middle_pct),
        np.array(ahead.high_pct),
        outlook.limit_pct,
        (outlook.due_low_ms, outlook.due_ms, outlook.due_high_ms),
    )


def end_ms(span: tuple[int, int], found: Future | None) -> int:
    """Say how far beyond the present a history of some span is drawn."""
    past = span[1] - span[0]
    if found is None or past < LEAST_PAST_MS:
        return span[1]
    return min(span[1] + round(past * SHARE_AHEAD), int(found.time_ms[-1]))


def drawn(found: Future, span: tuple[int, int], axis: Scale) -> AheadDrawn:
    """Draw a future in the panel of humidity."""
    x = (found.time_ms - span[0]) / (span[1] - span[0]) * PATH_WIDTH
    low, middle, high = (
        (axis.high - values) / (axis.high - axis.low) * PATH_HEIGHT
        for values in (found.low_pct, found.middle_pct, found.high_pct)
    )
    return AheadDrawn(
        area=area_path(x, low, high), line=line_path(x, middle), due=_due(found, span, axis)
    )


def _due(found: Future, span: tuple[int, int], axis: Scale) -> tuple[float, float, float] | None:
    """Place of the time in which desiccant is due, on the line of the limit."""
    first, _, last = found.due_ms
    if first is None or first >= span[1]:
        return None
    left, right = (
        100 * (min(time_ms, span[1]) - span[0]) / (span[1] - span[0])
        for time_ms in (first, span[1] if last is None else last)
    )
    return round(left, 2), round(right - left, 2), axis.height(found.limit_pct)


def told(found: Future, style: Style) -> str:
    """Say what is to come, and that it rests on nothing being done."""
    low, high = float(found.low_pct[-1]), float(found.high_pct[-1])
    words = f"If nothing is done: {span_pct(low, high)} by {style.day(int(found.time_ms[-1]))}"
    first, _, end = found.due_ms
    if first is None:
        return f"{words}, and no desiccant due within a year."
    until = "later than a year from now" if end is None else style.day(end)
    return f"{words}; fresh desiccant due between {style.day(first)} and {until}."
