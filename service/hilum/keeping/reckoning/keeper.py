"""Keeps the ledger in step with the readings: works off what changed, or everything again."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    CurveKey,
    DirtyMark,
    Floats,
    Ints,
    LedgerRows,
    Lot,
    Stay,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning.conditions import box_conditions, inside
from hilum.keeping.reckoning.course import courses
from hilum.keeping.reckoning.kernel import Chunk, chunk_of
from hilum.keeping.reckoning.ledger import JOINED_DRY_PCT, Cursor, advance, cut, shared_key

CHUNK_READINGS = 90_000
"""Readings worked on at a time: two months of minutes, 0.7 MB for each quantity."""

CHUNK_HOURS = (24, 24 * 366)
"""Shortest and longest chunk."""

HELD_ROWS = 200_000
"""Rows held back so that all curves of a box change in one step; more are written in parts."""

Progress = Callable[[float], None]


class LedgerKeeper:
    """Brings curves up to date with readings, lots and stays. One keeper at a time may do so.

    Parameters
    ----------
    store : Store
        Readings, lots and ledger.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._ended: dict[CurveKey, int] = {}  # start-up curves that joined, with their last hour
        self._lots: dict[str, tuple[Lot, list[Stay], frozenset[CurveKey]]] = {}
        self._stale: set[str] = set()  # lots whose moisture on arrival may have changed

    def update(self, progress: Progress | None = None) -> int:
        """Work off the dirty marks.

        Stopped at any point, it does the same work again the next time: the marks are cleared
        last. With nothing to do it costs one query.

        Parameters
        ----------
        progress : callable, optional
            Told the share done of the present round, 0 to 1.

        Returns
        -------
        int
            How many marks were worked off.
        """
        done = 0
        while marks := self._store.dirty():
            self._work_off(marks, progress)
            self._store.clear_dirty(marks)
            done += len(marks)
            if not (self._stale and self.ensure_curves()):
                break
        return done

    def ensure_curves(self) -> bool:
        """Make the curves known that the lots' stays need, and forget the others.

        New curves are computed by the next ``update``.

        Returns
        -------
        bool
            Whether there are new ones.
        """
        needed = self._needed()
        known = set(self._store.curves())
        new = [key for key in needed if key not in known]
        self._store.drop_curves([key for key in known if key not in needed])
        for slug in dict.fromkeys(key.box for key in new):
            self._ask_for(slug)  # before they are known, so that a crash leaves none forgotten
        for key in new:
            self._ended.pop(key, None)
        self._store.add_curves(new)
        return bool(new)

    def rebuild(self, progress: Progress | None = None) -> None:
        """Forget all curves and compute them again from the readings.

        Parameters
        ----------
        progress : callable, optional
            Told the share done, 0 to 1. Lots that moved between boxes need more than one round.
        """
        self._store.drop_curves(self._store.curves())
        self._lots.clear()
        self._ended.clear()
        self.ensure_curves()
        for sensor in self._store.sensors():
            self._store.mark_dirty(sensor.name, 0)
        self.update(progress)

    def _needed(self) -> dict[CurveKey, None]:
        """Give the curves of all stays, in order. Lots that are as they were are not gone into."""
        stays: dict[str, list[Stay]] = defaultdict(list)
        for stay in self._store.stays():
            stays[stay.lot].append(stay)
        lots, stale = self._lots, self._stale
        self._lots, self._stale = {}, set()
        changed = []
        for lot in self._store.lots():
            old = lots.get(lot.code)
            if old is None or lot.code in stale or old[:2] != (lot, stays[lot.code]):
                changed.append(lot)
                old = (lot, stays[lot.code], frozenset())
            self._lots[lot.code] = old
        found = courses(self._store, changed, [stays[lot.code] for lot in changed])
        for lot, theirs in zip(changed, found, strict=True):
            keys = frozenset(key for course in theirs for key in course.curves())
            self._lots[lot.code] = (lot, stays[lot.code], keys)
        return dict.fromkeys(key for *_, keys in self._lots.values() for key in keys)

    def _ask_for(self, slug: str) -> None:
        """Mark the sensors of a box so late that only new curves are computed from the start."""
        for placement in inside(self._store.placements(box=slug)):
            newest = self._store.newest(placement.sensor)
            if newest is not None:
                ends = [newest.time_ms, *([placement.to_ms] if placement.to_ms else [])]
                self._store.mark_dirty(placement.sensor, min(ends))

    def _work_off(self, marks: Sequence[DirtyMark], progress: Progress | None) -> None:
        boxes = self._touched(marks)
        for i, (slug, from_ms) in enumerate(boxes.items()):
            run = _BoxRun(self._store, self._store.box(slug), from_ms, self._ended)

            def tell(share: float, i: int = i) -> None:
                if progress is not None:
                    progress((i + share) / len(boxes))

            since_ms = run.work(tell)
            if since_ms is not None:
                for stay in self._store.stays(box=slug):
                    if stay.to_ms is not None and stay.to_ms >= since_ms:
                        self._stale.add(stay.lot)
        for mark in marks:
            self._store.refresh_tiers(mark.sensor, mark.from_ms)

    def _touched(self, marks: Sequence[DirtyMark]) -> dict[str, int]:
        """Boxes whose conditions these marks change, and from when on."""
        boxes: dict[str, int] = {}
        for mark in marks:
            for placement in inside(self._store.placements(sensor=mark.sensor)):
                if placement.to_ms is None or placement.to_ms >= mark.from_ms:
                    from_ms = max(mark.from_ms, placement.from_ms)
                    boxes[placement.box] = min(from_ms, boxes.get(placement.box, from_ms))
        return boxes


class _BoxRun:
    """Recomputation of one box from a time on."""

    def __init__(self, store: Store, box: Box, from_ms: int, ended: dict[CurveKey, int]) -> None:
        self._store = store
        self._box = box
        self._ended = ended
        self._placements = store.placements(box=box.slug)
        self._cursors = self._open(from_ms // MS_PER_HOUR)

    def work(self, tell: Progress) -> int | None:
        """Compute and write; give the time of the last reading that keeps its rows, if any."""
        if not self._cursors:
            return None
        befores = [cursor.before for cursor in self._cursors]
        since_ms = min(0 if before is None else before.time_ms for before in befores)
        for share, chunk in self._chunks():
            advance(chunk, self._cursors, self._stored)
            if sum(cursor.held for cursor in self._cursors) > HELD_ROWS:
                self._write()
            tell(share)
        self._write()
        for cursor in self._cursors:
            if cursor.finished:
                self._ended[cursor.key] = cursor.next_hour - 1
        tell(1.0)
        return since_ms

    def _open(self, hour: int) -> list[Cursor]:
        """Stand every curve of the box at its last row before an hour; those that ended stay."""
        gap_days = self._box.gap_limit_s * 1000 / MS_PER_DAY
        cursors = []
        for key in self._store.curves(self._box.slug):
            if self._ended.pop(key, hour) < hour:
                continue
            row = cut(self._store.rows_at([(key, hour * MS_PER_HOUR - 1)])[1], slice(1))
            if len(row) and row.hour[0] < hour:
                cursor = Cursor(key, row, gap_days)
                if cursor.joins and self._has_joined(key, row):
                    self._ended[key] = int(row.hour[0])
                    continue
            else:
                cursor = Cursor(key, None, gap_days)
            cursors.append(cursor)
        return cursors

    def _has_joined(self, key: CurveKey, row: LedgerRows) -> bool:
        hour = int(row.hour[0])
        _, shared = self._stored(shared_key(key), hour, hour + 1)
        return bool((np.abs(shared - row.mc_dry_pct) < JOINED_DRY_PCT).any())

    def _stored(self, key: CurveKey, start: int, end: int) -> tuple[Ints, Floats]:
        rows = self._store.rows(key, start, end)
        return rows.hour, rows.mc_dry_pct

    def _write(self) -> None:
        changes = [cursor.take() for cursor in self._cursors]
        self._store.replace_rows([change for change in changes if change is not None])

    def _chunks(self) -> Iterator[tuple[float, Chunk]]:
        """Readings from the first hour that is asked for, in whole hours; and the share done."""
        start, end, size = self._hours()
        before = None
        befores = [c.before for c in self._cursors if c.before is not None and c.next_hour <= start]
        if befores:
            before = max(befores, key=lambda before: before.time_ms)
        for hour in range(start, end, size):
            until = min(hour + size, end)
            readings = box_conditions(
                self._store, self._placements, hour * MS_PER_HOUR, until * MS_PER_HOUR
            )
            if len(readings):
                chunk = chunk_of(readings, before)
                before = chunk.newest
                yield (until - start) / (end - start), chunk

    def _hours(self) -> tuple[int, int, int]:
        """First hour to read, the one after the last, and how many make a chunk."""
        first_ms, last_ms, count = [], [], 0
        for placement in inside(self._placements):
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
        start = max(first, min(cursor.next_hour for cursor in self._cursors))
        low, high = CHUNK_HOURS
        return start, end, min(max(CHUNK_READINGS * (end - first) // count, low), high)
