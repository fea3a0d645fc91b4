"""Curves on their way through a box's readings: where each starts, goes on and ends.

Pure computation; the keeper reads and writes.
"""

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from functools import cache

import numpy as np

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, CurveKey, Floats, Ints, LedgerRows
from hilum.keeping.reckoning.kernel import (
    NOTHING_YET,
    SUMS,
    Before,
    Chunk,
    Path,
    Seed,
    Start,
    follow,
    path_of,
    sealed_path,
    unit_seed,
)
from hilum.science.isotherms import Isotherm
from hilum.science.lag import tau_days
from hilum.science.seedmodel import SeedModel, model_for

JOINED_DRY_PCT = 0.01
"""A start-up curve ends once its moisture is this close to the shared curve's [% dry basis]: it
then changes the loss rate by less than one part in a hundred. Our choice."""

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


class Cursor:
    """One curve on its way through the readings of its box.

    Parameters
    ----------
    key : CurveKey
        The curve.
    row : LedgerRows or None
        Its last row that stays as it is (one row); ``None``: it begins anew.
    gap_days : float
        The box's gap limit [d].

    Attributes
    ----------
    next_hour : int
        First hour that is not followed yet.
    finished : bool
        True once a start-up curve has joined the shared one.
    """

    def __init__(self, key: CurveKey, row: LedgerRows | None, gap_days: float) -> None:
        self.key = key
        self.finished = False
        self._row = row
        model = model_for(key.model)
        self._unit, scale = unit_seed(model)
        self._sealed = is_sealed(key.wrap, model.size)
        if self._sealed:
            scale = key.start_mc_dry_pct or 0.0
        self._seed = Seed(model, scale, gap_days)
        self.next_hour = _first_hour(key) if row is None else int(row.hour[-1]) + 1
        self._replace_from = 0 if row is None else self.next_hour
        self._pending: list[LedgerRows] | None = []  # None: nothing to replace since ``take``

    @property
    def joins(self) -> bool:
        """True for a start-up curve, which ends when it has joined the shared one."""
        return self.key.start_ms is not None and not self._sealed

    @property
    def before(self) -> Before | None:
        """The reading at its last row."""
        row = self._row
        if row is None:
            return None
        return Before(int(row.last_ms[-1]), float(row.temp_c[-1]), float(row.rh_pct[-1]))

    @property
    def held(self) -> int:
        """How many rows wait to be taken."""
        return sum(map(len, self._pending or ()))

    def follow(self, chunk: Chunk, paths: Paths) -> LedgerRows:
        """Compute the rows of those hours of a chunk that were not followed yet."""
        index = int(np.searchsorted(chunk.hour, self.next_hour))
        if self.finished or index == len(chunk.hour):
            return joined([])
        path = paths.of(self._unit, self.key.wrap)
        return follow(chunk, path, self._seed, self._start(chunk, path, index))

    def keep(self, rows: LedgerRows) -> None:
        """Stand at the end of these rows, and hold them until they are taken."""
        if len(rows):
            self._row = cut(rows, slice(-1, None))
            self.next_hour = int(rows.hour[-1]) + 1
            self._pending = [*(self._pending or ()), rows]

    def take(self) -> tuple[CurveKey, int, LedgerRows] | None:
        """Give what is to be written, and from which hour on it replaces what was kept."""
        if self._pending is None:
            return None
        change = (self.key, self._replace_from, joined(self._pending))
        self._replace_from, self._pending = self.next_hour, None
        return change

    def _start(self, chunk: Chunk, path: Path, index: int) -> Start:
        row = self._row
        if row is not None:
            sums = tuple(float(getattr(row, name)[-1]) for name in SUMS)
            return Start(index, float(row.mc_dry_pct[-1]), sums, None)
        first = int(chunk.first[index])
        mc = self.key.start_mc_dry_pct
        if mc is None:
            mc = float(path.target[first] * self._seed.scale)
        opening_ms = 0
        if self.key.start_ms is not None:
            opening_ms = int(chunk.time_ms[first]) - self.key.start_ms
        return Start(index, mc, NOTHING_YET, opening_ms / MS_PER_DAY)


def _first_hour(key: CurveKey) -> int:
    """First whole hour of a curve: what came before in its first hour counts with the next."""
    return 0 if key.start_ms is None else -(-key.start_ms // MS_PER_HOUR)


def advance(chunk: Chunk, cursors: Sequence[Cursor], stored: StoredMoisture) -> None:
    """Take all curves of a box through a chunk; the shared ones first, then those that join them.

    Parameters
    ----------
    chunk : Chunk
        Readings of the box.
    cursors : sequence of Cursor
        Its curves.
    stored : callable
        Gives kept rows of shared curves, for hours that are not followed again.
    """
    paths = Paths(chunk)
    shared: dict[CurveKey, LedgerRows] = {}
    for cursor in sorted(cursors, key=lambda cursor: cursor.joins):
        rows = cursor.follow(chunk, paths)
        if cursor.joins and len(rows):
            goal = shared_key(cursor.key)
            rows = _until_joined(cursor, rows, _moisture(goal, rows, shared.get(goal), stored))
        else:
            shared[cursor.key] = rows
        cursor.keep(rows)


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
