"""What the pictures of boxes and lots show. Places are in % of the drawn area."""

from dataclasses import dataclass
from typing import Annotated

from hilum.web.views.pieces import Choice, Fact


@dataclass(frozen=True, slots=True)
class ChartMark:
    """Something that happened, above a history."""

    sign: Annotated[str, "opened, swap, weighed or alert: sets the shape."]
    left: Annotated[float, "Where it began."]
    width: Annotated[float, "How long it lasted; 0 for a moment."]
    words: Annotated[str, "What happened, and when."]


@dataclass(frozen=True, slots=True)
class MarkKey:
    """What a sign stands for."""

    sign: Annotated[str, "The sign."]
    words: Annotated[str, "What it says."]


@dataclass(frozen=True, slots=True)
class AheadDrawn:
    """Humidity to come if nothing is done."""

    area: Annotated[str, "Path of the band nine futures in ten lie in."]
    line: Annotated[str, "Path of the middle."]
    due: Annotated[tuple[float, float, float] | None, "Desiccant due: left, width, and height."]


@dataclass(frozen=True, slots=True)
class Panel:
    """One drawn panel of a history."""

    title: Annotated[str, "Quantity and unit."]
    label: Annotated[str, "The panel in words."]
    ticks: Annotated[tuple[tuple[float, str], ...], "Height in % from the top, and label."]
    area: Annotated[str, "Path of the envelope."]
    line: Annotated[str, "Path of the middle line; empty if there is none."]
    target: Annotated[tuple[float, float] | None, "Top and height of the target, in %."]
    ahead: Annotated[AheadDrawn | None, "What is to come; none if that is not known."] = None


@dataclass(frozen=True, slots=True)
class TableRow:
    """One line of the table under a chart."""

    when: Annotated[str, "Hour, day or month."]
    happened: Annotated[str, "What was done or told then; may be empty."]
    erh: Annotated[str, "Lowest, mean and highest humidity."]
    temp: Annotated[str, "Lowest, mean and highest temperature."]
    moisture: Annotated[str, "Moisture of typical seed at its end."]


@dataclass(frozen=True, slots=True)
class Chart:
    """The history of a box."""

    url: Annotated[str, "Address of the points."]
    from_ms: Annotated[int, "Start of the span."]
    to_ms: Annotated[int, "End of the span."]
    zone: Annotated[str, "Time zone of the axis."]
    fahrenheit: Annotated[bool, "Whether temperature is drawn in °F."]
    low: Annotated[float, "Lower end of the target, % eRH."]
    high: Annotated[float, "Upper end of the target, % eRH."]
    span: Annotated[str, "The span in words."]
    summary: Annotated[str, "What the chart shows, in words."]
    ranges: Annotated[tuple[Choice, ...], "Spans to choose from."]
    panels: Annotated[tuple[Panel, ...], "Panels, drawn on the server; none if nothing is known."]
    times: Annotated[tuple[tuple[float, str], ...], "Place in % from the left, and label."]
    now: Annotated[float | None, "Place of the present, in %; none where nothing is ahead of it."]
    marks: Annotated[tuple[ChartMark, ...], "What happened, in order of time."]
    signs: Annotated[tuple[MarkKey, ...], "Signs of what happened, as far as they occur."]
    ahead: Annotated[str, "What is to come, in a sentence; empty if none is drawn."]
    rows: Annotated[tuple[TableRow, ...], "The same as a table."]


@dataclass(frozen=True, slots=True)
class CalendarDay:
    """One day."""

    left: Annotated[float, "Place within its month."]
    kind: Annotated[str, "dry, in, above, far, wet or none: sets the pattern."]
    words: Annotated[str, "Date, figures and kind."]


@dataclass(frozen=True, slots=True)
class CalendarMonth:
    """One month."""

    name: Annotated[str, "Year and month."]
    days: Annotated[tuple[CalendarDay, ...], "Its days, as far as they are shown."]
    mean: Annotated[str, "Mean humidity."]
    spread: Annotated[str, "From its driest to its dampest day."]
    above: Annotated[str, "Days above the band."]
    missing: Annotated[str, "Days without readings."]


@dataclass(frozen=True, slots=True)
class CalendarKey:
    """What a pattern stands for."""

    kind: Annotated[str, "The pattern."]
    words: Annotated[str, "What it says."]


@dataclass(frozen=True, slots=True)
class Calendar:
    """Humidity of a box day by day, month under month."""

    summary: Annotated[str, "What it shows, in words."]
    months: Annotated[tuple[CalendarMonth, ...], "The months, oldest first."]
    keys: Annotated[tuple[CalendarKey, ...], "Patterns that occur."]


@dataclass(frozen=True, slots=True)
class LifeTest:
    """One germination test."""

    left: Annotated[float, "Its date."]
    top: Annotated[float, "Share that came up, from the top."]
    low: Annotated[float, "Lower end of what its count allows, from the top."]
    high: Annotated[float, "Upper end of what its count allows, from the top."]
    words: Annotated[str, "Date, result and interval."]


@dataclass(frozen=True, slots=True)
class LifeSowing:
    """A sowing that is planned."""

    left: Annotated[float, "Its date."]
    words: Annotated[str, "Its date, in words."]


@dataclass(frozen=True, slots=True)
class Life:
    """A lot's viability over time. Places are in % of the drawn area."""

    label: Annotated[str, "The picture in words."]
    area: Annotated[str, "Path of the band."]
    line: Annotated[str, "Path of the middle."]
    minimum: Annotated[float, "Minimum germination, from the top."]
    now: Annotated[float, "The present, from the left."]
    tests: Annotated[tuple[LifeTest, ...], "Its tests."]
    sowing: Annotated[LifeSowing | None, "Sowing by the next plan; none if none is in sight."]
    ticks: Annotated[tuple[tuple[float, str], ...], "Place from the top, and label."]
    times: Annotated[tuple[tuple[float, str], ...], "Place from the left, and label."]
    rows: Annotated[tuple[Fact, ...], "Some points as a table."]
