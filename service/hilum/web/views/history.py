"""The history of a box: spans to choose from, drawn panels, a table and a summary."""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from hilum.domain.model import MS_PER_DAY, Box, Floats
from hilum.keeping.overview import History, Tier
from hilum.web.views.aheads import Future, drawn, end_ms
from hilum.web.views.aheads import told as told_ahead
from hilum.web.views.charts import (
    PATH_HEIGHT,
    PATH_WIDTH,
    Columns,
    Scale,
    area_path,
    bounds,
    decimate,
    line_path,
    scale,
)
from hilum.web.views.format import NBSP, UNKNOWN, Style, number, pct, span_pct
from hilum.web.views.marks import Mark, place_marks, place_pct, signs, told, within
from hilum.web.views.picturecontexts import Chart, Panel, TableRow
from hilum.web.views.pieces import Choice
from hilum.web.views.timeaxis import time_ticks

BUCKETS = 480
"""Buckets of the drawn panels."""

MOST_ROWS = 62
TICKS = 5


@dataclass(frozen=True, slots=True)
class Range:
    """A span to choose; ``days`` is ``None`` for everything there is."""

    name: str
    days: int | None
    row_format: str  # how a time becomes the label of a table row


RANGES = (
    Range("day", 1, "%Y-%m-%d %H:00"),
    Range("week", 7, "%Y-%m-%d"),
    Range("month", 30, "%Y-%m-%d"),
    Range("year", 365, "%Y-%m"),
    Range("all", None, "%Y-%m"),
)
DEFAULT_RANGE = RANGES[1]


def range_named(name: str) -> Range:
    """Give a span by its name, the default for an unknown one."""
    return next((r for r in RANGES if r.name == name), DEFAULT_RANGE)


def span_of(chosen: Range, extent: tuple[int, int] | None, now_ms: int) -> tuple[int, int]:
    """Start and end of a span in ms; "all" begins with the first reading, at least a day ago."""
    if chosen.days is not None:
        return now_ms - chosen.days * MS_PER_DAY, now_ms
    first = extent[0] if extent else now_ms
    return min(first, now_ms - MS_PER_DAY), now_ms


@dataclass(frozen=True, slots=True)
class Shown:
    """What a history is drawn from: readings up to now, what happened, and what is to come."""

    history: History
    span: tuple[int, int]  # up to now
    happened: tuple[Mark, ...] = ()
    future: Future | None = None

    @property
    def whole(self) -> tuple[int, int]:
        """The span with what lies ahead."""
        return self.span[0], end_ms(self.span, self.future)

    @property
    def ahead(self) -> Future | None:
        """What is to come within the span; none where nothing lies ahead."""
        last_ms = self.whole[1]
        if self.future is None or last_ms == self.span[1]:
            return None
        return self.future.until(last_ms)


def chart(box: Box, shown: Shown, chosen: Range, style: Style) -> Chart:
    """Give everything the page draws and says about a history."""
    span = shown.whole
    columns = decimate(shown.history, *span, BUCKETS)
    ahead = shown.ahead
    placed = place_marks(shown.happened, span, style)
    return Chart(
        url=f"/api/boxes/{box.slug}/history",
        from_ms=span[0],
        to_ms=span[1],
        zone=style.zone.key,
        fahrenheit=style.fahrenheit,
        low=box.target_low_pct,
        high=box.target_high_pct,
        span=f"{style.moment(span[0])} to {style.moment(shown.span[1])}",
        summary=summary(box, shown, style),
        ranges=tuple(
            Choice(r.name.capitalize(), f"/boxes/{box.slug}?range={r.name}", r is chosen)
            for r in RANGES
        ),
        panels=panels(box, columns, span, style, ahead),
        times=time_ticks(*span, TICKS, style),
        now=None if ahead is None else round(place_pct(shown.span[1], span), 2),
        marks=placed,
        signs=signs(shown.happened),
        ahead="" if ahead is None else told_ahead(ahead, style),
        rows=tuple(table_rows(shown, chosen, style)),
    )


def summary(box: Box, shown: Shown, style: Style) -> str:
    """Say in words what a history shows."""
    history = shown.history
    erh = bounds(history.erh_lo, history.erh_hi)
    temp = bounds(history.temp_lo, history.temp_hi)
    if erh is None and temp is None:
        return "Nothing was heard from this box in this time."
    parts = []
    if erh:
        between = span_pct(*erh).replace("–", " and ")
        parts.append(f"Humidity between {between} eRH, {_above(history, box.target_high_pct)}")
    if temp:
        low, high = style.temp(temp[0]), style.temp(temp[1])
        parts.append(f"{'t' if parts else 'T'}emperature between {low} and {high}")
    gaps = int(np.count_nonzero(np.diff(history.time_ms) > history.step_ms))
    if gaps:
        parts.append(f"{gaps} {'gap' if gaps == 1 else 'gaps'} without readings")
    if shown.happened:
        parts.append(told(shown.happened))
    return "; ".join(parts) + "."


def _above(history: History, high_pct: float) -> str:
    """Say how much of a history lay above the band."""
    known = history.erh_mid[~np.isnan(history.erh_mid)]
    share = float(np.count_nonzero(known > high_pct) / known.size * 100) if known.size else 0.0
    parts = {Tier.RAW: "readings", Tier.HOUR: "hours", Tier.DAY: "days"}[history.tier]
    if share >= 1:
        return f"{pct(share)} of the {parts} above the band"
    if np.nanmax(history.erh_hi) > high_pct:
        return "above the band only for moments"
    return "never above the band"


def panels(
    box: Box, columns: Columns, span: tuple[int, int], style: Style, ahead: Future | None
) -> tuple[Panel, ...]:
    """Draw humidity, temperature and seed moisture, each in a panel of its own."""
    x = (columns.time_ms - span[0]) / max(1, span[1] - span[0]) * PATH_WIDTH
    band = np.array([box.target_low_pct, box.target_high_pct])
    temp_lo, temp_mid, temp_hi = (
        _shown(c, style) for c in (columns.temp_lo, columns.temp_mid, columns.temp_hi)
    )
    drawn = (
        _humidity(columns, x, band, span, ahead),
        _panel(f"Temperature, {style.temp_unit}", x, (temp_lo, temp_mid, temp_hi)),
        _panel(
            "Moisture of seed in paper, %, from oily to starchy",
            x,
            (columns.mc_oily_pct, None, columns.mc_starchy_pct),
        ),
    )
    return tuple(panel for panel in drawn if panel)


def _humidity(
    columns: Columns, x: Floats, band: Floats, span: tuple[int, int], ahead: Future | None
) -> Panel | None:
    """Draw humidity with its target, and what is to come."""
    values = (columns.erh_lo, columns.erh_mid, columns.erh_hi)
    held = band if ahead is None else np.concatenate([band, ahead.low_pct, ahead.high_pct])
    panel = _panel("Humidity, % eRH", x, values, held=held)
    if panel is None:
        return None
    axis = scale(*(bounds(columns.erh_lo, columns.erh_hi, held) or (0.0, 1.0)))
    return replace(
        panel,
        target=_target(band, axis),
        ahead=None if ahead is None else drawn(ahead, span, axis),
    )


def _shown(temp_c: Floats, style: Style) -> Floats:
    return temp_c * 9 / 5 + 32 if style.fahrenheit else temp_c


def _panel(
    title: str,
    x: Floats,
    values: tuple[Floats, Floats | None, Floats],
    held: Floats | None = None,
) -> Panel | None:
    low, middle, high = values
    if bounds(low, high) is None:
        return None
    ends = bounds(low, high, held if held is not None else low)
    axis = scale(*(ends or (0.0, 1.0)))
    lowest, highest = number(float(np.nanmin(low))), number(float(np.nanmax(high)))
    return Panel(
        title=title,
        label=f"{title}: between {lowest} and {highest}",
        ticks=tuple((axis.height(t), _tick(t)) for t in axis.ticks),
        area=area_path(x, _y(low, axis), _y(high, axis)),
        line="" if middle is None else line_path(x, _y(middle, axis)),
        target=None,
    )


def _y(values: Floats, axis: Scale) -> Floats:
    return (axis.high - values) / (axis.high - axis.low) * PATH_HEIGHT


def _target(target: Floats, axis: Scale) -> tuple[float, float]:
    top, bottom = axis.height(float(target[1])), axis.height(float(target[0]))
    return top, round(bottom - top, 2)


def _tick(value: float) -> str:
    return number(value, 0 if value == round(value) else 1)


def table_rows(shown: Shown, chosen: Range, style: Style) -> Iterator[TableRow]:
    """Give the history as a table, newest first, with at most ``MOST_ROWS`` rows."""
    history = shown.history
    times = history.time_ms.tolist()

    def label(time_ms: int) -> str:
        return f"{style.local(time_ms):{chosen.row_format}}"

    happened = [label(mark.time_ms) for mark in shown.happened]
    end = len(times)
    for _ in range(MOST_ROWS):
        if not end:
            return
        when = label(times[end - 1])
        part = slice(bisect_left(times, when, 0, end, key=label), end)  # labels rise with time
        end = part.start
        yield TableRow(
            when=when,
            happened=within(shown.happened, happened, when),
            erh=_three(history.erh_lo, history.erh_mid, history.erh_hi, part, pct),
            temp=_three(history.temp_lo, history.temp_mid, history.temp_hi, part, style.temp),
            moisture=_moisture(history, part),
        )


def _three(
    low: Floats, middle: Floats, high: Floats, part: slice, words: Callable[[float], str]
) -> str:
    known = middle[part][~np.isnan(middle[part])]
    if not known.size:
        return UNKNOWN
    lowest, highest = float(np.nanmin(low[part])), float(np.nanmax(high[part]))
    mean = words(float(known.mean()))
    return f"{mean} ({words(lowest).split(NBSP)[0]} to {words(highest).split(NBSP)[0]})"


def _moisture(history: History, part: slice) -> str:
    oily, starchy = float(history.mc_oily_pct[part][-1]), float(history.mc_starchy_pct[part][-1])
    return UNKNOWN if np.isnan(oily) or np.isnan(starchy) else span_pct(oily, starchy)
