"""Quiet hours: when what can wait is held back. Pure."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo
from typing import Protocol


class Quiet(Protocol):
    """Knows when people are not to be disturbed."""

    def due_ms(self, now_ms: int) -> int:
        """Give the time itself, or when it is over."""
        ...


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From one time of day to another, local, over midnight if need be.

    Parameters
    ----------
    start, end : datetime.time
        Equal: none.
    zone : tzinfo
        Where.
    """

    start: time
    end: time
    zone: tzinfo

    def due_ms(self, now_ms: int) -> int:
        """Give the time itself, or the end of the quiet hours it falls into."""
        now = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(self.zone)
        clock = now.time()
        if self.start < self.end:
            quiet = self.start <= clock < self.end
        else:
            quiet = self.start != self.end and (clock >= self.start or clock < self.end)
        if not quiet:
            return now_ms
        day = now.date() + timedelta(days=0 if clock < self.end else 1)
        over = datetime.combine(day, self.end, self.zone)
        return max(now_ms, round(over.timestamp() * 1000))
