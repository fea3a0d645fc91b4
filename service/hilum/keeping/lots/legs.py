"""Lots' lives cut into legs, as columns: in each leg one curve or one rate holds.

Every stay has three legs: its start-up curve, the shared curve, and the time after it in no box;
one leg more comes before the first stay. Where nothing was measured a lot is reckoned in the air it
lived in before it came (its prior temperature and humidity), or at its own moisture if its wrap was
sealed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints, Lot
from hilum.domain.ports import LedgerStore
from hilum.keeping.lots.origin import label_day, ms_of
from hilum.keeping.reckoning.course import NEVER_MS, Course, Trails, prior_mc_dry_pct
from hilum.keeping.reckoning.kernel import COLD_C, SECONDS_PER_DAY, SUMS, burden
from hilum.science.seedmodel import SeedModel, model_for

LEGS_OF_A_STAY = 3
NONE = -1
"""Stands for no curve and no stay."""

BEYOND_MS = 2 * NEVER_MS - 1
"""End of the last leg: later than any time, even one that never comes."""


@dataclass(frozen=True, slots=True)
class Rests:
    """Seed where nothing is measured: how it is then, and what a day adds to its sums."""

    mc_dry_pct: Floats
    temp_c: Floats
    rh_pct: Floats
    per_day: Floats  # x SUMS

    @classmethod
    def nothing(cls, count: int) -> "Rests":
        """So many legs of which none is a rest."""
        mc, temp_c, rh_pct = np.full((3, count), np.nan)
        return cls(mc, temp_c, rh_pct, np.zeros((count, len(SUMS))))

    def put(self, which: Ints, other: "Rests") -> None:
        """Set some of them."""
        self.mc_dry_pct[which], self.temp_c[which] = other.mc_dry_pct, other.temp_c
        self.rh_pct[which], self.per_day[which] = other.rh_pct, other.per_day

    def at(self, which: Ints) -> "Rests":
        """Some of them."""
        air = self.temp_c[which], self.rh_pct[which]
        return Rests(self.mc_dry_pct[which], *air, self.per_day[which])


def _rests(
    lots: Sequence[Lot], models: Sequence[SeedModel], courses: Sequence[Course | None]
) -> Rests:
    """Seed in balance with the air before it came, or sealed as it was in a stay."""
    rows = []
    for lot, model, course in zip(lots, models, courses, strict=True):
        if course is not None and course.sealed:
            mc = course.start_mc_dry_pct
        else:
            mc = prior_mc_dry_pct(model.key, lot.prior_rh_pct, lot.prior_temp_c)
        per_day = _per_day(model.key, mc, lot.prior_temp_c)
        rows.append((mc, lot.prior_temp_c, lot.prior_rh_pct, *per_day))
    table = np.array(rows, dtype=np.float64).reshape(len(lots), 3 + len(SUMS))
    mc, temp_c, rh_pct = table[:, :3].T.copy()
    return Rests(mc, temp_c, rh_pct, np.ascontiguousarray(table[:, 3:]))


@lru_cache(maxsize=4096)
def _per_day(model_key: str, mc_dry_pct: float, temp_c: float) -> tuple[float, ...]:
    """What a day of seed that stays as it is adds to its sums."""
    load = burden(model_for(model_key), np.array([mc_dry_pct]), np.array([temp_c]))
    loss, wet, dry = (float(each[0]) for each in (load.rate_per_day, load.wet, load.dry_per_day))
    cold = loss if temp_c < COLD_C else 0.0
    return loss, 0.0, SECONDS_PER_DAY, wet * SECONDS_PER_DAY, cold, dry


class Legs:
    """The legs of some lots, lot by lot.

    Parameters
    ----------
    store : LedgerStore
        The ledger.
    lots : sequence of Lot
        The lots.
    models : sequence of SeedModel
        Of each.
    courses : sequence of sequence of Course
        The stays of each, in order of start.

    Attributes
    ----------
    origin_ms : ndarray of int
        For each lot, time from which its loss counts; ``NEVER_MS``: no date, no stay is known.
    first, count, first_stay : ndarray of int
        For each lot, its first leg, how many it has, and its first stay.
    end_ms, stay, curve, anchor_ms : ndarray of int
        For each leg its end; the stay and the curve of ``trails``, -1: none; and, without a curve,
        the time from which what a day adds is counted.
    observed, unobserved : ndarray
        What is to be added to the curve's sums, and to what the days add, legs x ``SUMS``.
    rests : Rests
        For legs without a curve.
    """

    def __init__(
        self,
        store: LedgerStore,
        lots: Sequence[Lot],
        models: Sequence[SeedModel],
        courses: Sequence[Sequence[Course]],
    ) -> None:
        self._store = store
        self.trails = Trails(store, [course for mine in courses for course in mine])
        stays = np.array([len(mine) for mine in courses], dtype=np.int64)
        self.first_stay = np.cumsum(stays) - stays
        self.count = LEGS_OF_A_STAY * stays + 1
        self.first = np.cumsum(self.count) - self.count
        self.origin_ms = np.array(list(map(_origin_ms, lots, courses)), dtype=np.int64)
        legs = int(self.count.sum())
        self.stay, self.curve = np.full((2, legs), NONE)
        self.end_ms, self.anchor_ms = np.full(legs, BEYOND_MS), np.zeros(legs, dtype=np.int64)
        self.observed, self.unobserved = np.zeros((2, legs, len(SUMS)))
        self.rests = Rests.nothing(legs)
        firsts = [mine[0] if mine else None for mine in courses]
        self.rests.put(self.first, _rests(lots, models, firsts))
        self.anchor_ms[self.first] = np.where(self.origin_ms == NEVER_MS, 0, self.origin_ms)
        mine = np.repeat(np.arange(len(lots)), stays)
        rank = np.arange(len(mine)) - np.repeat(self.first_stay, stays)
        here = self.trails.courses
        rests = _rests([lots[lot] for lot in mine.tolist()], [each.model for each in here], here)
        self._lay(mine, rank, rests)

    def _lay(self, mine: Ints, rank: Ints, rests: Rests) -> None:
        """Lay the legs of all stays, given the lot of each and how many came before it there."""
        trails, known = self.trails, self.trails.known
        before = self.first[mine] + LEGS_OF_A_STAY * rank
        start_up, settled, after = (before + step for step in (1, 2, 3))
        from_ms = np.array([each.stay.from_ms for each in trails.courses], dtype=np.int64)
        to_ms = np.array([_end_ms(each) for each in trails.courses], dtype=np.int64)
        self.anchor_ms[before[rank == 0]] = from_ms[rank == 0]
        self.end_ms[before], self.end_ms[settled] = from_ms, to_ms
        joins_ms = np.where(known, trails.join_ms, from_ms)
        self.end_ms[start_up] = np.clip(joins_ms, from_ms, to_ms)
        self.stay[start_up] = self.stay[settled] = np.arange(len(mine))
        self.curve[start_up] = np.where(known, trails.start_up, NONE)
        self.curve[settled] = np.where(known, trails.shared, NONE)
        for legs, since_ms in ((settled, from_ms), (after, to_ms)):
            self.rests.put(legs, rests)
            self.anchor_ms[legs] = since_ms
        self.rests.per_day[settled[known]] = 0.0
        self._add_up(mine, rank, from_ms, to_ms)

    def _add_up(self, mine: Ints, rank: Ints, from_ms: Ints, to_ms: Ints) -> None:
        """Carry the sums from leg to leg, stay by stay."""
        trails, first = self.trails, self.first
        begun = self._sums_at(np.flatnonzero(trails.known & trails.sealed), from_ms)
        ended = np.flatnonzero(trails.known & (to_ms != NEVER_MS))
        within = np.zeros_like(begun)
        within[ended] = self._sums_at(ended, to_ms)[ended] - begun[ended]
        observed, unobserved = np.zeros((2, len(first), len(SUMS)))
        for stays in (np.flatnonzero(rank == at) for at in range(int(rank.max(initial=-1)) + 1)):
            lots = mine[stays]
            legs = first[lots] + LEGS_OF_A_STAY * rank[stays] + 1
            self.observed[legs] = observed[lots] - begun[stays]
            self.observed[legs + 1] = self.observed[legs] + trails.carried[stays]
            self.unobserved[legs] = self.unobserved[legs + 1] = unobserved[lots]
            observed[lots] += within[stays]
            unobserved[lots] += self._rested(legs + 1)
            self.observed[legs + 2], self.unobserved[legs + 2] = observed[lots], unobserved[lots]
            unobserved[lots] += self._rested(legs + 2)

    def _sums_at(self, stays: Ints, times_ms: Ints) -> Floats:
        """Sums of the curves of some stays at times; 0 for the others."""
        sums = np.zeros((len(times_ms), len(SUMS)))
        sums[stays] = self.trails.at(stays, times_ms[stays]).sums
        return sums

    def _rested(self, legs: Ints) -> Floats:
        """What whole legs without a curve add; 0 for those that go on for ever."""
        ends = self.end_ms[legs] < NEVER_MS
        days = np.where(ends, self.end_ms[legs] - self.anchor_ms[legs], 0) / MS_PER_DAY
        found: Floats = self.rests.per_day[legs] * days[:, None]
        return found


def _end_ms(course: Course) -> int:
    return NEVER_MS if course.stay.to_ms is None else course.stay.to_ms


def _origin_ms(lot: Lot, courses: Sequence[Course]) -> int:
    day = label_day(lot)
    if day is not None:
        return ms_of(day)
    return courses[0].stay.from_ms if courses else NEVER_MS
