"""Readings from a table: any CSV-like file with a time, a temperature and a humidity column.

First :func:`recognise` looks at the head of the file and says what it understood; then
:func:`read_rows` turns each line into a reading or into a problem with its reason. Both are pure.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Reading

SAMPLE_LINES = 400
NAMES = {
    "time": r"(date|time|date ?time|time ?stamp|when|zeit|datum|time ms)",
    "clock": r"(time|hour|clock|uhrzeit)",
    "temperature": r"(t|temp|temperature|temperatur|air temp(erature)?|dry ?bulb)",
    "humidity": r"(h|rh|r\.?h\.?|hum|humidity|rel(ative)? ?hum(idity)?|erh|feuchte|luftfeuchte)",
    "battery": r"(battery|batt|bat)",
    "battery voltage": r"(battery|batt|bat) v(olt(s|age)?)?",
}
UNIT = re.compile(
    r"([\s_]+|[\s_]*[\(\[]\s*|(?=[°%]))"
    r"(°?\s*c|cel|celsius|deg ?c|°?\s*f|fahrenheit|deg ?f|k|%|pct|percent|%\s*rh"
    r"|utc)\s*[\)\]]?$"
)
DAY_FIRST = ("%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y")
MONTH_FIRST = ("%m/%d/%Y", "%m-%d-%Y")
CLOCKS = ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H:%M:%S.%f")
EPOCH_MS = 1e11  # larger numbers count milliseconds: 1e11 s would be the year 5138


@dataclass(frozen=True, slots=True)
class Layout:
    """What was understood of a table.

    ``columns`` maps quantity to (index, heading); ``time_format`` is ``iso``, ``epoch`` or a
    strptime pattern; ``zoned`` tells whether the times carry their own offset.
    """

    delimiter: str
    columns: dict[str, tuple[int, str]]
    header_lines: int
    row_number_first: bool
    time_format: str
    zoned: bool
    fahrenheit: bool
    fraction: bool
    decimal_comma: bool

    def in_words(self) -> list[str]:
        """Say it to a person, a line each."""
        lines = [f"{what}: column “{name}”" for what, (_, name) in self.columns.items()]
        if self.row_number_first:
            lines.append("the header has one column fewer than the rows: a row number comes first")
        lines.append(f"temperature in {'°F' if self.fahrenheit else '°C'}")
        lines.append(f"humidity {'as a fraction of 1' if self.fraction else 'in per cent'}")
        lines.append("times carry their own offset" if self.zoned else "times are local")
        return lines


@dataclass(frozen=True, slots=True)
class Problem:
    """A line that could not be understood."""

    line: int
    reason: str


def recognise(
    sample: Sequence[str], *, day_first: bool | None = None, fahrenheit: bool | None = None
) -> Layout:
    """Find out how a table is laid out.

    Parameters
    ----------
    sample : sequence of str
        The first lines of the file (:data:`SAMPLE_LINES` are enough).
    day_first : bool, optional
        How to read dates such as 03/04/2024; needed only where the sample leaves it open.
    fahrenheit : bool, optional
        Unit of the temperature; by default what its heading says, else °C.

    Returns
    -------
    Layout
        What :func:`read_rows` needs.

    Raises
    ------
    InvalidInputError
        A column is missing, or the times cannot be read; says what was seen.
    """
    if not any(line.strip() for line in sample):
        raise InvalidInputError("The file is empty.")
    delimiter = max("\t;,|", key=lambda mark: _steady_count(sample, mark))
    table = list(csv.reader(sample, delimiter=delimiter))
    start, heading = _heading(table)
    rows = [row for row in table[start + 1 :] if any(cell.strip() for cell in row)]
    if not rows:
        raise InvalidInputError("The table has a heading but no rows.")
    shift = int(len(rows[0]) == len(heading) + 1 and all(row[0].isdigit() for row in rows))
    columns = _columns(heading, shift)
    comma = delimiter != "," and any(re.fullmatch(r"-?\d+,\d+", cell) for cell in rows[0])
    layout = Layout(
        delimiter=delimiter,
        columns=columns,
        header_lines=start + 1,
        row_number_first=bool(shift),
        time_format="iso",
        zoned=False,
        fahrenheit=_says_fahrenheit(columns) if fahrenheit is None else fahrenheit,
        fraction=_is_fraction(rows, columns, comma=comma),
        decimal_comma=comma,
    )
    texts = [text for row in rows if (text := _time_text(row, layout))]
    return _with_time_format(layout, texts, day_first)


def read_rows(
    lines: Iterable[str], layout: Layout, sensor: str, zone: ZoneInfo | None
) -> Iterator[Reading | Problem]:
    """Turn a table into readings, line by line.

    Parameters
    ----------
    lines : iterable of str
        The whole file from its first line.
    layout : Layout
        From :func:`recognise`.
    sensor : str
        Name given to the sensor, ``<site>/<name>``.
    zone : ZoneInfo or None
        Time zone of local times; may be ``None`` only if the times carry their offset.

    Yields
    ------
    Reading or Problem
        One for each line that is not blank.

    Raises
    ------
    InvalidInputError
        The times are local and no time zone was given.
    """
    if zone is None and not layout.zoned:
        raise InvalidInputError(
            "The times in this table are local and do not say where. Give the time zone of the "
            "place, for example --time-zone Europe/Brussels.",
            field="time_zone",
        )
    local = _LocalTime(zone)
    reader = csv.reader(lines, delimiter=layout.delimiter)
    for row in reader:
        if reader.line_num <= layout.header_lines or not any(cell.strip() for cell in row):
            continue
        try:
            time_ms = local.to_ms(parse_time(_time_text(row, layout), layout.time_format))
            temp_c = _number(row, layout, "temperature")
            rh_pct = _number(row, layout, "humidity")
            battery_pct = _number(row, layout, "battery")
            battery_v = _number(row, layout, "battery voltage")
        except ValueError as error:
            yield Problem(reader.line_num, str(error))
            continue
        if temp_c is None and rh_pct is None:
            yield Problem(reader.line_num, "neither temperature nor humidity stands in this row")
            continue
        if temp_c is not None and layout.fahrenheit:
            temp_c = (temp_c - 32.0) / 1.8
        if rh_pct is not None and layout.fraction:
            rh_pct *= 100.0
        yield Reading(sensor, time_ms, temp_c, rh_pct, battery_pct, battery_v)


class _LocalTime:
    """Local times to UTC; where the clock went back, the second pass is the later one."""

    def __init__(self, zone: ZoneInfo | None) -> None:
        self.zone = zone
        self.last = datetime.min.replace(tzinfo=UTC)

    def to_ms(self, when: datetime) -> int:
        if when.tzinfo is None:
            aware = when.replace(tzinfo=self.zone)
            utc = aware.astimezone(UTC)
            later = aware.replace(fold=1).astimezone(UTC)
            if later < utc:
                raise ValueError(f"the clock skipped {when:%Y-%m-%d %H:%M} (summer time began)")
            if later > utc and utc < self.last:
                utc = later
            self.last = utc
            when = utc
        return round(when.timestamp() * 1000)


def parse_time(text: str, time_format: str) -> datetime:
    """Read one time; naive if it carries no offset. Raises ``ValueError`` in words."""
    try:
        if time_format == "iso":
            return datetime.fromisoformat(text)
        if time_format == "epoch":
            number = float(text)
            seconds = number / 1000.0 if abs(number) >= EPOCH_MS else number
            return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
        return datetime.strptime(text, time_format)  # noqa: DTZ007 - the zone comes later
    except (ValueError, OverflowError) as error:
        raise ValueError(f"“{text}” is not a time that could be read") from error


def _steady_count(sample: Sequence[str], mark: str) -> int:
    counts = sorted(line.count(mark) for line in sample if line.strip())
    return counts[len(counts) // 2]


def _plain(heading: str) -> str:
    text = heading.strip().strip("\ufeff").lower().replace("_", " ")
    return UNIT.sub("", text).strip()


def _heading(table: list[list[str]]) -> tuple[int, list[str]]:
    for index, row in enumerate(table):
        plain = [_plain(cell) for cell in row]
        if any(re.fullmatch(NAMES["temperature"], name) for name in plain) or any(
            re.fullmatch(NAMES["humidity"], name) for name in plain
        ):
            return index, row
    seen = ", ".join(f"“{cell}”" for cell in table[0][:8])
    raise InvalidInputError(
        "No row of headings with a temperature or humidity column was found. "
        f"The first line holds {seen}."
    )


def _columns(heading: list[str], shift: int) -> dict[str, tuple[int, str]]:
    found: dict[str, tuple[int, str]] = {}
    for quantity, pattern in NAMES.items():
        for index, name in enumerate(heading):
            taken = {place for place, _ in found.values()}
            if index + shift not in taken and re.fullmatch(pattern, _plain(name)):
                found[quantity] = (index + shift, name.strip().strip("\ufeff"))
                break
    if "time" not in found:
        seen = ", ".join(f"“{name}”" for name in heading)
        raise InvalidInputError(f"No column with the time was found among {seen}.", field="time")
    return found


def _says_fahrenheit(columns: dict[str, tuple[int, str]]) -> bool:
    name = columns.get("temperature", (0, ""))[1].lower()
    return bool(re.search(r"(fahrenheit|°\s*f\b|deg ?f\b|[\s_(\[]f[)\]]?$)", name))


def _is_fraction(
    rows: list[list[str]], columns: dict[str, tuple[int, str]], *, comma: bool
) -> bool:
    if "humidity" not in columns:
        return False
    index, name = columns["humidity"]
    if "%" in name or "pct" in name.lower():
        return False
    values = []
    for row in rows:
        text = row[index] if index < len(row) else ""
        try:
            values.append(float(text.replace(",", ".") if comma else text))
        except ValueError:
            continue
    return bool(values) and all(0.0 <= value <= 1.0 for value in values) and max(values) > 0.0


def _cell(row: list[str], layout: Layout, quantity: str) -> str:
    place = layout.columns.get(quantity)
    return row[place[0]].strip() if place and place[0] < len(row) else ""


def _time_text(row: list[str], layout: Layout) -> str:
    date, clock = _cell(row, layout, "time"), _cell(row, layout, "clock")
    return f"{date} {clock}".strip()


def _number(row: list[str], layout: Layout, quantity: str) -> float | None:
    text = _cell(row, layout, quantity).removesuffix("%").strip()
    if not text or text.lower() in {"na", "n/a", "null", "none", "-", "nan"}:
        return None
    try:
        return float(text.replace(",", ".") if layout.decimal_comma else text)
    except ValueError:
        raise ValueError(f"“{text}” is not a number ({quantity})") from None


def _with_time_format(layout: Layout, texts: list[str], day_first: bool | None) -> Layout:
    if not texts:
        raise InvalidInputError("The time column is empty.", field="time")
    for time_format in ("iso", "epoch"):
        if 2 * _parsed(texts, time_format) > len(texts):
            zoned = _is_zoned(texts, time_format)
            return replace(layout, time_format=time_format, zoned=zoned)
    order = _date_order(texts) if day_first is None else day_first
    dates = DAY_FIRST if order else MONTH_FIRST
    patterns = [f"{date} {clock}" for date in dates for clock in CLOCKS]
    chosen = max(patterns, key=lambda pattern: _parsed(texts, pattern))
    if 2 * _parsed(texts, chosen) <= len(texts):
        raise InvalidInputError(f"“{texts[0]}” is not a time that could be read.", field="time")
    return replace(layout, time_format=chosen, zoned=False)


def _date_order(texts: list[str]) -> bool:
    """Tell day first from month first by the one day above twelve that decides it."""
    day_first, month_first = (
        max(_parsed(texts, f"{date} {clock}") for date in dates for clock in CLOCKS)
        for dates in (DAY_FIRST, MONTH_FIRST)
    )
    if day_first == month_first and day_first:
        raise InvalidInputError(
            f"“{texts[0]}” could be read day first or month first. Say which: "
            "--dates day-first or --dates month-first.",
            field="dates",
        )
    return day_first > month_first


def _parses(text: str, time_format: str) -> datetime | None:
    try:
        return parse_time(text, time_format)
    except ValueError:
        return None


def _parsed(texts: list[str], time_format: str) -> int:
    return sum(_parses(text, time_format) is not None for text in texts)


def _is_zoned(texts: list[str], time_format: str) -> bool:
    times = [when for text in texts if (when := _parses(text, time_format))]
    return all(when.tzinfo is not None for when in times)
