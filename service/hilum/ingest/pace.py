"""Bounds how much one sensor may fill the disk. Pure.

Air in a box changes over hours, so more than a value a second is a fault of the device, and would
wear out a memory card. Judged by the sensor's own times, so that what it measured while it was
offline may arrive all at once; where it has no clock, by arrival, with room for what waited at the
broker. How often and how much room: our choice.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from hilum.domain.model import Reading

PER_MINUTE = 120  # of the sensor's own time: each quantity once a second, at moments of their own
ROOM = 100_000  # without a clock: ten weeks of a value a minute, at once
PER_SECOND = 2.0  # and then
TELL_EVERY_MS = 60_000
MOST_SENSORS = 100_000
MINUTE_MS = 60_000


@dataclass(slots=True)
class _Pace:
    minute: int = -1
    taken: int = 0
    room: float = ROOM
    at_ms: int = 0
    told_ms: int | None = None
    untold: int = 0


class Pacer:
    """Lets readings pass, up to a pace for each sensor."""

    def __init__(self) -> None:
        self._paces: dict[str, _Pace] = {}

    def within(
        self, sensor: str, readings: Sequence[Reading], arrival_ms: int, *, by_arrival: bool
    ) -> Sequence[Reading]:
        """Give the readings that keep the pace.

        Parameters
        ----------
        sensor : str
            Whose they are.
        readings : sequence of Reading
            What it said.
        arrival_ms : int
            When that arrived [ms since 1970 UTC].
        by_arrival : bool
            Whether their times rest on the arrival.
        """
        pace = self._paces.get(sensor)
        if pace is None:
            if len(self._paces) >= MOST_SENSORS:
                return readings
            pace = self._paces[sensor] = _Pace(at_ms=arrival_ms)
        if by_arrival:
            kept = tuple(readings[: _room(pace, len(readings), arrival_ms)])
        else:
            kept = tuple(r for r in readings if _in_minute(pace, r.time_ms))
        pace.untold += len(readings) - len(kept)
        return kept

    def left_out(self, sensor: str, arrival_ms: int) -> int:
        """How many were left out since that was last told; at most once a minute, else 0."""
        pace = self._paces.get(sensor)
        if pace is None or not pace.untold:
            return 0
        if pace.told_ms is not None and 0 <= arrival_ms - pace.told_ms < TELL_EVERY_MS:
            return 0
        count, pace.untold, pace.told_ms = pace.untold, 0, arrival_ms
        return count


def too_often(count: int) -> str:
    """Say that so many readings were left out."""
    return (
        f"This sensor speaks far more often than air in a box changes, so {count:,} "
        f"reading{'' if count == 1 else 's'} of it were left out. Let it measure every few minutes."
    )


def _room(pace: _Pace, wanted: int, arrival_ms: int) -> int:
    gained = max(0, arrival_ms - pace.at_ms) / 1000 * PER_SECOND
    pace.room, pace.at_ms = min(float(ROOM), pace.room + gained), arrival_ms
    taken = min(wanted, int(pace.room))
    pace.room -= taken
    return taken


def _in_minute(pace: _Pace, time_ms: int) -> bool:
    minute = time_ms // MINUTE_MS
    if minute != pace.minute:
        pace.minute, pace.taken = minute, 0
    pace.taken += 1
    return pace.taken <= PER_MINUTE
