"""What curves say at many moments at once, between their rows and beyond them."""

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hilum.domain.model import MS_PER_DAY, CurveKey, Floats, Ints, LedgerRows
from hilum.domain.ports import LedgerStore
from hilum.keeping.reckoning.kernel import COLD_C, SECONDS_PER_DAY, SUMS, burden
from hilum.science.lag import relax, tau_days
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct, model_for

HELD_STEPS = 48
"""Steps in which conditions held after the last reading are followed, short ones first."""

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Moments:
    """Seed at some moments. Moisture is that of the model's seed, the air is the box's.

    ``sums`` run from the curve's start: moments x ``SUMS``. ``found`` is false, and the numbers
    NaN, where a curve has no rows.
    """

    found: Flags
    sums: Floats
    mc_dry_pct: Floats
    temp_c: Floats
    rh_pct: Floats

    def __len__(self) -> int:
        return len(self.found)

    @classmethod
    def unknown(cls, count: int) -> "Moments":
        """So many of which nothing is known."""
        mc, temp_c, rh_pct = np.full((3, count), np.nan)
        sums = np.full((count, len(SUMS)), np.nan)
        return cls(np.zeros(count, dtype=np.bool_), sums, mc, temp_c, rh_pct)

    def at(self, which: Ints | Flags) -> "Moments":
        """Some of them."""
        found, sums = self.found[which], self.sums[which]
        return Moments(found, sums, self.mc_dry_pct[which], self.temp_c[which], self.rh_pct[which])

    def put(self, which: Ints | Flags, other: "Moments") -> None:
        """Set some of them."""
        self.found[which], self.sums[which] = other.found, other.sums
        self.mc_dry_pct[which] = other.mc_dry_pct
        self.temp_c[which], self.rh_pct[which] = other.temp_c, other.rh_pct


def alike(names: Sequence[Hashable]) -> Iterator[tuple[int, Ints]]:
    """Sort places by what stands there: the first place of each name, and all its places."""
    places: dict[Hashable, list[int]] = {}
    for place, name in enumerate(names):
        places.setdefault(name, []).append(place)
    for found in places.values():
        yield found[0], np.array(found)


def read(store: LedgerStore, keys: Sequence[CurveKey], which: Ints, times_ms: Ints) -> Moments:
    """Read curves at moments, each pair of curve and time once.

    Parameters
    ----------
    store : LedgerStore
        The ledger.
    keys : sequence of CurveKey
        Curves.
    which : ndarray of int
        For each moment, which of them.
    times_ms : ndarray of int
        The moments [ms since 1970 UTC].
    """
    if not len(which):
        return Moments.unknown(0)
    order = np.lexsort((times_ms, which))
    sorted_keys, sorted_ms = which[order], times_ms[order]
    new = np.ones(len(order), dtype=np.bool_)
    new[1:] = (np.diff(sorted_keys) != 0) | (np.diff(sorted_ms) != 0)
    at = np.empty(len(order), dtype=np.int64)
    at[order] = np.cumsum(new) - 1
    asked = [(keys[key], time_ms) for key, time_ms in _pairs(sorted_keys[new], sorted_ms[new])]
    return between(asked, *store.rows_at(asked)).at(at)


def _pairs(keys: Ints, times_ms: Ints) -> Iterator[tuple[int, int]]:
    return zip(keys.tolist(), times_ms.tolist(), strict=True)


def between(asked: Sequence[tuple[CurveKey, int]], place: Ints, rows: LedgerRows) -> Moments:
    """Read curves between two rows, before their first, or held after their last.

    Parameters
    ----------
    asked : sequence of CurveKey and int
        Curves with the moments at which they are to be read [ms since 1970 UTC].
    place : ndarray of int
        For each row, which of these it answers.
    rows : LedgerRows
        As ``LedgerStore.rows_at`` gives them.
    """
    time_ms = np.array([each for _, each in asked], dtype=np.int64)
    before, after = Moments.unknown(len(asked)), Moments.unknown(len(asked))
    begin_ms, end_ms = np.zeros_like(time_ms), np.zeros_like(time_ms)
    every, first = _moments(rows), rows.last_ms <= time_ms[place]
    for side, side_ms, mine in ((before, begin_ms, first), (after, end_ms, ~first)):
        side.put(place[mine], every.at(mine))
        side_ms[place[mine]] = rows.last_ms[mine]
    young = np.flatnonzero(after.found & ~before.found)
    before.put(young, after.at(young))
    for at in young.tolist():
        begin_ms[at] = _begin(asked[at][0], before, at, int(end_ms[at]))
    found = _mixed(before, after, (time_ms - begin_ms) / np.maximum(end_ms - begin_ms, 1))
    late = np.flatnonzero(before.found & ~after.found)
    found.put(late, _held(asked, late, before.at(late), (time_ms - begin_ms)[late]))
    early = young[begin_ms[young] > time_ms[young]]
    missed = _held(asked, early, before.at(early), (begin_ms - time_ms)[early])
    found.put(early, before.at(early))
    found.sums[early] = -missed.sums
    return found


def _moments(rows: LedgerRows) -> Moments:
    sums = np.stack([getattr(rows, name) for name in SUMS], axis=1)
    found = np.ones(len(rows), dtype=np.bool_)
    return Moments(found, sums, rows.mc_dry_pct, rows.temp_c, rows.rh_pct)


def _begin(key: CurveKey, start: Moments, at: int, first_ms: int) -> int:
    """Turn a curve's first row into its start, and give its time."""
    begin_ms = key.start_ms
    if begin_ms is None:  # its first reading
        begin_ms = first_ms - round(float(start.sums[at, 1:3].sum()) * 1000.0)
    start.sums[at] = 0.0
    if key.start_mc_dry_pct is not None:
        start.mc_dry_pct[at] = key.start_mc_dry_pct
    return begin_ms


def _mixed(before: Moments, after: Moments, share: Floats) -> Moments:
    """Interpolate between moments in a straight line; NaN where one is missing."""
    return Moments(
        before.found & after.found,
        before.sums + (after.sums - before.sums) * share[:, None],
        before.mc_dry_pct + (after.mc_dry_pct - before.mc_dry_pct) * share,
        before.temp_c + (after.temp_c - before.temp_c) * share,
        before.rh_pct + (after.rh_pct - before.rh_pct) * share,
    )


def _held(
    asked: Sequence[tuple[CurveKey, int]], places: Ints, start: Moments, elapsed_ms: Ints
) -> Moments:
    """Give seed after some time in which its box stayed as it was at the start."""
    found, days = start, elapsed_ms / MS_PER_DAY
    names = [(asked[place][0].model, asked[place][0].wrap) for place in places.tolist()]
    for one, some in alike(names):
        model, wrap = names[one]
        found.put(some, held(model_for(model), wrap, start.at(some), days[some]))
    return found


def held(model: SeedModel, wrap: str, start: Moments, days: Floats) -> Moments:
    """Give the seed after some days in which its box stays as it is; the time is estimated.

    Parameters
    ----------
    model : SeedModel
        The seed.
    wrap : str
        Its wrap.
    start : Moments
        Where it stands.
    days : ndarray
        How long for each [d].
    """
    elapsed = days[:, None] * np.linspace(0.0, 1.0, HELD_STEPS + 1) ** 2
    tau = tau_days(wrap, model.size, start.temp_c)
    target = equilibrium_mc_dry_pct(model, start.rh_pct, start.temp_c)
    mc = relax(start.mc_dry_pct[:, None], target[:, None], elapsed, tau[:, None])
    load = burden(model, mc, np.repeat(start.temp_c[:, None], mc.shape[1], axis=1))
    steps = np.diff(elapsed, axis=1)
    loss, wet, dry = (
        0.5 * ((values[:, 1:] + values[:, :-1]) * steps).sum(axis=1)
        for values in (load.rate_per_day, load.wet, load.dry_per_day)
    )
    cold = np.where(start.temp_c < COLD_C, loss, 0.0)
    estimated_s, wet_s = days * SECONDS_PER_DAY, wet * SECONDS_PER_DAY
    gained = np.stack([loss, np.zeros(len(days)), estimated_s, wet_s, cold, dry], axis=1)
    return Moments(start.found, start.sums + gained, mc[:, -1], start.temp_c, start.rh_pct)
