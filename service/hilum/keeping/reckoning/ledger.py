"""Curves on their way through a box's readings: where each starts, goes on and ends.

Pure computation; the keeper reads and writes.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from operator import attrgetter
from typing import Self

import numpy as np

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, CurveKey, Floats, Ints, LedgerRows
from hilum.keeping.reckoning.chunk import Before, Chunk, Path, path_of, sealed_path, unit_seed
from hilum.keeping.reckoning.kernel import NOTHING_YET, SUMS, Start, follow
from hilum.science.isotherms import Isotherm
from hilum.science.lag import tau_days
from hilum.science.seedmodel import SeedModel, model_for

JOINED_DRY_PCT = 0.01
"""A start-up curve ends once its moisture is this close to the shared curve's [% dry basis]: it
then changes the loss rate by less than one part in a hundred. Our choice."""

_SUMS: Callable[[LedgerRows], tuple[Floats, ...]] = attrgetter(*SUMS)

StoredMoisture = Callable[[CurveKey, int, int], tuple[Ints, Floats]]
"""Gives hours and moisture of a curve's kept rows with start <= hour < end."""


def shared_key(key: CurveKey) -> CurveKey:
    """Give the shared curve a start-up curve joins."""
    return replace(key, start_ms=None, start_mc_dry_pct=None)


@cache
def is_sealed(wrap: str, size: str) -> bool:
    """Tell whether seed in this wrap holds its own moisture."""
    return bool(np.isinf(tau_days(wrap, size, 20.0)))


def cut(rows: LedgerRows, part: slice) -> LedgerRows:
    """Give some of the rows."""
    return LedgerRows(*(getattr(rows, field.name)[part] for field in fields(rows)))


def joined(parts: Sequence[LedgerRows]) -> LedgerRows:
    """Put rows one after the other; no parts give no rows."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        hours, values = np.empty(0, np.int64), np.empty(0)
        return LedgerRows(hours, hours, *(values,) * 9)
    columns = ([getattr(part, field.name) for part in parts] for field in fields(LedgerRows))
    return LedgerRows(*(np.concatenate(column) for column in columns))


class Paths:
    """The paths of one chunk, each followed once however many curves share it."""

    def __init__(self, chunk: Chunk) -> None:
        self._chunk = chunk
        self._paths: dict[tuple[Isotherm, str, str] | None, Path] = {}

    def of(self, unit: SeedModel, wrap: str) -> Path:
        """Give the path of a unit seed in a wrap."""
        sealed = is_sealed(wrap, unit.size)
        name = None if sealed else (unit.isotherm, wrap, unit.size)
        if name not in self._paths:
            chunk = self._chunk
            self._paths[name] = sealed_path(chunk) if sealed else path_of(chunk, unit, wrap)
        return self._paths[name]


@dataclass(frozen=True, slots=True)
class Standing:
    """A curve at the end of a row."""

    hour: int
    before: Before
    mc_dry_pct: float
    sums: tuple[float, ...]  # as SUMS

    @classmethod
    def last(cls, rows: LedgerRows) -> Self:
        """Give the curve at the last of its rows."""
        last_ms, temp_c, rh_pct = rows.last_ms.item(-1), rows.temp_c.item(-1), rows.rh_pct.item(-1)
        sums = tuple(column.item(-1) for column in _SUMS(rows))
        before = Before(last_ms, temp_c, rh_pct)
        return cls(rows.hour.item(-1), before, rows.mc_dry_pct.item(-1), sums)

    @classmethod
    def at(cls, rows: LedgerRows) -> list[Self]:
        """Give the curve, or several, at each of some rows."""
        columns = [column.tolist() for column in (rows.hour, rows.mc_dry_pct, *_SUMS(rows))]
        befores = zip(
            rows.last_ms.tolist(), rows.temp_c.tolist(), rows.rh_pct.tolist(), strict=True
        )
        return [
            cls(hour, Before(*before), mc_dry_pct, tuple(sums))
            for before, (hour, mc_dry_pct, *sums) in zip(
                befores, zip(*columns, strict=True), strict=True
            )
        ]


class Cursor:
    """One curve on its way through the readings of its box.

    Parameters
    ----------
    key : CurveKey
        The curve.
    standing : Standing or None
        Its last row that stays as it is; ``None``: it begins anew.
    gap_days : float
        The box's gap limit [d].

    Attributes
    ----------
    next_hour : int
        First hour that is not followed yet.
    finished : bool
        True once a start-up curve has joined the shared one.
    """

    def __init__(self, key: CurveKey, standing: Standing | None, gap_days: float) -> None:
        self.key = key
        self.finished = False
        self.model, self.unit, self._scale = _seed(key.model)
        self._sealed = is_sealed(key.wrap, self.model.size)
        if self._sealed:
            self._scale = key.start_mc_dry_pct or 0.0
        self._gap_days = gap_days
        self._standing = standing
        self.next_hour = _first_hour(key) if standing is None else standing.hour + 1
        self._replace_from = 0 if standing is None else self.next_hour
        self._pending: list[LedgerRows] | None = []  # None: nothing to replace since ``take``

    @property
    def joins(self) -> bool:
        """True for a start-up curve, which ends when it has joined the shared one."""
        return self.key.start_ms is not None and not self._sealed

    @property
    def before(self) -> Before | None:
        """The reading at its last row."""
        return None if self._standing is None else self._standing.before

    @property
    def held(self) -> int:
        """How many rows wait to be taken."""
        return sum(map(len, self._pending or ()))

    def start(self, chunk: Chunk, box: slice, path: Path) -> Start | None:
        """Say where it goes through the hours of its box; ``None``: nowhere."""
        index = box.start + int(np.searchsorted(chunk.hour[box], self.next_hour))
        if self.finished or index == box.stop:
            return None
        hours = slice(index, box.stop)
        here = self._standing
        if here is not None:
            return Start(hours, self._scale, self._gap_days, here.mc_dry_pct, here.sums, None)
        first = int(chunk.first[index])
        mc = self.key.start_mc_dry_pct
        if mc is None:
            mc = float(path.target[first] * self._scale)
        opening_ms = 0
        if self.key.start_ms is not None:
            opening_ms = int(chunk.time_ms[first]) - self.key.start_ms
        days = opening_ms / MS_PER_DAY
        return Start(hours, self._scale, self._gap_days, mc, NOTHING_YET, days)

    def keep(self, rows: LedgerRows) -> None:
        """Stand at the end of these rows, and hold them until they are taken."""
        if len(rows):
            self._standing = Standing.last(rows)
            self.next_hour = self._standing.hour + 1
            self._pending = [*(self._pending or ()), rows]

    def take(self) -> tuple[CurveKey, int, LedgerRows] | None:
        """Give what is to be written, and from which hour on it replaces what was kept."""
        if self._pending is None:
            return None
        change = (self.key, self._replace_from, joined(self._pending))
        self._replace_from, self._pending = self.next_hour, None
        return change


@cache
def _seed(model_key: str) -> tuple[SeedModel, SeedModel, float]:
    """Give a model, its unit seed, and the factor between them."""
    model = model_for(model_key)
    return model, *unit_seed(model)


def _first_hour(key: CurveKey) -> int:
    """First whole hour of a curve: what came before in its first hour counts with the next."""
    return 0 if key.start_ms is None else -(-key.start_ms // MS_PER_HOUR)


def advance(chunk: Chunk, boxes: Sequence[Sequence[Cursor]], stored: StoredMoisture) -> None:
    """Take all curves of some boxes through a chunk; shared ones first, then those that join them.

    Parameters
    ----------
    chunk : Chunk
        Readings of the boxes.
    boxes : sequence of sequence of Cursor
        The curves of each box, in the order in which its readings stand in the chunk.
    stored : callable
        Gives kept rows of shared curves, for hours that are not followed again.
    """
    paths = Paths(chunk)
    shared: dict[CurveKey, LedgerRows] = {}
    placed = [
        (cursor, hours)
        for hours, cursors in zip(chunk.boxes, boxes, strict=True)
        for cursor in cursors
    ]
    for cursor, rows in _followed(chunk, paths, [each for each in placed if not each[0].joins]):
        shared[cursor.key] = rows
        cursor.keep(rows)
    for cursor, rows in _followed(chunk, paths, [each for each in placed if each[0].joins]):
        goal = shared_key(cursor.key)
        moisture = _moisture(goal, rows, shared.get(goal), stored)
        cursor.keep(_until_joined(cursor, rows, moisture))


def _followed(
    chunk: Chunk, paths: Paths, placed: Sequence[tuple[Cursor, slice]]
) -> Iterator[tuple[Cursor, LedgerRows]]:
    """Compute the rows of hours that were not followed yet, the curves of a model together."""
    alike: dict[tuple[str, str], list[tuple[Cursor, slice]]] = defaultdict(list)
    for cursor, hours in placed:
        alike[cursor.key.model, cursor.key.wrap].append((cursor, hours))
    for group in alike.values():
        first = group[0][0]
        path = paths.of(first.unit, first.key.wrap)
        starts = [(cursor, cursor.start(chunk, hours, path)) for cursor, hours in group]
        going = [(cursor, start) for cursor, start in starts if start is not None]
        if going:
            rows = follow(chunk, path, first.model, [start for _, start in going])
            yield from zip([cursor for cursor, _ in going], rows, strict=True)


def _until_joined(cursor: Cursor, rows: LedgerRows, shared_mc_dry_pct: Floats) -> LedgerRows:
    """End a start-up curve with the first row in which it has joined the shared one."""
    close = np.flatnonzero(np.abs(rows.mc_dry_pct - shared_mc_dry_pct) < JOINED_DRY_PCT)
    if not len(close):
        return rows
    cursor.finished = True
    return cut(rows, slice(int(close[0]) + 1))


def _moisture(
    goal: CurveKey, rows: LedgerRows, computed: LedgerRows | None, stored: StoredMoisture
) -> Floats:
    """Moisture of the shared curve in the hours of these rows; NaN where it is not known."""
    result = np.full(len(rows), np.nan)
    start, end = int(rows.hour[0]), int(rows.hour[-1]) + 1
    if computed is not None and len(computed):
        _fill(result, rows.hour, computed.hour, computed.mc_dry_pct)
        end = min(end, int(computed.hour[0]))
    if start < end:
        _fill(result, rows.hour, *stored(goal, start, end))
    return result


def _fill(result: Floats, wanted: Ints, hour: Ints, values: Floats) -> None:
    _, at, source = np.intersect1d(wanted, hour, assume_unique=True, return_indices=True)
    result[at] = values[source]
