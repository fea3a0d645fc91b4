"""Keeps the ledger in step with the readings: works off what changed, or everything again."""

from collections import defaultdict
from collections.abc import Iterator, Sequence

from hilum.domain.model import MS_PER_DAY, CurveKey, DirtyMark, Lot, Stay
from hilum.domain.ports import Store
from hilum.keeping.reckoning.conditions import inside
from hilum.keeping.reckoning.course import courses
from hilum.keeping.reckoning.runs import Progress, Runs

TOGETHER = 250
"""Marks worked off in one step, if they ask for little."""

LITTLE_MS = 2 * MS_PER_DAY
"""What a sensor sent in so long is little."""


class LedgerKeeper:
    """Brings curves up to date with readings, lots and stays. One keeper at a time may do so.

    Parameters
    ----------
    store : Store
        Readings, lots and ledger.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._runs = Runs(store)
        self._revision: int | None = None  # of lots and stays, when curves were last made known
        self._left: dict[str, list[tuple[int, str]]] = defaultdict(list)  # by box: when, which lot
        self._lots: dict[str, tuple[Lot, list[Stay], frozenset[CurveKey]]] = {}
        self._stale: set[str] = set()  # lots whose moisture on arrival may have changed

    def update(self, progress: Progress | None = None) -> int:
        """Work off the dirty marks.

        Stopped at any point, it goes on the next time: marks are cleared as soon as what they ask
        for is written, those of a long history one by one. With nothing to do it costs one query.

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
            worked = 0
            for group in self._groups(marks):
                share = len(group) / len(marks)
                begun = worked / len(marks)
                self._work_off(group, _scaled(progress, begun, share))
                self._store.clear_dirty(group)
                worked += len(group)
            done += worked
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
        revision = self._store.revision()
        if revision == self._revision and not self._stale:
            return False
        needed = self._needed()
        known = set(self._store.curves())
        new = [key for key in needed if key not in known]
        self._store.drop_curves([key for key in known if key not in needed])
        for slug in dict.fromkeys(key.box for key in new):
            self._ask_for(slug)  # before they are known, so that a crash leaves none forgotten
        for key in new:
            self._runs.ended.pop(key, None)
        self._store.add_curves(new)
        self._revision = revision
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
        self._runs.ended.clear()
        self._revision = None
        for sensor in self._store.sensors():
            self._store.mark_dirty(sensor.name, 0)
        self.resume(progress)

    def resume(self, progress: Progress | None = None) -> None:
        """Go on with a rebuild that was stopped: whatever is not computed yet is still marked."""
        self.ensure_curves()
        self.update(progress)

    def _needed(self) -> dict[CurveKey, None]:
        """Give the curves of all stays, in order. Lots that are as they were are not gone into."""
        stays: dict[str, list[Stay]] = defaultdict(list)
        left: dict[str, list[tuple[int, str]]] = defaultdict(list)
        for stay in self._store.stays():
            stays[stay.lot].append(stay)
            if stay.to_ms is not None:
                left[stay.box].append((stay.to_ms, stay.lot))
        lots, stale = self._lots, self._stale
        self._lots, self._stale, self._left = {}, set(), left
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

    def _groups(self, marks: Sequence[DirtyMark]) -> Iterator[list[DirtyMark]]:
        """Marks to work off in one step: many that ask for little, or one that asks for much."""
        group: list[DirtyMark] = []
        for mark in marks:
            newest = self._store.newest(mark.sensor)
            if newest is not None and newest.time_ms - mark.from_ms > LITTLE_MS:
                yield [mark]
            else:
                group.append(mark)
            if len(group) == TOGETHER:
                yield group
                group = []
        if group:
            yield group

    def _work_off(self, marks: Sequence[DirtyMark], tell: Progress) -> None:
        for slug, since_ms in self._runs.work(self._touched(marks), tell).items():
            self._stale.update(lot for to_ms, lot in self._left[slug] if to_ms >= since_ms)
        self._store.refresh_tiers({mark.sensor: mark.from_ms for mark in marks})

    def _touched(self, marks: Sequence[DirtyMark]) -> dict[str, int]:
        """Boxes whose conditions these marks change, and from when on."""
        boxes: dict[str, int] = {}
        for mark in marks:
            for placement in inside(self._store.placements(sensor=mark.sensor)):
                if placement.to_ms is None or placement.to_ms >= mark.from_ms:
                    from_ms = max(mark.from_ms, placement.from_ms)
                    boxes[placement.box] = min(from_ms, boxes.get(placement.box, from_ms))
        return boxes


def _scaled(progress: Progress | None, begun: float, share: float) -> Progress:
    """Tell of a part of the work as of a part of the whole."""

    def tell(done: float) -> None:
        if progress is not None:
            progress(begun + share * done)

    return tell
