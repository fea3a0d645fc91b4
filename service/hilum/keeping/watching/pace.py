"""How often each sensor usually speaks, learned from what arrived.

A sensor that collects a day of readings and sends them at once is no more silent than one that
speaks every minute, so what counts is when messages arrive. Until enough have arrived, the times of
the readings stand in.
"""

from collections import deque
from collections.abc import Sequence

import numpy as np

from hilum.domain.ports import Store

KEPT = 60
LEAST = 8
QUANTILE = 0.95
"""Usual gap: 95 of 100 are no longer. Robust against lost messages and long pauses."""

FIRST_S = 600
"""Taken for a sensor of which nothing is known yet. No source."""

CHANGE = 0.25
"""A pace is kept anew when it changed by more than this share, so that little is written."""

SAMPLE_MS = 2 * 86_400_000
LONGEST_S = 7 * 86_400


class Paces:
    """Learns paces from round to round, and keeps them in the store.

    Parameters
    ----------
    store : Store
        Keeps what was learned.
    by_arrival : bool
        False where rounds are far apart: then the readings alone tell a pace.
    """

    def __init__(self, store: Store, *, by_arrival: bool = True) -> None:
        self._store = store
        self._by_arrival = by_arrival
        self._kept: dict[str, int] | None = None
        self._heard: dict[str, int] = {}
        self._gaps: dict[str, deque[int]] = {}

    def pace_s(self, sensor: str) -> int:
        """Usual seconds between two messages."""
        return (self._kept or {}).get(sensor, FIRST_S)

    def note(self, heard: Sequence[tuple[str, int]]) -> None:
        """Note when sensors were last heard [ms]; keep what was learned anew."""
        if self._kept is None:
            self._kept = dict(self._store.paces())
        learned = {}
        for sensor, heard_ms in heard:
            pace_s = self._learn(sensor, heard_ms)
            kept = self._kept.get(sensor)
            if pace_s is not None and (kept is None or abs(pace_s - kept) > CHANGE * kept):
                learned[sensor] = pace_s
        if learned:
            self._store.save_paces(learned)
            self._kept.update(learned)

    def _learn(self, sensor: str, heard_ms: int) -> int | None:
        """Pace by what has arrived, or by the readings if nothing is known yet."""
        before = self._heard.get(sensor)
        self._heard[sensor] = heard_ms
        if before is None or before == heard_ms or not self._by_arrival:
            return None if self.pace_known(sensor) else self._by_readings(sensor, heard_ms)
        gaps = self._gaps.setdefault(sensor, deque(maxlen=KEPT))
        gaps.append(heard_ms - before)
        if len(gaps) < LEAST:
            return None
        return _usual_s(np.array(gaps, np.float64))

    def pace_known(self, sensor: str) -> bool:
        """Whether anything was learned about a sensor."""
        return sensor in (self._kept or {})

    def _by_readings(self, sensor: str, heard_ms: int) -> int | None:
        times = self._store.series(sensor, heard_ms - SAMPLE_MS, heard_ms + 1).time_ms
        return _usual_s(np.diff(times).astype(np.float64)) if len(times) > LEAST else None


def _usual_s(gaps_ms: "np.ndarray") -> int:
    usual = float(np.quantile(gaps_ms, QUANTILE, method="higher")) / 1000
    return round(min(max(usual, 1.0), LONGEST_S))
