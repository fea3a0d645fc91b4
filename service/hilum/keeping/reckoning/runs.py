"""Recomputation of boxes from a time on: reads, follows their curves, and writes.

Boxes with little to read go through the arithmetic together; one with much goes through it alone,
chunk by chunk, so that memory stays bounded.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    CurveKey,
    Floats,
    Ints,
    LedgerRows,
    Placement,
    Series,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning.chunk import Before, chunk_of
from hilum.keeping.reckoning.conditions import box_conditions, inside
from hilum.keeping.reckoning.ledger import JOINED_DRY_PCT, Cursor, Standing, advance, shared_key

CHUNK_READINGS = 90_000
"""Readings worked on at a time: two months of minutes, 0.7 MB for each quantity."""

CHUNK_HOURS = (24, 24 * 366)
"""Shortest and longest chunk."""

HELD_ROWS = 200_000
"""Rows held back so that all curves of a box change in one step; more are written in parts."""

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class BoxRun:
    """One box with its curves, each standing where it is to go on."""

    slug: str
    placements: Sequence[Placement]
    cursors: Sequence[Cursor]

    @property
    def since_ms(self) -> int:
        """Time of the last reading that keeps the rows of all curves."""
        befores = [cursor.before for cursor in self.cursors]
        return min(0 if before is None else before.time_ms for before in befores)

    def preceding(self, hour: int) -> Before | None:
        """Give the reading before an hour, if a curve asks for it."""
        found = [c.before for c in self.cursors if c.before is not None and c.next_hour <= hour]
        return max(found, key=lambda before: before.time_ms) if found else None


class Runs:
    """Brings boxes up to date.

    Parameters
    ----------
    store : Store
        Readings and ledger.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self.ended: dict[CurveKey, int] = {}  # start-up curves that joined, with their last hour

    def work(self, boxes: Mapping[str, int], tell: Progress) -> dict[str, int]:
        """Compute and write.

        Parameters
        ----------
        boxes : mapping
            From when on [ms], by box.
        tell : callable
            Told the share done, 0 to 1.

        Returns
        -------
        dict
            By box that has curves, the time of the last reading that keeps its rows.
        """
        runs = [run for run in self._opened(boxes) if run.cursors]
        since_ms = {run.slug: run.since_ms for run in runs}
        together: list[tuple[BoxRun, Series, Before | None]] = []
        for run in runs:
            start, end, size = self._hours(run)
            if end - start > size:
                self._alone(run, range(start, end, size), end, tell)
                continue
            together.append((run, self._read(run, start, end), run.preceding(start)))
            if sum(len(readings) for _, readings, _ in together) > CHUNK_READINGS:
                self._together(together)
                together = []
        self._together(together)
        tell(1.0)
        return since_ms

    def _together(self, boxes: Sequence[tuple[BoxRun, Series, Before | None]]) -> None:
        """Take several boxes through little, all at once."""
        heard = [each for each in boxes if len(each[1])]
        if heard:
            chunk = chunk_of([(readings, before) for _, readings, before in heard])
            advance(chunk, [run.cursors for run, *_ in heard], self._stored)
        self._write([run for run, *_ in boxes])

    def _alone(self, run: BoxRun, hours: range, end: int, tell: Progress) -> None:
        """Take one box through much, a chunk at a time."""
        before = run.preceding(hours.start)
        for hour in hours:
            until = min(hour + hours.step, end)
            readings = self._read(run, hour, until)
            if len(readings):
                chunk = chunk_of([(readings, before)])
                before = chunk.newest
                advance(chunk, [run.cursors], self._stored)
                if sum(cursor.held for cursor in run.cursors) > HELD_ROWS:
                    self._write([run])
            tell((until - hours.start) / (end - hours.start))
        self._write([run])

    def _write(self, runs: Sequence[BoxRun]) -> None:
        cursors = [cursor for run in runs for cursor in run.cursors]
        changes = [cursor.take() for cursor in cursors]
        self._store.replace_rows([change for change in changes if change is not None])
        self.ended |= {cursor.key: cursor.next_hour - 1 for cursor in cursors if cursor.finished}

    def _read(self, run: BoxRun, start: int, end: int) -> Series:
        return box_conditions(self._store, run.placements, start * MS_PER_HOUR, end * MS_PER_HOUR)

    def _opened(self, boxes: Mapping[str, int]) -> Iterator[BoxRun]:
        """Stand every curve at its last row before the hour asked for; those that ended stay."""
        asked = [
            (key, from_ms // MS_PER_HOUR)
            for slug, from_ms in boxes.items()
            for key in self._store.curves(slug)
            if not self._has_ended(key, from_ms // MS_PER_HOUR)
        ]
        standings = self._standings(asked)
        cursors: dict[str, list[Cursor]] = {slug: [] for slug in boxes}
        gap_days = {slug: self._store.box(slug).gap_limit_s * 1000 / MS_PER_DAY for slug in boxes}
        for place, (key, _) in enumerate(asked):
            cursor = Cursor(key, standings.get(place), gap_days[key.box])
            if cursor.joins and self._has_joined(key, standings.get(place)):
                self.ended[key] = cursor.next_hour - 1
            else:
                cursors[key.box].append(cursor)
        for slug, theirs in cursors.items():
            yield BoxRun(slug, self._store.placements(box=slug), theirs)

    def _has_ended(self, key: CurveKey, hour: int) -> bool:
        if self.ended.get(key, hour) < hour:
            return True
        self.ended.pop(key, None)
        return False

    def _standings(self, asked: Sequence[tuple[CurveKey, int]]) -> dict[int, Standing]:
        """Give the last row before each hour, by place of what is asked."""
        places, rows = self._store.rows_at([(key, hour * MS_PER_HOUR - 1) for key, hour in asked])
        found = zip(places.tolist(), Standing.at(rows), strict=True)
        # of the two rows the store gives, the earlier
        return {place: here for place, here in found if here.hour < asked[place][1]}

    def _has_joined(self, key: CurveKey, here: Standing | None) -> bool:
        if here is None:
            return False
        _, shared = self._stored(shared_key(key), here.hour, here.hour + 1)
        return bool((np.abs(shared - here.mc_dry_pct) < JOINED_DRY_PCT).any())

    def _stored(self, key: CurveKey, start: int, end: int) -> tuple[Ints, Floats]:
        rows: LedgerRows = self._store.rows(key, start, end)
        return rows.hour, rows.mc_dry_pct

    def _hours(self, run: BoxRun) -> tuple[int, int, int]:
        """First hour to read, the one after the last, and how many make a chunk."""
        first_ms, last_ms, count = [], [], 0
        for placement in inside(run.placements):
            extent = self._store.extent(placement.sensor)
            if extent is not None:
                count += extent[0]
                first_ms.append(max(extent[1], placement.from_ms))
                last_ms.append(
                    min(extent[2], extent[2] if placement.to_ms is None else placement.to_ms)
                )
        if not count:
            return 0, 0, 1
        first, end = min(first_ms) // MS_PER_HOUR, max(last_ms) // MS_PER_HOUR + 1
        start = max(first, min(cursor.next_hour for cursor in run.cursors))
        low, high = CHUNK_HOURS
        return start, end, min(max(CHUNK_READINGS * (end - first) // count, low), high)
