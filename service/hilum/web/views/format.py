"""Figures, dates and states in words: the one place that decides how a page says them.

Dates are written 2026-11-25 and times 09:12, in the zone of the settings. A figure and its unit are
held together by a no-break space. Nothing is written with more digits than is known.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR
from hilum.keeping.overview import Freshness

NBSP = "\N{NO-BREAK SPACE}"
UNKNOWN = "—"
MS_PER_MINUTE = 60_000

_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class Style:
    """How times and temperatures are written."""

    zone: ZoneInfo
    fahrenheit: bool = False

    @property
    def temp_unit(self) -> str:
        """°C or °F."""
        return "°F" if self.fahrenheit else "°C"

    def temp(self, temp_c: float | None) -> str:
        """Temperature with one decimal and its unit."""
        if temp_c is None:
            return UNKNOWN
        value = temp_c * 9 / 5 + 32 if self.fahrenheit else temp_c
        return f"{number(value, 1)}{NBSP}{self.temp_unit}"

    def local(self, time_ms: int) -> datetime:
        """Moment in the zone of the settings."""
        return datetime.fromtimestamp(time_ms / 1000, tz=UTC).astimezone(self.zone)

    def day(self, time_ms: int) -> str:
        """Date, such as 2026-11-25."""
        return self.local(time_ms).date().isoformat()

    def clock(self, time_ms: int) -> str:
        """Time of day, such as 09:12."""
        return f"{self.local(time_ms):%H:%M}"

    def moment(self, time_ms: int) -> str:
        """Date and time, such as 2026-11-25 09:12."""
        return f"{self.local(time_ms):%Y-%m-%d %H:%M}"


def number(value: float, digits: int = 0) -> str:
    """Write a number with a true minus sign and never a negative zero."""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def plain(value: float) -> str:
    """Write an amount: two figures at least where it is small, and no decimal that says nothing."""
    return f"{value:.2g}" if abs(value) < 10 else number(value, 1).removesuffix(".0")


def pct(value: float | None, digits: int = 0) -> str:
    """Per cent, by default without decimals."""
    return UNKNOWN if value is None else f"{number(value, digits)}{NBSP}%"


def span_pct(low: float, high: float) -> str:
    """From one per cent to another: "7–10 %", or one figure where both read the same."""
    first, last = number(low), number(high)
    return f"{first}{NBSP}%" if first == last else f"{first}–{last}{NBSP}%"


def count(amount: int, one: str, many: str | None = None) -> str:
    """Amount with its noun: "1 lot", "2 lots"."""
    return f"{amount:,}{NBSP}{one if amount == 1 else many or one + 's'}"


def count_word(amount: int) -> str:
    """Small amounts as words."""
    return _COUNTS[amount] if 0 <= amount < len(_COUNTS) else str(amount)


def ago(age_ms: int) -> str:
    """How long ago, coarsely: "2 min ago"."""
    if age_ms < MS_PER_MINUTE:
        return "just now"
    if age_ms < MS_PER_HOUR:
        return f"{age_ms // MS_PER_MINUTE}{NBSP}min ago"
    if age_ms < 2 * MS_PER_DAY:
        return f"{age_ms // MS_PER_HOUR}{NBSP}h ago"
    return f"{age_ms // MS_PER_DAY}{NBSP}days ago"


def sentence_list(names: list[str]) -> str:
    """Join names as a sentence does: "a, b and c"."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def iso_day(day: date | None) -> str:
    """Date, or a dash where there is none."""
    return UNKNOWN if day is None else day.isoformat()


def iso_utc(time_ms: int) -> str:
    """Moment for machines, in UTC."""
    return datetime.fromtimestamp(time_ms / 1000, tz=UTC).isoformat(timespec="seconds")


def freshness_words(state: Freshness, age_ms: int | None) -> str:
    """Say how old the newest value is, and that it is stale if it is."""
    if state is Freshness.NO_SENSOR or age_ms is None:
        return "no sensor" if state is Freshness.NO_SENSOR else "nothing received yet"
    if state is Freshness.SILENT:
        return f"silent, last heard {ago(age_ms)}"
    return f"last heard {ago(age_ms)}" if state is Freshness.LATE else ago(age_ms)


def band_words(erh_pct: float | None, low: float, high: float) -> str:
    """Place a humidity beside its target band."""
    if erh_pct is None:
        return "humidity not known"
    if erh_pct > high:
        return "above its band"
    return "drier than its band" if erh_pct < low else "in its band"
