"""Readings in memory."""

import math
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from itertools import groupby

import numpy as np

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    AddOutcome,
    HourTier,
    Reading,
    Reject,
    Series,
)
from hilum.stores import rules
from hilum.stores.memory.state import State, Track
from hilum.stores.rules import Values


class ReadingsSection:
    """The raw truth, and its summaries."""

    _state: State

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """See the port."""
        with self._state.held():
            for name in dict.fromkeys(reading.sensor for reading in readings):
                self._state.register(name, received_ms, received_ms)
            from_ms: dict[str, int] = {}
            conflicts: dict[int, Reject] = {}
            stored = 0
            for i, reading in enumerate(readings):
                track = self._state.tracks.setdefault(reading.sensor, Track())
                kept = track.values.get(reading.time_ms)
                new = rules.values(reading)
                both = new if kept is None else rules.merged(kept, new)
                if kept is not None and both is None:
                    conflicts[i] = rules.conflict(reading, kept, received_ms)
                elif both is not None and both != kept:
                    track.keep(reading.time_ms, both)
                    earliest = from_ms.get(reading.sensor, reading.time_ms)
                    from_ms[reading.sensor] = min(earliest, reading.time_ms)
                    stored += 1
            self._state.mark(from_ms)
            self._state.reject(list(conflicts.values()))
        duplicates = len(readings) - stored - len(conflicts)
        return AddOutcome(stored, duplicates, tuple(readings[i] for i in conflicts))

    def _between(self, sensor: str, start_ms: int, end_ms: float) -> list[Reading]:
        with self._state.held():
            track = self._state.tracks.get(sensor, Track())
            return [Reading(sensor, t, *track.values[t]) for t in track.between(start_ms, end_ms)]

    def series(self, sensor: str, start_ms: int, end_ms: int) -> Series:
        """See the port."""
        found = self._between(sensor, start_ms, end_ms)
        return Series(
            np.array([r.time_ms for r in found], dtype=np.int64),
            np.array([r.temp_c for r in found], dtype=np.float64),
            np.array([r.rh_pct for r in found], dtype=np.float64),
        )

    def before(self, sensor: str, time_ms: int) -> Reading | None:
        """See the port."""
        return self._last(sensor, time_ms)

    def newest(self, sensor: str) -> Reading | None:
        """See the port."""
        return self._last(sensor, math.inf)

    def _last(self, sensor: str, end_ms: float) -> Reading | None:
        with self._state.held():
            track = self._state.tracks.get(sensor, Track())
            at = bisect_left(track.times, end_ms)
            if at == 0:
                return None
            time_ms = track.times[at - 1]
            return Reading(sensor, time_ms, *track.values[time_ms])

    def extent(self, sensor: str) -> tuple[int, int, int] | None:
        """See the port."""
        with self._state.held():
            times = self._state.tracks.get(sensor, Track()).times
            return (len(times), times[0], times[-1]) if times else None

    def pages(
        self, sensor: str, start_ms: int, end_ms: int, size: int
    ) -> Iterator[Sequence[Reading]]:
        """See the port."""
        if size < 1:
            raise InvalidInputError("A page needs at least one reading.", "size")
        while page := self._between(sensor, start_ms, end_ms)[:size]:
            yield page
            start_ms = page[-1].time_ms + 1

    def hours(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port."""
        return self._tier(sensor, MS_PER_HOUR, start_ms, end_ms)

    def days(self, sensor: str, start_ms: int, end_ms: int) -> HourTier:
        """See the port."""
        return self._tier(sensor, MS_PER_DAY, start_ms, end_ms)

    def _tier(self, sensor: str, period_ms: int, start_ms: int, end_ms: int) -> HourTier:
        with self._state.held():
            tier = self._state.tracks.get(sensor, Track()).tiers.get(period_ms, {})
            found = [(start, *tier[start]) for start in sorted(tier) if start_ms <= start < end_ms]
        columns = np.array(found, dtype=np.float64).reshape(-1, len(fields(HourTier))).T
        return HourTier(columns[0].astype(np.int64), columns[1].astype(np.int64), *columns[2:])

    def refresh_tiers(self, from_ms: Mapping[str, int]) -> None:
        """See the port."""
        with self._state.held():
            for sensor, time_ms in from_ms.items():
                track = self._state.tracks.get(sensor, Track())
                for period_ms in (MS_PER_HOUR, MS_PER_DAY):
                    start_ms = time_ms // period_ms * period_ms
                    old = track.tiers.get(period_ms, {})
                    track.tiers[period_ms] = {
                        **{start: old[start] for start in old if start < start_ms},
                        **_summaries(track, period_ms, start_ms),
                    }


def _summaries(track: Track, period_ms: int, start_ms: int) -> dict[int, tuple[float, ...]]:
    times = track.between(start_ms, math.inf)
    return {
        number * period_ms: _summary([track.values[t] for t in group])
        for number, group in groupby(times, lambda t: t // period_ms)
    }


def _summary(group: list[Values]) -> tuple[float, ...]:
    """Count, then minimum, mean and maximum of what was reported of each quantity."""
    summary: list[float] = [len(group)]
    for quantity in (0, 1):
        reported = [value for values in group if (value := values[quantity]) is not None]
        if reported:
            summary += [min(reported), math.fsum(reported) / len(reported), max(reported)]
        else:
            summary += [math.nan] * 3
    return tuple(summary)
